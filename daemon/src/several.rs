//! At least one of something, such as the bays of a hall: the first answers where none is named.

/// At least one.
#[derive(Debug, Clone)]
pub struct Several<T> {
    first: T,
    further: Vec<T>,
}

impl<T> Several<T> {
    /// Of these; of none there are none.
    #[must_use]
    pub fn of(all: impl IntoIterator<Item = T>) -> Option<Self> {
        let mut all = all.into_iter();
        let first = all.next()?;
        let further = all.collect();
        Some(Self { first, further })
    }

    /// The first.
    #[must_use]
    pub const fn first(&self) -> &T {
        &self.first
    }

    /// All, in order.
    pub fn iter(&self) -> impl Iterator<Item = &T> {
        std::iter::once(&self.first).chain(&self.further)
    }
}
