//! One window, one swing: clean, find, measure. A pure function of the window and what was told.

use std::ops::Range;

use nalgebra::{Point3, Vector3};

use crate::body::calibration::{Calibration, Origin};
use crate::body::cluster::{self, Fault, Repair};
use crate::body::segments::lead_arm;
use crate::body::skeleton::Skeleton;
use crate::body::tracks::Smoothed;
use crate::club::Club;
use crate::context::{ClubGeometry, Context};
use crate::handed::Handed;
use crate::landmark::Landmark;
use crate::metrics::{self, values::Values};
use crate::signal::gaps;
use crate::swing::event::Event;
use crate::swing::impact::{BALL_RADIUS_M, Method};
use crate::swing::phases::{self, NotASwing, Paths, Swing};
use crate::window::{Track, Window, crop};

/// Longest gap of a club marker that is bridged, seconds, and how far the marker may move meanwhile,
/// metres: slow motion only, never across a collision.
const CLUB_GAP_S: f64 = 0.08;
const CLUB_GAP_M: f64 = 0.10;
/// Longest gap of a body marker that is bridged, seconds, the likely error up to which it is, metres,
/// and the stretch on both sides that this is judged by, seconds.
const BODY_GAP_S: f64 = 0.2;
const BODY_GAP_ERROR_M: f64 = 0.01;
const BODY_GAP_SIDE_S: f64 = 0.04;
/// Head higher than this over its place at address when it passes: it cannot have met a ball there, metres.
const CLEAR_OF_BALL_M: f64 = 0.05;

/// Stretch kept before the quiet part of address and after impact, seconds: room for the filters'
/// ends, and what a replay shows.
const BEFORE_S: f64 = 0.3;
const AFTER_S: f64 = 1.25;
/// Stretch after impact in which a bad marker is worth a word, seconds.
const FAULTS_AFTER_S: f64 = 0.3;

/// What the movement was.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// The club met a ball.
    Shot,
    /// A full swing clear of the ball's place.
    Rehearsal,
    /// A full swing; neither club nor ball tells whether a ball was met.
    Swing,
}

impl Kind {
    /// The word used in reports.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Shot => "shot",
            Self::Rehearsal => "rehearsal",
            Self::Swing => "swing",
        }
    }
}

/// A swing's window, cleaned, in the golfer frame, with the swing found in it.
#[derive(Debug, Clone)]
pub struct Prepared {
    /// Tracks in the golfer frame: a left-handed golfer mirrored, left and right exchanged.
    pub window: Window,
    /// The golfer's side.
    pub handed: Handed,
    /// What of the golfer's body is fixed, in the golfer frame.
    pub calibration: Calibration,
    /// What was told of the club.
    pub club_geometry: Option<ClubGeometry>,
    /// Words of the marker map for inexact landmarks, in the golfer frame.
    pub approximate: Vec<(Landmark, String)>,
    /// Smoothed body.
    pub body: Smoothed,
    /// Segments and joints.
    pub skeleton: Skeleton,
    /// Club and lead arm without gaps.
    pub paths: Paths,
    /// Slots in which each marker itself was seen and believed, in the window's order; empty where
    /// nobody asks.
    pub seen: Vec<Vec<bool>>,
    /// Mid-grip point without gaps, metres.
    pub grip: Vec<Point3<f64>>,
    /// Slots in which the grip is known.
    pub grip_known: Vec<bool>,
    /// What limits grip and shaft, in words, if something does.
    pub grip_limited: Option<String>,
    /// Whether the club head's place is known, marked or told.
    pub head_marked: bool,
    /// What limits the head, in words, if something does.
    pub head_limited: Option<String>,
    /// Unit vector from the head's heel to its toe, where three markers give it.
    pub toe: Vec<Option<Vector3<f64>>>,
    /// The swing.
    pub swing: Swing,
}

/// One measured swing.
#[derive(Debug, Clone)]
pub struct Measured {
    /// The swing and its cleaned window.
    pub prepared: Prepared,
    /// What it was.
    pub kind: Kind,
    /// Values in catalogue order.
    pub values: Values,
    /// Markers that were bad between address and impact.
    pub faults: Vec<Fault>,
    /// Plain sentences about how it was measured.
    pub notes: Vec<String>,
}

