//! A measurement beside the synthetic golfer's truth: what is compared, what is allowed, and how it
//! reads at a terminal.

use protocol::report::{Measurement, Report};

/// How far a measured value may lie from the golfer's truth: identifier up to its event, tolerance
/// in the unit shown. Wide enough for 0.5 mm noise at 360 Hz with skin wobble; the tight table of
/// the kinematics is the tests'.
const TOLERANCES: &[(&str, f64)] = &[
    ("backswing_time", 0.04),
    ("downswing_time", 0.006),
    ("tempo_ratio", 0.2),
    ("pelvis_shift", 0.008),
    ("pelvis_rise", 0.008),
    ("pelvis_depth", 0.008),
    ("head_shift", 0.008),
    ("head_rise", 0.008),
    ("pelvis_rotation", 2.0),
    ("thorax_rotation", 2.5),
    ("shoulder_line_rotation", 2.5),
    ("separation", 3.5),
    ("separation_peak", 3.5),
    ("knee_flexion.lead", 6.0),
    ("knee_flexion.trail", 6.0),
    ("grip_speed", 0.6),
    ("grip_speed_peak", 0.6),
    ("head_speed", 0.7),
    ("head_speed_peak", 0.7),
    ("shaft_lean", 1.5),
];

/// Events and how far they may lie from the truth, seconds.
const EVENT_TOLERANCES: &[(&str, f64)] = &[
    ("takeaway_start", 0.04),
    ("takeaway_end", 0.005),
    ("top", 0.006),
    ("shaft_level_down", 0.003),
    ("impact", 0.001),
];

/// One line of a comparison.
#[derive(Debug, Clone, PartialEq)]
pub struct Compared {
    /// Event or metric.
    pub id: String,
    /// Measured, if it was.
    pub measured: Option<f64>,
    /// Why it was not measured.
    pub reason: Option<String>,
    /// The golfer's truth.
    pub truth: f64,
    /// Unit of both.
    pub unit: String,
    /// Allowed difference.
    pub tolerance: f64,
}

impl Compared {
    /// Whether the measured value is there and close enough.
    #[must_use]
    pub fn holds(&self) -> bool {
        self.measured
            .is_some_and(|m| (m - self.truth).abs() <= self.tolerance)
    }
}

/// A measurement against the golfer's truth: every event and metric that has a tolerance.
#[must_use]
pub fn compare(measured: &Measurement, truth: &Measurement) -> Vec<Compared> {
    let events = EVENT_TOLERANCES.iter().filter_map(|&(id, tolerance)| {
        let time = |m: &Measurement| m.events.get(id).and_then(|e| e.time_s);
        Some(Compared {
            id: id.to_owned(),
            measured: time(measured),
            reason: measured.events.get(id).and_then(|e| e.reason.clone()),
            truth: time(truth)?,
            unit: "s".into(),
            tolerance,
        })
    });
    let metrics = truth.metrics.iter().filter_map(|(id, metric)| {
        let family = id.split('@').next().unwrap_or(id);
        let tolerance = TOLERANCES.iter().find(|t| t.0 == family)?.1;
        let found = measured.metrics.get(id);
        Some(Compared {
            id: id.clone(),
            measured: found.and_then(|m| m.value),
            reason: found.and_then(|m| m.reason.clone()),
            truth: metric.value?,
            unit: metric.unit.clone(),
            tolerance,
        })
    });
    events.chain(metrics).collect()
}

/// The report of one shot beside the truth, as text.
#[must_use]
pub fn shot_text(number: u32, report: &Report, truth: &Measurement) -> String {
    let compared = compare(&report.measurement, truth);
    let held = compared.iter().filter(|c| c.holds()).count();
    let (kind, handed) = (&report.measurement.kind, &report.measurement.handed);
    let mut lines = vec![format!(
        "Shot {number}: {} ({kind}, {handed}-handed)",
        report.id
    )];
    lines.push(format!(
        "  {:<40} {:>10} {:>10} {:<6} {:>9}",
        "", "measured", "truth", "unit", "allowed"
    ));
    lines.extend(compared.iter().map(|c| {
        let measured = c
            .measured
            .map_or_else(|| "—".to_owned(), |m| format!("{m:.3}"));
        let mark = match c.measured {
            None => format!("  not measured: {}", c.reason.as_deref().unwrap_or("")),
            Some(_) if c.holds() => String::new(),
            Some(_) => "  OUTSIDE".to_owned(),
        };
        // Adding zero turns a negative zero into a plain one.
        let truth = (c.truth * 1e3).round() / 1e3 + 0.0;
        format!(
            "  {:<40} {measured:>10} {truth:>10.3} {:<6} {:>9}{mark}",
            c.id, c.unit, c.tolerance
        )
    }));
    lines.push(format!(
        "  {held} of {} within what is allowed",
        compared.len()
    ));
    lines.join("\n") + "\n"
}
