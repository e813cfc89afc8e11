//! The golfer's force plates as the analysis reads them: through the blocks of a stream, cut beside the
//! markers' window.

use analysis::clock::Alignment;
use analysis::forward::{PlateView, Take};
use analysis::frame::BayFromSource;
use analysis::ground::forces::{ForceBlock, ForceLayout, Forces};
use analysis::ground::plate::{PlateDescription, PlateKind};
use analysis::ground::window::GroundWindow;

/// The plates' window around the take's impact, in the take's time from its first frame on; `None`
/// for a golfer without plates.
pub(crate) fn plates(take: &Take) -> Option<GroundWindow> {
    let forces = stream(take)?;
    let impact_ns = (take.truth.event("impact").expect("an impact") * 1e9) as i64;
    let window = impact_ns - 4_500_000_000..impact_ns + 700_000_000;
    Some(GroundWindow {
        plates: forces.window(window.start, window.end, &Alignment::Shared),
    })
}

/// The plates' stream up to 1.3 s after the take's impact: the live bay looks before later samples push
/// the first ones out of its ring.
pub(crate) fn stream(take: &Take) -> Option<Forces> {
    let plates = take.plates.as_ref()?;
    let described = |plate: &PlateView| PlateDescription {
        kind: PlateKind::Moments,
        corners: plate.corners.map(|c| [c.x, c.y, c.z].map(|v| v as f32)),
        origin: [plate.origin.x, plate.origin.y, plate.origin.z].map(|v| v as f32),
    };
    let layout = ForceLayout {
        id: 1,
        rate_hz: plates.rate_hz,
        plates: plates.plates.iter().map(described).collect(),
        bay_from_source: BayFromSource::IDENTITY,
    };
    let mut forces = Forces::new(layout, 0);
    let impact_ns = (take.truth.event("impact").expect("an impact") * 1e9) as i64;
    let until = ((impact_ns as f64 * 1e-9 + 1.3) * plates.rate_hz) as usize;
    let [trail, lead] = &plates.plates;
    for (n, both) in trail
        .samples
        .iter()
        .zip(&lead.samples)
        .take(until)
        .enumerate()
    {
        let values = both.0.iter().chain(both.1);
        forces.push(&ForceBlock {
            layout: 1,
            first_sample: n as u64,
            time_ns: (n as f64 / plates.rate_hz * 1e9).round() as i64,
            channels: 12,
            values: values.map(|v| Some(*v as f32)).collect(),
        });
    }
    Some(forces)
}