/// Why a window gave no swing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Nothing {
    /// The markers do not carry a swing, in words.
    Markers(&'static str),
    /// The movement is no full swing.
    Movement(NotASwing),
}

impl Nothing {
    /// The reason as a sentence says it.
    #[must_use]
    pub fn words(&self) -> &'static str {
        match self {
            Self::Markers(words) => words,
            Self::Movement(why) => why.words(),
        }
    }
}

/// Looks at a window around the fast pass at slot `near`.
///
/// # Errors
/// Says why there is no swing.
pub fn measure(
    window: &Window,
    near: usize,
    ball: Option<Point3<f64>>,
    context: &Context,
) -> Result<Measured, Nothing> {
    let mut window = window.clone();
    let rate_note = window.take_rate_from_times();
    let names = window.landmarks.clone();
    let seen: Vec<Vec<bool>> = window
        .tracks
        .iter()
        .map(|t| t.iter().map(Option::is_some).collect())
        .collect();
    let repair = fill(&mut window);
    let handed = context.handed.unwrap_or_else(|| side(&window));
    golfer_frame(&mut window, handed);
    let club = Club::new(&window, context.club_geometry.as_ref()).map_err(Nothing::Markers)?;
    let mut whole = ClubPaths::new(&window, &club, ball)?;
    whole.forget_levered(&window, &repair.levered);
    let swing = phases::find(&whole.paths, near).map_err(Nothing::Movement)?;
    let faults = faults(&window, &names, &swing, (&seen, &repair));
    let (calibration, calibration_note) = calibrate(&window, &swing, handed, context);
    let believed = seen.iter().zip(&repair.rejected);
    let seen = believed.map(|(s, r)| s.iter().zip(r).map(|(s, r)| *s && !r).collect());
    let known = Known {
        handed,
        calibration,
        club_geometry: context.club_geometry,
        approximate: approximate(handed, context),
        seen: seen.collect(),
    };
    let prepared = prepare(window, (whole, swing), known);
    let kind = kind(&prepared.swing);
    let notes = notes(&prepared)
        .into_iter()
        .chain(faults.iter().filter_map(exchange_note))
        .chain(rate_note)
        .chain(calibration_note)
        .collect();
    Ok(Measured {
        values: metrics::measure(&prepared),
        kind,
        faults,
        notes,
        prepared,
    })
}

/// Takes out bad markers and fills short holes, in place.
pub fn fill(window: &mut Window) -> Repair {
    let mut repair = cluster::judge(window);
    // A short gap of the grip is bridged before the rest, so that it is not filled from the far end of
    // the club; the stiff clusters come first everywhere else.
    bridge(window, &GRIP);
    cluster::rebuild(window, &mut repair);
    bridge(window, Landmark::ALL);
    repair
}

/// Measures the swing of `old` again in other tracks of the same slots (golfer frame, holes filled;
/// it may end earlier), with another calibration. What was not known is not known again; `filled`
/// tells what a fresh filling of holes did. Which markers were seen is left open, so that nothing is
/// said of the capture's quality.
///
/// # Errors
/// Says why there is no swing in them.
pub fn remeasure(
    old: &Prepared,
    window: Window,
    (calibration, filled): (Calibration, Option<&Repair>),
) -> Result<Prepared, Nothing> {
    let geometry = old.club_geometry.as_ref();
    let club = Club::new(&window, geometry).map_err(Nothing::Markers)?;
    let mut whole = ClubPaths::new(&window, &club, None)?;
    whole.paths.ball_x = old.paths.ball_x;
    if let Some(repair) = filled {
        whole.forget_levered(&window, &repair.levered);
    }
    for (now, then) in [
        (&mut whole.paths.known, &old.paths.known),
        (&mut whole.paths.axis_known, &old.paths.axis_known),
        (&mut whole.grip_known, &old.grip_known),
    ] {
        now.iter_mut()
            .zip(then)
            .for_each(|(now, then)| *now &= then);
    }
    let swing = phases::find(&whole.paths, old.swing.impact.before).map_err(Nothing::Movement)?;
    let known = Known {
        handed: old.handed,
        calibration,
        club_geometry: old.club_geometry,
        approximate: old.approximate.clone(),
        seen: Vec::new(),
    };
    Ok(place(window, (whole, swing), known))
}

