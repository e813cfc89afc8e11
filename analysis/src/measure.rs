//! One window, one swing: clean, find, measure. A pure function of the window and what was told.

mod clean;
mod club_paths;
mod stands;
pub(crate) use stands::is_seated;
mod told;
mod words;

pub use clean::fill;
pub use told::posture;

use std::sync::Arc;

use nalgebra::Point3;

use crate::body::calibration::Calibration;
use crate::body::cluster::{Fault, Repair};
use crate::body::segments::lead_arm;
use crate::body::skeleton::Skeleton;
use crate::body::tracks::{Cutoffs, Smoothed};
use crate::club::mass::ClubMass;
use crate::club::{self, Club, Toe};
use crate::context::{ClubGeometry, Context, Person};
use crate::ground::audit::Audit;
use crate::ground::window::GroundWindow;
use crate::handed::Handed;
use crate::landmark::Landmark;
use crate::metrics::{self, values::Values};
use crate::signal::reading::{Reading, Unresolved};
use crate::swing::event::Event;
use crate::swing::found::{Extent, Paths, Swing};
use crate::swing::kind::{self, Kind};
use crate::swing::phases;
use crate::swing::refusal::NotASwing;
use crate::window::{Window, crop};
use clean::{faults, golfer_frame, held, side};
use club_paths::ClubPaths;
use told::{approximate, calibrate};
use words::{exchange_note, hidden_note, notes};

/// Stretch kept before the quiet part of address and after impact, seconds: room for the filters'
/// ends, and what a replay shows.
const BEFORE_S: f64 = 0.3;
const AFTER_S: f64 = 1.25;
/// Stretch after impact whose movement still has a say in the low-pass, seconds.
const THROUGH_S: f64 = 0.2;

/// A swing's window, cleaned, in the golfer frame, with the swing found in it.
#[derive(Debug, Clone)]
pub struct Prepared {
    /// Tracks in the golfer frame: a left-handed golfer mirrored, left and right exchanged.
    pub window: Window,
    /// The golfer's side.
    pub handed: Handed,
    /// What of the golfer's body is fixed, in the golfer frame.
    pub calibration: Calibration,
    /// What was told of the golfer's person.
    pub person: Person,
    /// What was told of the club.
    pub club_geometry: Option<ClubGeometry>,
    /// Its mass properties, told or assumed.
    pub club_mass: ClubMass,
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
    /// The direction from the head's heel to its toe, where three markers give it.
    pub toe: Option<Toe>,
    /// The swing.
    pub swing: Swing,
    /// The reactions of the force plates in the golfer frame, where there are plates.
    pub ground: Option<Arc<GroundWindow>>,
    /// How sharply the motion is read.
    pub reading: Reading,
    /// Errors drawn for an uncertainty.
    pub unresolved: Unresolved,
}

/// One measured swing.
#[derive(Debug, Clone)]
pub struct Measured {
    /// The swing and its cleaned window.
    pub prepared: Prepared,
    /// What it was.
    pub kind: Kind,
    /// How surely, 0 to 1 (a rating by the evidence).
    pub confidence: f64,
    /// Values in catalogue order.
    pub values: Values,
    /// Markers that were bad between address and impact.
    pub faults: Vec<Fault>,
    /// Force plates against the motion, where there are plates and a whole body.
    pub audit: Option<Audit>,
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
    /// A first look could not settle the kind.
    NotSettled,
}

impl Nothing {
    /// The kind of such a movement.
    #[must_use]
    pub fn kind(&self) -> Kind {
        match self {
            Self::Markers(_) => Kind::Other,
            Self::Movement(why) => why.kind(),
            Self::NotSettled => Kind::Other,
        }
    }

    /// The reason as a sentence says it.
    #[must_use]
    pub fn words(&self) -> &'static str {
        match self {
            Self::Markers(words) => words,
            Self::Movement(why) => why.words(),
            Self::NotSettled => "its kind is not settled yet",
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
    measure_beside(window, near, ball, (context, Beside::default()))
}

/// What came beside the markers around a pass, in the window's device time.
#[derive(Debug, Clone, Copy, Default)]
pub struct Beside<'a> {
    /// The force plates, bay frame.
    pub ground: Option<&'a GroundWindow>,
    /// When a trigger noticed impact, nanoseconds.
    pub pulses_ns: &'a [i64],
    /// How much of the swing the window holds.
    pub look: Look,
}

