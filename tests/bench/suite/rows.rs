//! One line a figure: `name: value (goal …) ok|short`, and what stands beside it.

/// A figure that should be large.
pub(crate) fn at_least(name: &str, value: f64, goal: f64, beside: &str) {
    line(name, value, ('≥', goal), value >= goal, beside);
}

/// A figure that should be small.
pub(crate) fn at_most(name: &str, value: f64, goal: f64, beside: &str) {
    line(name, value, ('≤', goal), value <= goal, beside);
}

fn line(name: &str, value: f64, (sign, goal): (char, f64), good: bool, beside: &str) {
    let word = if good { "ok" } else { "short" };
    println!("{name}: {value:.3} (goal {sign} {goal}) {word}  [{beside}]");
}

/// A figure without a goal of its own.
pub(crate) fn told(name: &str, value: f64, beside: &str) {
    println!("{name}: {value:.3}  [{beside}]");
}

/// The middle one, of two the upper.
pub(crate) fn median(values: impl IntoIterator<Item = f64>) -> f64 {
    quantile(values, 0.5)
}

/// The value that this share does not exceed.
pub(crate) fn quantile(values: impl IntoIterator<Item = f64>, share: f64) -> f64 {
    let mut values: Vec<f64> = values.into_iter().collect();
    assert!(!values.is_empty(), "a figure of nothing");
    values.sort_by(f64::total_cmp);
    let place = (values.len() as f64 * share) as usize;
    values[place.min(values.len() - 1)]
}

/// Repeats of a figure.
pub(crate) fn repeats(quick: bool) -> usize {
    if quick { 3 } else { 5 }
}
