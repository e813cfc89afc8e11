//! Many values of one kind, each measured or missing: as they stand in a datagram, or as a sender
//! has them. Reading goes through one iterator and copies nothing.

use std::fmt;

/// A value that fills `N` bytes of a datagram, or is missing there.
pub trait Value<const N: usize>: Copy + PartialEq + fmt::Debug {
    /// The value, or `None` when the bytes say that there is none.
    fn read(bytes: [u8; N]) -> Option<Self>;
    /// The bytes of a value or of a missing one.
    fn write(value: Option<Self>) -> [u8; N];
}

/// Values of one kind in order.
#[derive(Clone, Copy)]
pub struct Series<'a, T, const N: usize>(Backing<'a, T, N>);

#[derive(Clone, Copy)]
enum Backing<'a, T, const N: usize> {
    Datagram(&'a [[u8; N]]),
    Sender(&'a [Option<T>]),
}

impl<'a, T: Value<N>, const N: usize> Series<'a, T, N> {
    pub(super) fn of_datagram(bytes: &'a [[u8; N]]) -> Self {
        Self(Backing::Datagram(bytes))
    }

    /// How many values, measured or missing.
    #[must_use]
    pub fn len(&self) -> usize {
        match self.0 {
            Backing::Datagram(bytes) => bytes.len(),
            Backing::Sender(values) => values.len(),
        }
    }

    /// Whether there are none, which no decoded datagram has.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Value `index` from 0; `None` when missing or beyond the end.
    #[must_use]
    pub fn get(&self, index: usize) -> Option<T> {
        match self.0 {
            Backing::Datagram(bytes) => bytes.get(index).copied().and_then(T::read),
            Backing::Sender(values) => values.get(index).copied().flatten(),
        }
    }

    /// All values in order, `None` where one is missing.
    pub fn iter(&self) -> impl ExactSizeIterator<Item = Option<T>> + use<'a, T, N> {
        let series = Self(self.0);
        (0..self.len()).map(move |index| series.get(index))
    }

    pub(super) fn write(&self, out: &mut Vec<u8>) {
        self.iter().for_each(|value| out.extend(T::write(value)));
    }
}

impl<'a, T, const N: usize> From<&'a [Option<T>]> for Series<'a, T, N> {
    fn from(values: &'a [Option<T>]) -> Self {
        Self(Backing::Sender(values))
    }
}

impl<T: Value<N>, const N: usize> PartialEq for Series<'_, T, N> {
    fn eq(&self, other: &Self) -> bool {
        self.iter().eq(other.iter())
    }
}

impl<T: Value<N>, const N: usize> fmt::Debug for Series<'_, T, N> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_list().entries(self.iter()).finish()
    }
}
