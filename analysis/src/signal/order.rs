//! Order statistics without sorting: the number that would stand at a place of the sorted list.

/// The number at a place of the sorted list; `None` beyond its end. Reorders the numbers.
#[must_use]
pub fn nth(values: &mut [f64], place: usize) -> Option<f64> {
    (place < values.len()).then(|| *values.select_nth_unstable_by(place, f64::total_cmp).1)
}

/// The median, of an even number of values the upper one. Reorders the numbers.
#[must_use]
pub fn median(values: &mut [f64]) -> Option<f64> {
    nth(values, values.len() / 2)
}
