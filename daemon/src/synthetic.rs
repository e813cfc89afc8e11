//! The synthetic golfer for the outside: takes as C3D files with their truth, and as an endless
//! stream for the demo. What the golfer does is in `analysis::forward`.

use std::collections::BTreeMap;
use std::path::Path;

use analysis::forward::{CalibrationTake, PlateTake, PlateView, Take, Truth};
use analysis::landmark::Landmark;
use analysis::metrics::catalogue::{CATALOGUE, Family};
use anyhow::Context as _;
use nalgebra::Point3;
use protocol::c3d::{self, Analog, C3d};
use protocol::report::{Event, Measurement, Metric};
use protocol::wire::{self, Marker};

use crate::map::MarkerMap;

/// A take as a C3D file in millimetres, labels by the map, with its force plates if it has any. A
/// file knows one clock only: that of the plates is left out.
#[must_use]
pub fn c3d(take: &Take, map: &MarkerMap) -> C3d {
    let mut file = file(&take.frames, take.rate_hz, labels(take, map));
    if let Some(plates) = &take.plates {
        file.plates = plates.plates.iter().enumerate().map(plate).collect();
        file.analog = Analog {
            rate_hz: plates.rate_hz,
            channels: plates
                .plates
                .iter()
                .enumerate()
                .flat_map(channels)
                .collect(),
        };
    }
    file
}

/// Names of a plate's channels, and the moments' in N·mm as the standard has them.
const CHANNELS: [(&str, &str, f64); 6] = [
    ("Fx", "N", 1.0),
    ("Fy", "N", 1.0),
    ("Fz", "N", 1.0),
    ("Mx", "Nmm", 1e3),
    ("My", "Nmm", 1e3),
    ("Mz", "Nmm", 1e3),
];

fn plate((n, view): (usize, &PlateView)) -> c3d::Plate {
    c3d::Plate {
        kind: 2,
        corners: view.corners.map(|p| [p.x, p.y, p.z].map(|v| v * 1e3)),
        origin: view.origin.map(|v| v * 1e3).into(),
        channels: (CHANNELS.len() * n..CHANNELS.len() * (n + 1)).collect(),
        cal_matrix: None,
    }
}

fn channels((n, view): (usize, &PlateView)) -> impl Iterator<Item = c3d::Channel> {
    CHANNELS
        .into_iter()
        .enumerate()
        .map(move |(i, (name, unit, factor))| c3d::Channel {
            label: format!("{name}{}", n + 1),
            unit: unit.to_owned(),
            samples: view
                .samples
                .iter()
                .map(|s| Some((s[i] * factor) as f32))
                .collect(),
        })
}

/// The take's plates for the wire, metres; `source` is that of the markers.
#[must_use]
pub fn plates(take: &PlateTake, source: wire::Source) -> wire::PlateList {
    let plate = |view: &PlateView| wire::Plate {
        kind: wire::PlateKind::Moments,
        corners: view.corners.map(|p| [p.x, p.y, p.z].map(|v| v as f32)),
        origin: view.origin.map(|v| v as f32).into(),
    };
    wire::PlateList {
        source: wire::Source {
            rate_hz: take.rate_hz,
            ..source
        },
        total: 2,
        first: 0,
        plates: take.plates.iter().map(plate).collect(),
    }
}

/// The plates' samples that belong to frame `n` of a take, in the order of the wire, N and N·m.
#[must_use]
pub fn samples(take: &Take, n: usize) -> Vec<Option<f32>> {
    let Some(plates) = &take.plates else {
        return Vec::new();
    };
    let a_frame = (plates.rate_hz / take.rate_hz).round() as usize;
    let [trail, lead] = &plates.plates;
    let pairs = trail.samples.iter().zip(&lead.samples);
    pairs
        .skip(n * a_frame)
        .take(a_frame)
        .flat_map(|(a, b)| a.iter().chain(b))
        .map(|v| Some(*v as f32))
        .collect()
}

/// A calibration trial as a C3D file in millimetres, labels by the map.
#[must_use]
pub fn calibration_c3d(take: &CalibrationTake, map: &MarkerMap) -> C3d {
    file(&take.frames, take.rate_hz, named(&take.landmarks, map))
}

fn file(frames: &[Vec<Option<Point3<f64>>>], rate_hz: f64, labels: Vec<String>) -> C3d {
    C3d {
        rate_hz,
        first_frame: 1,
        units: "mm".into(),
        labels,
        frames: frames
            .iter()
            .map(|f| f.iter().map(|p| p.map(millimetres)).collect())
            .collect(),
        ..C3d::default()
    }
}