/// Largest difference of distances within clusters that a calibration of the same person with the
/// same markers may show, metres: skin and posture, no other body (common practice, no source).
const SAME_PERSON_M: f64 = 0.015;

/// The calibration told, if it is this golfer's; otherwise that of the posture at address.
fn calibrate(
    window: &Window,
    swing: &Swing,
    handed: Handed,
    context: &Context,
) -> (Calibration, Option<String>) {
    let posture = posture(window, swing);
    let Some(told) = &context.calibration else {
        return (posture, None);
    };
    let told = if handed == Handed::Left {
        told.mirrored()
    } else {
        told.clone()
    };
    let misfit = told.misfit(&posture);
    if misfit <= SAME_PERSON_M {
        let words = match told.origin {
            Origin::Movement => {
                "Calibration: hip centers from the trial's movement, joint widths from its medial markers."
            }
            Origin::Posture => {
                "Calibration: joint widths from the trial's medial markers, hip centers by regression."
            }
            Origin::Address => "Calibration: marker shapes from the trial, joint widths assumed.",
        };
        return (told, Some(words.to_owned()));
    }
    let words = format!(
        "The calibration trial does not fit: distances between markers differ by up to {:.0} mm. Another student's trial, or markers re-stuck since? It was not used.",
        1e3 * misfit
    );
    (posture, Some(words))
}

/// The calibration of the posture at address; shapes that are not complete there are taken where
/// they first are.
#[must_use]
pub fn posture(window: &Window, swing: &Swing) -> Calibration {
    let of = |slots: Range<usize>| {
        Calibration::of_posture(|l| {
            let track = window.track(l)?;
            let seen = slots.clone().filter_map(|i| track.get(i)?.as_ref());
            let (sum, n) = seen.fold((Vector3::zeros(), 0.0), |(s, n), p| (s + p.coords, n + 1.0));
            (n > 0.0).then(|| Point3::from(sum / n))
        })
    };
    let mut found = of(swing.quiet.clone());
    let step = window.slots(0.05);
    for slot in (0..window.len()).step_by(step) {
        if found.is_complete() {
            break;
        }
        found.complete_from(of(slot..slot + 1));
    }
    found
}

/// The words of the marker map in the golfer frame.
fn approximate(handed: Handed, context: &Context) -> Vec<(Landmark, String)> {
    let own = |l: Landmark| {
        if handed == Handed::Left {
            l.opposite()
        } else {
            l
        }
    };
    context
        .approximate
        .iter()
        .map(|(l, words)| (own(*l), words.clone()))
        .collect()
}

/// What is known beside the motion.
struct Known {
    handed: Handed,
    calibration: Calibration,
    club_geometry: Option<ClubGeometry>,
    approximate: Vec<(Landmark, String)>,
    seen: Vec<Vec<bool>>,
}

/// The club's paths without gaps.
struct ClubPaths {
    paths: Paths,
    grip: Vec<Point3<f64>>,
    grip_known: Vec<bool>,
    grip_limited: Option<String>,
    head_marked: bool,
    head_limited: Option<String>,
    toe: Vec<Option<Vector3<f64>>>,
}

impl ClubPaths {
    fn new(window: &Window, club: &Club, ball: Option<Point3<f64>>) -> Result<Self, Nothing> {
        let gone = Nothing::Markers("the club was never seen");
        let axis: Track = club.axis.iter().map(|u| u.map(Point3::from)).collect();
        let solid = |track: &Track| gaps::solid(track).ok_or(gone.clone());
        let paths = Paths {
            rate_hz: window.rate_hz,
            head: solid(&club.head)?,
            axis: solid(&axis)?.iter().map(unit).collect(),
            known: known(&club.head),
            axis_known: known(&axis),
            ball_x: ball.map(|b| b.x - BALL_RADIUS_M),
        };
        Ok(Self {
            paths,
            grip: solid(&club.grip)?,
            grip_known: known(&club.grip),
            grip_limited: club.limited.map(String::from),
            head_marked: club.head_marked,
            head_limited: club.head_limited.clone(),
            toe: club.toe.clone(),
        })
    }

    /// A grip placed by a long lever from the club's head is too noisy for a speed.
    fn forget_levered(&mut self, window: &Window, levered: &[Vec<bool>]) {
        let tracks = window
            .landmarks
            .iter()
            .zip(levered)
            .filter(|(l, _)| GRIP.contains(l));
        for (_, levered) in tracks {
            self.grip_known
                .iter_mut()
                .zip(levered)
                .for_each(|(known, levered)| *known &= !levered);
        }
    }

