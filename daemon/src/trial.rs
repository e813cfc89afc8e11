//! A calibration trial, of a file or of what a bay has just seen, on the way that every take goes: datagrams,
//! decoder, analyzer; the frames that come out are read by `analysis::body::trial`. Also the words of
//! `whin calibrate`.

use std::fmt::Write as _;
use std::path::Path;
use std::sync::Arc;

use analysis::analyzer::{Analyzer, Output};
use analysis::body::calibration::{Calibration, Origin, Place};
use analysis::body::trial::{self, Trial};
use analysis::context::Context;
use analysis::frame::CaptureFrame;
use analysis::landmark::Landmark;
use analysis::window::Window;

use crate::decode::Decoder;
use crate::errors::{Code, wrong};
use crate::feed;
use crate::map::MarkerMap;
use crate::offline::{self, REORDER_NS};
use crate::send;

/// A hole in a trial longer than this parts it in two, seconds.
const HOLE_S: f64 = 5.0;

/// A joint's half width known worse than this was not measured but assumed, metres.
const MEASURED_SD_M: f64 = 0.002;

/// What a trial's file gave.
#[derive(Debug)]
pub struct Found {
    /// The trial.
    pub trial: Trial,
    /// Plain sentences about the file: oddities tolerated, labels unknown or absent.
    pub remarks: Vec<String>,
}

/// Reads the calibration of a C3D take or a recording.
///
/// # Errors
/// Names the file, why it gives none and what to do.
pub fn read(path: &Path, map: &MarkerMap) -> anyhow::Result<Found> {
    if !send::is_recording(path) {
        offline::require_labels(&offline::read_c3d(path)?.labels, path, map)?;
    }
    let due = send::datagrams(path, Some(map), 1)?;
    let arrivals = due.iter().map(|d| (0, d.bytes.as_slice()));
    match of_datagrams(arrivals, map) {
        Ok(found) => Ok(found),
        Err(why) => wrong!(
            Code::TrialUnusable,
            "calibration trial {}: {why}",
            path.display()
        ),
    }
}

/// Reads the calibration of a C3D file's bytes.
///
/// # Errors
/// Says in words why it gives none and what to do.
pub fn of_c3d(bytes: &[u8], map: &MarkerMap) -> Result<Found, String> {
    let take = offline::c3d_of(bytes).map_err(|why| format!("no usable C3D file: {why:#}"))?;
    if !take.labels.iter().any(|l| map.landmark(l).is_some()) {
        return Err(format!(
            "none of its {} labels is in marker map `{}`",
            take.labels.len(),
            map.name
        ));
    }
    let due = feed::of_c3d(&take, Some(map), 1).map_err(|why| format!("{why:#}"))?;
    of_datagrams(due.iter().map(|d| (0, d.bytes.as_slice())), map)
}

/// Reads the calibration of datagrams with their arrivals: of the longest stretch of frames without a hole,
/// or of the longest with medial markers on.
///
/// # Errors
/// Says in words why there is none and what to do.
pub fn of_datagrams<'a>(
    arrivals: impl Iterator<Item = (u64, &'a [u8])>,
    map: &MarkerMap,
) -> Result<Found, String> {
    let mut decoder = Decoder::new(map.clone());
    let mut analyzer = Analyzer::new(offline::told(&decoder, Context::default()), REORDER_NS);
    let mut stretch = Stretch::default();
    let mut outputs = Vec::new();
    for (received_ns, bytes) in arrivals {
        if let Some(input) = decoder.decode(bytes, received_ns) {
            analyzer.push(input, &mut outputs);
            stretch.take(&mut outputs, &analyzer);
        }
    }
    analyzer.finish(&mut outputs);
    stretch.take(&mut outputs, &analyzer);
    // No club is held in a trial.
    let remarks = offline::remarks(&decoder, |l| !l.is_club());
    let windows = stretch.longest_first();
    if windows.is_empty() {
        let remarks: String = remarks.iter().map(|r| format!("; {r}")).collect();
        return Err(format!("no marker frames in it{remarks}"));
    }
    // Beside a trial there may be others: somebody who walks in, or a shot.
    let mut read = windows.iter().map(trial::read);
    let whole = |t: &Trial| t.calibration.origin != Origin::Address;
    let first = read.next();
    let better = match &first {
        Some(Ok(trial)) if whole(trial) => None,
        _ => read.filter_map(Result::ok).find(whole),
    };
    match better.map(Ok).or(first) {
        Some(Ok(trial)) => Ok(Found { trial, remarks }),
        Some(Err(why)) => Err(format!(
            "{why}. Record again: the golfer stands still for two seconds with all body and medial markers on, then moves each leg forward, back and to the side"
        )),
        None => Err("no marker frames in it".into()),
    }
}

