//! Metrics and numbers as people say them.

use analysis::coaching::shot::Metric;

/// A metric in words: `pelvis shift at takeaway end`, `knee flexion (lead) at top`.
pub(super) fn metric(metric: Metric) -> String {
    let id = metric.id();
    // What reads badly by itself.
    for (family, words) in [
        ("rotation_range_down", "rotation from top to impact"),
        ("rotation_rate_down", "rotation a second from top to impact"),
        (
            "rotation_excess",
            "rotation wound up more than brought through",
        ),
        ("knee_change", "knee change since address"),
    ] {
        let rest = id.strip_prefix(family).and_then(|r| r.strip_prefix('.'));
        if let Some(part) = rest {
            let part = part.split('@').next().unwrap_or(part);
            return format!("{part} {words}");
        }
    }
    let (name, event) = match id.split_once('@') {
        Some((name, event)) => (name, Some(event)),
        None => (id.as_str(), None),
    };
    let mut words = match name.split_once('.') {
        Some((name, part)) => format!("{} ({})", name.replace('_', " "), part.replace('_', " ")),
        None => name.replace('_', " "),
    };
    if let Some(event) = event {
        words.push_str(" at ");
        words.push_str(&event.replace('_', " "));
    }
    words
}

/// A value of a metric in its unit, with as many digits as mean something.
pub(super) fn value(of: Metric, inside: f64) -> String {
    let unit = of.unit();
    let shown = unit.shown(inside);
    let digits = match unit.symbol() {
        "deg" | "m/s" | "%" | "%BW" => 1,
        "m" | "s" => 3,
        "ratio" => 2,
        _ => 0,
    };
    match unit.symbol() {
        // Ways of the body are said in millimeters.
        "m" => format!("{:.0} mm", shown * 1e3),
        symbol => format!("{shown:.digits$} {symbol}"),
    }
}

/// The same with its sign, for differences.
pub(super) fn difference(of: Metric, inside: f64) -> String {
    let words = value(of, inside);
    if words.starts_with('-') {
        words
    } else {
        format!("+{words}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn metrics_and_values_read_well() {
        let of = |id: &str| Metric::by_id(id).unwrap();
        assert_eq!(
            metric(of("pelvis_shift@takeaway_end")),
            "pelvis shift at takeaway end"
        );
        assert_eq!(
            metric(of("knee_change.trail@top")),
            "trail knee change since address"
        );
        assert_eq!(value(of("pelvis_shift@top"), -0.0283), "-28 mm");
        assert_eq!(difference(of("head_speed@impact"), 1.84), "+1.8 m/s");
        assert_eq!(value(of("pelvis_rotation@top"), -0.7), "-40.1 deg");
    }
}
