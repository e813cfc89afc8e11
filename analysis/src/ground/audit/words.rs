//! A fault in plain sentences with what to do.

use super::Bench;
use super::faults::{Axis, Fault};

pub(super) fn of(fault: &Fault, bench: &Bench<'_>) -> String {
    let name = |n: &usize| bench.plates[*n].name;
    let late = |s: &f64| {
        let word = if *s > 0.0 { "late" } else { "early" };
        format!("about {:.0} ms {word}", s.abs() * 1e3)
    };
    match fault {
        Fault::Reversed(n, axis) => format!(
            "The {} axis of {} looks reversed: check its wiring, and its corners in the sender.",
            match axis {
                Axis::X => "X",
                Axis::Y => "Y",
            },
            name(n)
        ),
        Fault::Turned(n) => format!(
            "{} looks turned half round: check its corners in the sender.",
            capital(name(n))
        ),
        Fault::Swapped(a, b) => format!(
            "{} and {} look exchanged: exchange their cables or their channels in the sender.",
            capital(name(a)),
            name(b)
        ),
        Fault::Late(n, s) => format!(
            "{} is {} against the markers and the other plates: check its delay in the sender.",
            capital(name(n)),
            late(s)
        ),
        Fault::AllLate(s) => format!(
            "The force plates are {} against the markers: check the delay of their stream.",
            late(s)
        ),
        Fault::Gain(n, factor) => format!(
            "{} reads {:.0} % too {}: check its gain{}.",
            capital(name(n)),
            (factor - 1.0).abs() * 1e2,
            if *factor > 1.0 { "much" } else { "little" },
            untold(bench)
        ),
        Fault::Offset(n, off) => format!(
            "{} reads {:.0} N that nobody puts on it: step off and zero it{}.",
            capital(name(n)),
            off.iter().map(|o| o * o).sum::<f64>().sqrt(),
            untold(bench)
        ),
    }
}

fn untold(bench: &Bench<'_>) -> &'static str {
    if bench.motion.told {
        ""
    } else {
        " (tell the golfer's mass to be sure)"
    }
}

fn capital(name: &str) -> String {
    let mut letters = name.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string());
    first.unwrap_or_default() + letters.as_str()
}