    fn keep(&mut self, range: Range<usize>) {
        self.paths.keep(range.clone());
        crop(&mut self.grip, range.clone());
        crop(&mut self.grip_known, range.clone());
        crop(&mut self.toe, range);
    }
}

/// Cuts the window to the stretch that is measured and shown, and places the body there.
fn prepare(
    mut window: Window,
    (mut whole, mut swing): (ClubPaths, Swing),
    mut known: Known,
) -> Prepared {
    let from = swing.quiet.start.saturating_sub(window.slots(BEFORE_S));
    let to = (swing.impact.before + window.slots(AFTER_S)).min(window.len());
    window.keep(from..to);
    whole.keep(from..to);
    swing.shift(from);
    known.seen.iter_mut().for_each(|s| crop(s, from..to));
    place(window, (whole, swing), known)
}

/// Smooths the body of a window, places its segments, and finds the lead arm's events.
fn place(window: Window, (whole, mut swing): (ClubPaths, Swing), known: Known) -> Prepared {
    let body = Smoothed::new(&window, &known.approximate);
    let skeleton = Skeleton::new(&body, &known.calibration);
    if let Ok(arm) = lead_arm(&body) {
        let height: Vec<f64> = arm.points.iter().map(|p| p.y).collect();
        phases::add_arm_events(&mut swing, &height, &arm.known);
    }
    let ClubPaths {
        paths,
        grip,
        grip_known,
        grip_limited,
        head_marked,
        head_limited,
        toe,
    } = whole;
    Prepared {
        handed: known.handed,
        calibration: known.calibration,
        club_geometry: known.club_geometry,
        approximate: known.approximate,
        seen: known.seen,
        body,
        skeleton,
        paths,
        grip,
        grip_known,
        grip_limited,
        head_marked,
        head_limited,
        toe,
        swing,
        window,
    }
}

/// Markers that were bad between address and a little after impact.
fn faults(
    window: &Window,
    names: &[Landmark],
    swing: &Swing,
    (seen, repair): (&[Vec<bool>], &Repair),
) -> Vec<Fault> {
    let end = (swing.impact.before + window.slots(FAULTS_AFTER_S)).min(window.len());
    let count = |marks: &[bool], want: bool| {
        (swing.quiet.start..end)
            .filter(|&i| marks.get(i) == Some(&want))
            .count()
    };
    let exchanges = |i: usize| {
        let marks: &[Option<Landmark>] = &repair.exchanged[i];
        (swing.quiet.start..end).filter_map(|slot| *marks.get(slot)?)
    };
    let fault = |(i, &landmark): (usize, &Landmark)| Fault {
        landmark,
        missing: count(&seen[i], false),
        rejected: count(&repair.rejected[i], true),
        exchanged: exchanges(i).count(),
        with: exchanges(i).max_by_key(|&other| exchanges(i).filter(|&o| o == other).count()),
    };
    names
        .iter()
        .enumerate()
        .map(fault)
        .filter(|f| f.missing + f.rejected + f.exchanged > 0)
        .collect()
}

/// One sentence a pair of exchanged markers, told by the first of the two.
fn exchange_note(fault: &Fault) -> Option<String> {
    let with = fault.with.filter(|with| fault.landmark < *with)?;
    let (a, b, frames) = (fault.landmark.name(), with.name(), fault.exchanged);
    Some(format!(
        "{a} and {b} had exchanged their labels in {frames} frames: put right."
    ))
}

/// The club's upper end.
const GRIP: [Landmark; 3] = [Landmark::ClubButt, Landmark::ClubGripA, Landmark::ClubGripB];

fn bridge(window: &mut Window, of: &[Landmark]) {
    let [club, body, side] = [CLUB_GAP_S, BODY_GAP_S, BODY_GAP_SIDE_S].map(|s| window.slots(s));
    let tracks = window.landmarks.iter().zip(&mut window.tracks);
    for (landmark, track) in tracks.filter(|(l, _)| of.contains(l)) {
        if landmark.is_club() {
            gaps::bridge_slow(track, club, CLUB_GAP_M);
        } else {
            gaps::bridge_sure(track, body, (side, BODY_GAP_ERROR_M));
        }
    }
}