/// Frames in order under one description.
#[derive(Debug, Default)]
struct Stretch {
    landmarks: Vec<Landmark>,
    rate_hz: f64,
    frames: Vec<Arc<CaptureFrame>>,
    parts: Vec<Window>,
}

impl Stretch {
    fn take(&mut self, outputs: &mut Vec<Output>, analyzer: &Analyzer) {
        let rate_hz = || analyzer.streams().find_map(|(_, s)| s.rate_hz);
        for output in outputs.drain(..) {
            let Output::Pose(frame) = output else {
                continue;
            };
            if !self.goes_on(&frame) || self.landmarks != analyzer.landmarks() {
                self.close();
                self.landmarks = analyzer.landmarks().to_vec();
                self.rate_hz = rate_hz().unwrap_or_default();
            }
            if frame.points.len() == self.landmarks.len() {
                self.frames.push(frame);
            }
        }
    }

    fn goes_on(&self, frame: &CaptureFrame) -> bool {
        self.frames.last().is_some_and(|last| {
            let steps = frame.number.saturating_sub(last.number);
            steps > 0 && steps as f64 <= HOLE_S * self.rate_hz
        })
    }

    fn close(&mut self) {
        let frames = std::mem::take(&mut self.frames);
        let window = Window::new(
            frames.iter().map(Arc::as_ref),
            &self.landmarks,
            self.rate_hz,
        );
        self.parts.extend(window.filter(|w| w.rate_hz > 0.0));
    }

    fn longest_first(mut self) -> Vec<Window> {
        self.close();
        self.parts.sort_by_key(|w| std::cmp::Reverse(w.len()));
        self.parts
    }
}

/// What a trial gave, in plain words with numbers.
#[must_use]
pub fn words(trial: &Trial) -> String {
    let mut text = String::new();
    for note in &trial.notes {
        line(&mut text, note);
    }
    let c = &trial.calibration;
    line(
        &mut text,
        "\nJoint widths, center of the lateral marker to center of the medial one, mm:",
    );
    let width = |p: &Place| (2e3 * p.at.norm(), p.covariance[(2, 2)].sqrt());
    let rows = [
        ("knee", c.knees.map(|p| width(&p))),
        ("ankle", c.ankles.map(|p| width(&p))),
        ("elbow", c.elbows.map(|(half, sd)| (2e3 * half, sd))),
    ];
    for (name, sides) in rows {
        let [left, right] = sides.map(|(mm, sd)| {
            let assumed = if sd > MEASURED_SD_M { " (assumed)" } else { "" };
            format!("{mm:6.1}{assumed}")
        });
        line(
            &mut text,
            &format!("  {name:<6} left {left}   right {right}"),
        );
    }
    hips(&mut text, trial, c);
    for (name, shape) in [
        ("pelvis", &c.pelvis),
        ("thorax", &c.thorax),
        ("head", &c.head),
    ] {
        let said = shape.as_ref().map_or_else(
            || "not all its markers were seen while the golfer stood still: it is taken from each swing's address".to_owned(),
            |s| format!("{} markers placed", s.landmarks.len()),
        );
        line(&mut text, &format!("The {name}: {said}."));
    }
    text.trim_end().to_owned()
}

fn hips(text: &mut String, trial: &Trial, calibration: &Calibration) {
    let Some(hips) = &calibration.hips else {
        return;
    };
    line(
        text,
        "\nHip joint centers from the middle of the front iliac spines, mm (± is one standard deviation):",
    );
    for ((name, hip), residual) in ["left", "right"].iter().zip(hips).zip(trial.residual_m) {
        let [x, y, z] = [0, 1, 2].map(|i| {
            let sd = 1e3 * hip.covariance[(i, i)].max(0.0).sqrt();
            format!("{:6.1} ± {sd:.1}", 1e3 * hip.at[i])
        });
        let method = residual.map_or_else(
            || "by regression from the pelvis' size".to_owned(),
            |r| {
                format!(
                    "from the leg's movement; the knee's distance varied by {:.1} mm",
                    1e3 * r
                )
            },
        );
        line(
            text,
            &format!("  {name:<6} forward {x}   up {y}   right {z}   {method}"),
        );
    }
    line(text, "");
}

fn line(text: &mut String, line: &str) {
    // Writing to a string cannot fail.
    let _infallible = writeln!(text, "{line}");
}
