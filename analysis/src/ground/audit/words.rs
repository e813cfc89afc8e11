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
        Fault::Gain(n, factor) => {
            let part = (factor - 1.0).abs() * 1e2;
            let word = if *factor > 1.0 { "much" } else { "little" };
            let name = capital(name(n));
            if bench.motion.told {
                format!("{name} reads {part:.0} % too {word}: check its gain.")
            } else {
                format!(
                    "{name} reads {part:.0} % too {word}, or another plate reads wrong: check their gains, and tell the golfer's mass to know which."
                )
            }
        }
        Fault::Offset(n, off) => {
            let size = off.iter().map(|o| o * o).sum::<f64>().sqrt();
            let name = capital(name(n));
            format!("{name} reads {size:.0} N that nobody puts on it: step off and zero it.")
        }
    }
}

fn capital(name: &str) -> String {
    let mut letters = name.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string());
    first.unwrap_or_default() + letters.as_str()
}