/// A look at a swing.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Look {
    /// At the whole of it.
    #[default]
    Whole,
    /// Soon after impact: only a swing whose kind nothing can change any more is one.
    First {
        /// Whether the bay has a trigger, whose pulse may still come.
        trigger: bool,
    },
}

/// The same with what came beside the markers.
///
/// # Errors
/// Says why there is no swing.
pub fn measure_beside(
    window: &Window,
    near: usize,
    ball: Option<Point3<f64>>,
    (context, beside): (&Context, Beside<'_>),
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
    let handed = side(&window, near)
        .or(context.handed)
        .unwrap_or(Handed::Right);
    golfer_frame(&mut window, handed);
    let (mut whole, mut swing) = find(&window, near, ball, (context, beside, &repair))?;
    if let Look::First { trigger } = beside.look {
        if !kind::is_settled(&swing, trigger) {
            return Err(Nothing::NotSettled);
        }
        swing.leave_open();
    }
    whole.forget_hands();
    let faults = faults(&window, &names, &swing, (&seen, &repair));
    let (calibration, calibration_note) = calibrate(&window, &swing, handed, context);
    let believed = seen.iter().zip(&repair.rejected);
    let seen = believed.map(|(s, r)| s.iter().zip(r).map(|(s, r)| *s && !r).collect());
    let known = Known {
        handed,
        calibration,
        person: context.person,
        club_geometry: context.club_geometry,
        club_mass: ClubMass::of(
            context.club_geometry.as_ref(),
            context.club.as_deref(),
            club::length_m(&window),
        ),
        approximate: approximate(handed, context),
        seen: seen.collect(),
        ground: beside.ground.map(|g| Arc::new(g.mirrored(handed))),
        cutoffs: None,
        reading: Reading::Usual,
        unresolved: Unresolved::default(),
    };
    let end = (swing.impact.before + window.slots(clean::FAULTS_AFTER_S)).min(window.len());
    let hidden = hidden_note(&faults, end.saturating_sub(swing.quiet.start), handed);
    let prepared = prepare(window, (whole, swing), known);
    let (kind, confidence) = kind::of(&prepared.swing);
    let audit = metrics::audit::of(&prepared);
    let notes = notes(&prepared)
        .into_iter()
        .chain(faults.iter().filter_map(|f| exchange_note(f, handed)))
        .chain(hidden)
        .chain(rate_note)
        .chain(calibration_note)
        .chain(prepared.ground.iter().flat_map(|g| g.notes()))
        .chain(metrics::ground::notes(&prepared))
        .chain(audit.iter().flat_map(|a| a.findings.clone()))
        .collect();
    Ok(Measured {
        values: metrics::measure(&prepared, Some(&audit)),
        audit: audit.ok(),
        kind,
        confidence,
        faults,
        notes,
        prepared,
    })
}

/// The swing in a cleaned window, by the club or, where it is not marked, by the hands.
fn find(
    window: &Window,
    near: usize,
    ball: Option<Point3<f64>>,
    (context, beside, repair): (&Context, Beside<'_>, &Repair),
) -> Result<(ClubPaths, Swing), Nothing> {
    let club = Club::new(window, context.club_geometry.as_ref()).map_err(Nothing::Markers);
    let club = club.and_then(|club| ClubPaths::new(window, &club, ball));
    let mut whole = match club.and_then(|club| club.seen_near(window, near)) {
        Ok(whole) if whole.is_upside_down(window, near) => whole.turned_over(window),
        Ok(whole) => whole,
        Err(why) => ClubPaths::of_hands(window, &why)?,
    };
    whole.forget_levered(window, &repair.levered);
    let pulses = beside.pulses_ns.iter();
    whole.paths.pulses = pulses.filter_map(|t| window.slot_at(*t)).collect();
    let swing = phases::find(&whole.paths, near, Reading::Usual).map_err(Nothing::Movement)?;
    if !held(window, &whole, &swing) {
        return Err(Nothing::Movement(NotASwing::NotHeld));
    }
    if matches!(swing.extent, Extent::Partial | Extent::SmallArms)
        && let Some(why) = stands::unsteady(window, &swing)
    {
        return Err(Nothing::Movement(why));
    }
    Ok((whole, swing))
}

/// Measures the swing of `old` again in other tracks of the same slots (golfer frame, holes filled;
/// it may end earlier). What was not known is not known again. Which markers were seen is left open,
/// so that nothing is said of the capture's quality.
///
/// # Errors
/// Says why there is no swing in them.
pub fn remeasure(old: &Prepared, window: Window, how: Again<'_>) -> Result<Prepared, Nothing> {
    let geometry = old.club_geometry.as_ref();
    let club = Club::new(&window, geometry).map_err(Nothing::Markers)?;
    let mut whole = ClubPaths::new(&window, &club, None)?;
    if old.paths.upside_down {
        whole = whole.turned_over(&window);
    }
    whole.paths.ball_x = old.paths.ball_x;
    whole.paths.pulses.clone_from(&old.paths.pulses);
    if let Some(repair) = how.filled {
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
    let mut swing = phases::find(&whole.paths, old.swing.impact.before, how.reading)
        .map_err(Nothing::Movement)?;
    let late = Unresolved::IMPACT_FRAMES_HZ / whole.paths.rate_hz * how.unresolved.impact;
    swing.impact.slot += late;
    let impact = swing.slots.get(Event::Impact);
    swing
        .slots
        .set(Event::Impact, impact.map(|slot| slot + late));
    let known = Known {
        handed: old.handed,
        calibration: how.calibration,
        person: old.person,
        club_geometry: old.club_geometry,
        club_mass: old.club_mass,
        approximate: old.approximate.clone(),
        seen: Vec::new(),
        ground: how.ground,
        cutoffs: old.body.cutoffs,
        reading: how.reading,
        unresolved: how.unresolved,
    };
    Ok(place(window, (whole, swing), known))
}

/// What a swing is measured again with.
#[derive(Debug)]
pub struct Again<'a> {
    /// What of the golfer's body is fixed, golfer frame.
    pub calibration: Calibration,
    /// What a fresh filling of holes did, if there was one.
    pub filled: Option<&'a Repair>,
    /// The plates' reactions, golfer frame.
    pub ground: Option<Arc<GroundWindow>>,
    /// How sharply the motion is read.
    pub reading: Reading,
    /// Errors that few frames leave.
    pub unresolved: Unresolved,
}

/// What is known beside the motion.
struct Known {
    handed: Handed,
    calibration: Calibration,
    person: Person,
    club_geometry: Option<ClubGeometry>,
    club_mass: ClubMass,
    approximate: Vec<(Landmark, String)>,
    seen: Vec<Vec<bool>>,
    ground: Option<Arc<GroundWindow>>,
    /// The body's low-pass, where it was chosen before.
    cutoffs: Option<Cutoffs>,
    reading: Reading,
    unresolved: Unresolved,
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
    let cutoffs = known.cutoffs.unwrap_or_else(|| {
        let to = (swing.impact.before + window.slots(THROUGH_S)).min(window.len());
        Cutoffs::choose(&window, swing.quiet.end.min(to)..to)
    });
    let body = Smoothed::new(&window, &known.approximate, (cutoffs, known.reading));
    let skeleton = Skeleton::new(&body, &known.calibration);
    if let Ok(arm) = lead_arm(&body) {
        let height: Vec<f64> = arm.points.iter().map(|p| p.y).collect();
        let slots = window.len();
        let known = arm.grid.spread_known(&arm.known, slots);
        phases::add_arm_events(&mut swing, &arm.grid.spread(&height, slots), &known);
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
        person: known.person,
        club_geometry: known.club_geometry,
        club_mass: known.club_mass,
        approximate: known.approximate,
        seen: known.seen,
        ground: known.ground,
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
        reading: known.reading,
        unresolved: known.unresolved,
        window,
    }
}
