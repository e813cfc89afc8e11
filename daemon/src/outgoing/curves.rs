//! Derived signals of a swing in the units of people, for drawing.

use analysis::measure::Measured;
use analysis::metrics::curves;
use analysis::swing::event::Event;
use protocol::shelf::{Curves, Signal};

use super::rounded;

/// The signals of a swing; events are seconds from impact.
#[must_use]
pub fn curves(id: &str, measured: &Measured) -> Curves {
    let prepared = &measured.prepared;
    let window = &prepared.window;
    let made = curves::curves(prepared);
    let impact_s = window.seconds(prepared.swing.impact.slot);
    let events = Event::ALL.iter().filter_map(|&event| {
        let slot = prepared.swing.slots.get(event)?;
        let time_s = window.seconds(slot) - impact_s;
        Some((event.name().to_owned(), rounded(time_s, 1e6)))
    });
    let signals = made.signals.into_iter().map(|curve| Signal {
        id: curve.id.to_owned(),
        unit: curve.unit.symbol().to_owned(),
        sign: curve.sign.to_owned(),
        values: curve
            .values
            .into_iter()
            .map(|v| v.map(|v| rounded(curve.unit.shown(v), 1e4) as f32))
            .collect(),
    });
    Curves {
        swing: id.to_owned(),
        handed: prepared.handed.name().to_owned(),
        rate_hz: rounded(made.rate_hz, 1e6),
        start_s: rounded(made.start_s, 1e6),
        events: events.collect(),
        signals: signals.collect(),
    }
}