fn millimetres(p: Point3<f64>) -> c3d::Marker {
    c3d::Marker {
        position: [p.x, p.y, p.z].map(|v| (v * 1e3) as f32),
        residual: 0.0,
    }
}

/// Labels of a take's columns by the map.
#[must_use]
pub fn labels(take: &Take, map: &MarkerMap) -> Vec<String> {
    named(&take.landmarks, map)
}

fn named(landmarks: &[Landmark], map: &MarkerMap) -> Vec<String> {
    landmarks
        .iter()
        .map(|&l| map.label(l).unwrap_or(l.name()).to_owned())
        .collect()
}

/// One frame of a take for the wire, metres.
#[must_use]
pub fn frame(take: &Take, n: usize) -> Vec<Option<Marker>> {
    let marker = |p: Point3<f64>| Marker {
        position: [p.x, p.y, p.z].map(|v| v as f32),
        residual: 0.0,
    };
    take.frames[n].iter().map(|p| p.map(marker)).collect()
}

/// The truth in the shape of a measurement, so that both compare key by key. `start_s` is the
/// device time and `start_frame` the number of the take's first frame.
#[must_use]
pub fn truth(truth: &Truth, rate_hz: f64, (start_s, start_frame): (f64, f64)) -> Measurement {
    let event = |t: f64| Event {
        time_s: Some(start_s + t),
        frame: Some(start_frame + t * rate_hz),
        uncertainty_s: None,
        reason: None,
    };
    let metrics = truth.metrics.iter().filter_map(|(id, value)| {
        let family = family(id)?;
        let value = Some(family.unit.shown(*value));
        let unit = family.unit.symbol().to_owned();
        Some((
            id.clone(),
            Metric {
                value,
                unit,
                change: None,
                reason: None,
                limited: None,
                uncertainty: None,
            },
        ))
    });
    Measurement {
        kind: truth.kind.to_owned(),
        confidence: None,
        handed: truth.handed.name().to_owned(),
        events: truth
            .events
            .iter()
            .map(|&(name, t)| (name.to_owned(), event(t)))
            .collect(),
        metrics: metrics.collect::<BTreeMap<_, _>>(),
        club_length_m: None,
        markers: Vec::new(),
        notes: Vec::new(),
    }
}

fn family(id: &str) -> Option<&'static Family> {
    CATALOGUE
        .iter()
        .copied()
        .find(|f| (0..f.len()).any(|n| f.value_id(n) == id))
}

/// Writes `take.c3d` and `truth.json` into a folder, which is made if need be.
///
/// # Errors
/// When the folder or a file cannot be written.
pub fn write(take: &Take, map: &MarkerMap, out: &Path) -> anyhow::Result<()> {
    let swings = serde_json::json!({ "swings": [truth(&take.truth, take.rate_hz, (0.0, 0.0))] });
    put(out, ("take.c3d", &c3d(take, map)), ("truth.json", &swings))
}

/// Writes `calibration.c3d` and `calibration.json` (metres, seconds) into a folder, which is made
/// if need be.
///
/// # Errors
/// When the folder or a file cannot be written.
pub fn write_calibration(
    take: &CalibrationTake,
    map: &MarkerMap,
    out: &Path,
) -> anyhow::Result<()> {
    let t = &take.truth;
    let hips = t.hips.map(|h| [h.x, h.y, h.z]);
    let truth = serde_json::json!({
        "hips": { "left": hips[0], "right": hips[1] },
        "knee_half_width": t.knee_half_width,
        "ankle_half_width": t.ankle_half_width,
        "elbow_half_width": t.elbow_half_width,
        "standing": t.standing,
        "moving": { "left": t.moving[0], "right": t.moving[1] },
    });
    put(
        out,
        ("calibration.c3d", &calibration_c3d(take, map)),
        ("calibration.json", &truth),
    )
}

fn put(
    out: &Path,
    (c3d_name, take): (&str, &C3d),
    (truth_name, truth): (&str, &serde_json::Value),
) -> anyhow::Result<()> {
    std::fs::create_dir_all(out)
        .with_context(|| format!("cannot make folder {}", out.display()))?;
    let put = |name: &str, bytes: &[u8]| {
        let path = out.join(name);
        std::fs::write(&path, bytes).with_context(|| format!("cannot write {}", path.display()))
    };
    put(c3d_name, &c3d::write(take)?)?;
    put(truth_name, serde_json::to_string_pretty(truth)?.as_bytes())
}