/// The golfer's side: while the club head is low it is on the ball's side of the body. Without a
/// body, of the grip. The median over the lowest quarter of the window, so that no single frame
/// decides.
fn side(window: &Window) -> Handed {
    const HEAD: &[Landmark] = &[
        Landmark::ClubHeadHeel,
        Landmark::ClubHeadToe,
        Landmark::ClubHeadBack,
        Landmark::ClubShaftLow,
    ];
    let body: Vec<Landmark> = window
        .landmarks
        .iter()
        .copied()
        .filter(|l| !l.is_club())
        .collect();
    let grip = [Landmark::ClubButt, Landmark::ClubGripA];
    let golfer = if body.is_empty() {
        &grip[..]
    } else {
        &body[..]
    };
    let stride = (window.len() / 400).max(1);
    let mut low: Vec<(f64, f64)> = (0..window.len())
        .step_by(stride)
        .filter_map(|i| {
            let (head, golfer) = (mean_at(window, i, HEAD)?, mean_at(window, i, golfer)?);
            Some((head.y, head.z - golfer.z))
        })
        .collect();
    low.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    low.truncate(low.len().div_ceil(4));
    low.sort_unstable_by(|a, b| a.1.total_cmp(&b.1));
    match low.get(low.len() / 2) {
        Some((_, z)) if *z < 0.0 => Handed::Left,
        _ => Handed::Right,
    }
}

fn mean_at(window: &Window, slot: usize, of: &[Landmark]) -> Option<Vector3<f64>> {
    let seen: Vec<Vector3<f64>> = of
        .iter()
        .filter_map(|&l| Some(window.track(l)?[slot]?.coords))
        .collect();
    (!seen.is_empty()).then(|| seen.iter().sum::<Vector3<f64>>() / seen.len() as f64)
}

fn golfer_frame(window: &mut Window, handed: Handed) {
    if handed == Handed::Right {
        return;
    }
    window.landmarks.iter_mut().for_each(|l| *l = l.opposite());
    window
        .tracks
        .iter_mut()
        .flatten()
        .flatten()
        .for_each(|p| *p = handed.mirror_point(*p));
}

fn kind(swing: &Swing) -> Kind {
    match swing.impact.loss {
        Some(_) => Kind::Shot,
        None if swing
            .impact
            .clearance_m
            .is_some_and(|c| c > CLEAR_OF_BALL_M) =>
        {
            Kind::Rehearsal
        }
        None => Kind::Swing,
    }
}

fn notes(prepared: &Prepared) -> Vec<String> {
    let impact = &prepared.swing.impact;
    let seen = prepared.swing.slots.get(Event::Impact).is_some();
    let place = match impact.method {
        Method::SpeedStep => None,
        Method::BallPlane => Some("the face reached the ball's place"),
        Method::AddressPlane => Some("the head passed its place at address"),
        Method::Fastest => Some("neither ball nor address is known, the fastest instant stands in"),
    };
    let method = match (place, impact.loss) {
        _ if !seen => "Impact: the club was hidden there.".to_owned(),
        (Some(place), _) if impact.cut => {
            format!("Impact: {place}; the club was hidden too much to tell whether a ball was met.")
        }
        (Some(place), _) => format!("Impact: {place}; no loss of speed shows a ball met."),
        (None, loss) => {
            format!(
                "Impact: the head lost {:.0} % of its speed within a frame.",
                100.0 * loss.unwrap_or(0.0)
            )
        }
    };
    let clear = impact
        .clearance_m
        .filter(|c| *c > CLEAR_OF_BALL_M)
        .map(|c| {
            format!(
                "The head passed {:.0} cm above its place at address.",
                100.0 * c
            )
        });
    let apart = impact
        .disagreement_s
        .filter(|s| s.abs() > 0.003)
        .map(|s| format!("The loss of speed lies {:.1} ms from the passing of the ball's place: check the ball position.", 1e3 * s));
    std::iter::once(method).chain(clear).chain(apart).collect()
}

fn known(track: &Track) -> Vec<bool> {
    track.iter().map(Option::is_some).collect()
}

fn unit(p: &Point3<f64>) -> Vector3<f64> {
    p.coords
        .try_normalize(1e-6)
        .unwrap_or_else(|| -Vector3::y())
}
