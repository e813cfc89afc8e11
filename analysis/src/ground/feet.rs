//! Which foot stands on which plate: found from the feet's markers, checked against the centers of
//! pressure; without markers, from the plates' places along the target line. Golfer frame.

use nalgebra::{Point3, Vector3};

use super::plate::Surface;

/// Half the width of a sole, metres (common practice, no source).
const HALF_WIDTH_M: f64 = 0.045;
/// Heel to the tip of the toes in lengths heel to metatarsal head (common practice, no source).
pub const TOE_TIP: f64 = 1.3;
/// The sole is looked at in so many places along and across.
const ALONG: usize = 16;
const ACROSS: usize = 5;
/// Share of the sole on a plate from which it is the foot's, and from which a second one bridges.
const ON: f64 = 0.9;
const PART: f64 = 0.1;
/// Distance of a center of pressure from the sole's middle line from which plate and foot do not
/// belong together, metres.
const FAR_M: f64 = 0.12;
const NOT_MARKED: &str = "Without markers on both feet the plates were told apart by their places along the target line.";

/// The markers of one foot at address, metres; `None` where not known.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Foot {
    /// Heel.
    pub heel: Option<Point3<f64>>,
    /// Head of the second metatarsal.
    pub toe: Option<Point3<f64>>,
    /// Lateral malleolus.
    pub ankle: Option<Point3<f64>>,
}

/// Where a foot stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Under {
    /// On one plate, by its place in the window.
    Plate(usize),
    /// On two at once.
    Bridging(usize, usize),
    /// Partly beside its plate.
    Edge(usize),
    /// On no plate.
    Beside,
}

/// One plate as `feet` needs it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Carrier {
    /// Where it lies; `None` where that is not known.
    pub surface: Option<Surface>,
    /// Center of pressure at address; `None` without load.
    pub pressure: Option<Point3<f64>>,
    /// Whether it tells nothing at all, which is said elsewhere.
    pub silent: bool,
}

/// Which plate is the lead and which the trail foot's, or why that is not known.
#[derive(Debug, Clone, PartialEq)]
pub struct Standing {
    /// Place of the lead foot's plate in the window.
    pub lead: Result<usize, String>,
    /// Of the trail foot's.
    pub trail: Result<usize, String>,
    /// Places of the plates that carry the golfer together.
    pub together: Result<Vec<usize>, String>,
    /// What makes all of this weak, if something does.
    pub weak: Option<String>,
    /// Why centers of pressure are not to be believed, if they are not.
    pub misplaced: Option<String>,
    /// What is to be said, in plain sentences.
    pub notes: Vec<String>,
}

impl Foot {
    /// The sole's line from heel to the tip of the toes; a point where only the ankle is known.
    fn line(&self) -> Option<[Point3<f64>; 2]> {
        match (self.heel, self.toe, self.ankle) {
            (Some(heel), Some(toe), _) => Some([heel, heel + (toe - heel) * TOE_TIP]),
            (heel, toe, ankle) => ankle.or(heel).or(toe).map(|p| [p, p]),
        }
    }

    /// Distance on the floor from the sole's middle line, metres.
    fn distance(&self, p: &Point3<f64>) -> Option<f64> {
        let flat = |v: Vector3<f64>| Vector3::new(v.x, 0.0, v.z);
        let [from, to] = self.line()?;
        let (along, off) = (flat(to - from), flat(p - from));
        let share = off.dot(&along) / along.norm_squared().max(1e-12);
        Some((off - along * share.clamp(0.0, 1.0)).norm())
    }
}

/// Where a foot stands; `None` without a marker of it.
#[must_use]
pub fn under(foot: &Foot, carriers: &[Carrier]) -> Option<Under> {
    let [from, to] = foot.line()?;
    let along = to - from;
    let across = Vector3::new(-along.z, 0.0, along.x)
        .try_normalize(1e-3)
        .unwrap_or_else(Vector3::x);
    let step = |n: usize, of: usize| n as f64 / (of - 1) as f64;
    let points = (0..ALONG).flat_map(|i| {
        let middle = from + along * step(i, ALONG);
        (0..ACROSS).map(move |j| middle + across * HALF_WIDTH_M * (2.0 * step(j, ACROSS) - 1.0))
    });
    let share = |c: &Carrier| {
        let on = |p: &Point3<f64>| c.surface.is_some_and(|s| s.carries(p, 0.0));
        points.clone().filter(|p| on(p)).count() as f64 / (ALONG * ACROSS) as f64
    };
    let mut shares: Vec<(usize, f64)> = carriers.iter().map(share).enumerate().collect();
    shares.sort_by(|a, b| b.1.total_cmp(&a.1));
    Some(match shares[..] {
        [(_, first), ..] if first < PART => Under::Beside,
        [(a, _), (b, second), ..] if second >= PART => Under::Bridging(a.min(b), a.max(b)),
        [(a, first), ..] if first >= ON => Under::Plate(a),
        [(a, _), ..] => Under::Edge(a),
        [] => Under::Beside,
    })
}

/// Which plate is whose: by the feet where they are marked, else by the plates' places.
#[must_use]
pub fn standing(lead: &Foot, trail: &Foot, carriers: &[Carrier]) -> Standing {
    let mut notes = Vec::new();
    let (lead_at, trail_at) = (under(lead, carriers), under(trail, carriers));
    let (mut lead_on, mut trail_on) = match (lead_at, trail_at) {
        (None, _) | (_, None) => {
            notes.push(NOT_MARKED.into());
            by_place(carriers)
        }
        (Some(l), Some(t)) => (owned("lead", l, &mut notes), owned("trail", t, &mut notes)),
    };
    let at = [("lead", lead_at), ("trail", trail_at)];
    let weak = match at {
        [(_, Some(_)), (_, Some(_))] => {
            let edge = at.iter().find(|a| matches!(a.1, Some(Under::Edge(_))));
            edge.map(|(side, _)| format!("the {side} foot stands partly beside its plate"))
        }
        _ => Some("feet not marked: plates told apart by their places".to_owned()),
    };
    let plates = |under: Option<Under>, on: &Result<usize, String>| match under {
        Some(Under::Bridging(a, b)) => Ok(vec![a, b]),
        _ => on.clone().map(|n| vec![n]),
    };
    let mut together = plates(lead_at, &lead_on).and_then(|mut all| {
        all.extend(plates(trail_at, &trail_on)?);
        all.sort_unstable();
        all.dedup();
        Ok(all)
    });
    if matches!((&lead_on, &trail_on), (Ok(a), Ok(b)) if a == b) {
        let why = || Err("both feet stand on one plate".to_owned());
        (lead_on, trail_on) = (why(), why());
    }
    for (side, at, other) in [
        ("lead", lead_at, &mut trail_on),
        ("trail", trail_at, &mut lead_on),
    ] {
        if let (Some(Under::Bridging(a, b)), Ok(n)) = (at, &*other)
            && [a, b].contains(n)
        {
            *other = Err(format!("the {side} foot stands on plate {} too", n + 1));
        }
    }
    let mut misplaced = None;
    for (side, foot, on) in [
        ("lead", lead, &mut lead_on),
        ("trail", trail, &mut trail_on),
    ] {
        let odd = on
            .as_ref()
            .ok()
            .and_then(|&n| disagrees(side, foot, (n, carriers)));
        let Some((words, doubt)) = odd else { continue };
        notes.push(format!("The {words}."));
        let words = format!("the {words}");
        if doubt != Doubt::Place {
            *on = Err(words.clone());
        }
        if doubt == Doubt::Load {
            together = Err(words.clone());
        }
        misplaced.get_or_insert(words);
    }
    Standing {
        lead: lead_on,
        trail: trail_on,
        together,
        weak,
        misplaced,
        notes,
    }
}

/// The plate of a foot by where it stands.
fn owned(side: &str, under: Under, notes: &mut Vec<String>) -> Result<usize, String> {
    match under {
        Under::Plate(n) => Ok(n),
        Under::Edge(n) => {
            notes.push(format!(
                "The {side} foot stands partly beside plate {}: part of its force is missing.",
                n + 1
            ));
            Ok(n)
        }
        Under::Bridging(a, b) => {
            let why = format!(
                "the {side} foot stands on plates {} and {} at once",
                a + 1,
                b + 1
            );
            notes.push(format!("Move the feet apart: {why}."));
            Err(why)
        }
        Under::Beside => Err(format!("the {side} foot stands on no plate")),
    }
}

/// Without feet: of two loaded plates the lead one is nearer to the target.
fn by_place(carriers: &[Carrier]) -> (Result<usize, String>, Result<usize, String>) {
    let loaded: Vec<(usize, f64)> = carriers
        .iter()
        .enumerate()
        .filter_map(|(n, c)| Some((n, c.surface.filter(|_| c.pressure.is_some())?.center.x)))
        .collect();
    match loaded[..] {
        [(a, x), (b, y)] if (x - y).abs() > 0.1 => {
            let (lead, trail) = if x > y { (a, b) } else { (b, a) };
            (Ok(lead), Ok(trail))
        }
        _ => {
            let why = "the feet are not marked, and the plates do not say whose they are";
            (Err(why.into()), Err(why.into()))
        }
    }
}

/// What is doubtful about a foot's plate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Doubt {
    /// It reads no load.
    Load,
    /// It may be another foot's.
    Whose,
    /// Where it says that the force acts.
    Place,
}

/// What speaks against a foot's plate: no load, or a center of pressure that is not under the foot.
fn disagrees(
    side: &str,
    foot: &Foot,
    (n, carriers): (usize, &[Carrier]),
) -> Option<(String, Doubt)> {
    let name = n + 1;
    if carriers[n].silent {
        return None;
    }
    let Some(pressure) = carriers[n].pressure else {
        let words =
            format!("{side} foot stands on plate {name}, but the plate reads no load at address");
        return Some((words, Doubt::Load));
    };
    let off = foot.distance(&pressure).filter(|d| *d > FAR_M)?;
    let elsewhere = (0..carriers.len()).filter(|&m| m != n);
    let near = |&m: &usize| {
        let p = carriers[m].pressure.and_then(|p| foot.distance(&p));
        p.is_some_and(|d| d < FAR_M)
    };
    let (hint, doubt) = match elsewhere.filter(near).count() {
        0 => ("its place, origin or channels may be wrong", Doubt::Place),
        _ => ("two plates may be exchanged", Doubt::Whose),
    };
    let words = format!(
        "center of pressure of plate {name} is {:.0} cm from the {side} foot at address: {hint}",
        off * 1e2
    );
    Some((words, doubt))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two plates of 0.6 m by 0.4 m side by side along the target line, the trail foot's first.
    fn carriers(pressures: [Option<[f64; 2]>; 2]) -> Vec<Carrier> {
        let at = |x: f64, p: Option<[f64; 2]>| Carrier {
            surface: Some(Surface {
                center: Point3::new(x, 0.0, -0.8),
                along: [Vector3::x(), -Vector3::z()],
                half: [0.2, 0.3],
            }),
            pressure: p.map(|[x, z]| Point3::new(x, 0.0, z)),
            silent: false,
        };
        vec![at(-0.2, pressures[0]), at(0.2, pressures[1])]
    }

    fn foot(x: f64, z: f64) -> Foot {
        Foot {
            heel: Some(Point3::new(x, 0.03, z)),
            toe: Some(Point3::new(x, 0.03, z + 0.17)),
            ankle: None,
        }
    }

    const GOOD: [Option<[f64; 2]>; 2] = [Some([-0.22, -0.75]), Some([0.2, -0.8])];

    #[test]
    fn feet_find_their_plates_whatever_their_order() {
        let mut both = carriers(GOOD);
        let found = standing(&foot(0.2, -0.88), &foot(-0.2, -0.88), &both);
        assert_eq!((found.lead, found.trail), (Ok(1), Ok(0)));
        assert_eq!(found.notes, Vec::<String>::new());
        both.reverse();
        let found = standing(&foot(0.2, -0.88), &foot(-0.2, -0.88), &both);
        assert_eq!((found.lead, found.trail), (Ok(0), Ok(1)));
        let by_place = standing(&Foot::default(), &Foot::default(), &both);
        assert_eq!((by_place.lead, by_place.trail), (Ok(0), Ok(1)));
        assert_eq!(by_place.notes.len(), 1);
    }

    #[test]
    fn a_foot_on_two_plates_on_the_edge_or_beside_is_noticed() {
        let both = carriers(GOOD);
        assert_eq!(under(&foot(0.0, -0.88), &both), Some(Under::Bridging(0, 1)));
        assert_eq!(
            under(&foot(0.02, -0.88), &both),
            Some(Under::Bridging(0, 1))
        );
        assert_eq!(under(&foot(0.06, -0.88), &both), Some(Under::Plate(1)));
        assert_eq!(under(&foot(0.2, -0.62), &both), Some(Under::Edge(1)));
        assert_eq!(under(&foot(0.9, -0.88), &both), Some(Under::Beside));
        assert_eq!(under(&Foot::default(), &both), None);
        let found = standing(&foot(0.01, -0.88), &foot(-0.2, -0.88), &both);
        assert!(found.lead.unwrap_err().contains("at once"));
        assert!(found.trail.unwrap_err().contains("plate 1 too"));
        assert_eq!(found.together, Ok(vec![0, 1]), "the sum is whole");
        let found = standing(&foot(0.3, -0.88), &foot(0.1, -0.88), &both);
        assert!(found.lead.unwrap_err().contains("both feet"));
        assert_eq!(found.together, Ok(vec![1]));
        let found = standing(&foot(0.9, -0.88), &foot(-0.2, -0.88), &both);
        assert_eq!(found.trail, Ok(0));
        assert!(found.together.unwrap_err().contains("no plate"));
    }

    #[test]
    fn plates_that_contradict_the_feet_are_told() {
        let swapped = carriers([Some([0.2, -0.8]), Some([-0.2, -0.8])]);
        let found = standing(&foot(0.2, -0.88), &foot(-0.2, -0.88), &swapped);
        assert_eq!(found.notes.len(), 2);
        assert!(
            found.notes.iter().all(|n| n.contains("exchanged")),
            "{:?}",
            found.notes
        );
        assert!(found.lead.is_err() && found.trail.is_err() && found.together.is_ok());
        let idle = carriers([None, Some([0.2, -0.8])]);
        let found = standing(&foot(0.2, -0.88), &foot(-0.2, -0.88), &idle);
        assert!(found.notes[0].contains("no load"));
        assert!(found.trail.unwrap_err().contains("no load"));
        assert!(found.together.is_err() && found.lead == Ok(1));
        let odd = carriers([Some([-0.2, -0.8]), Some([0.38, -0.8])]);
        let found = standing(&foot(0.2, -0.88), &foot(-0.2, -0.88), &odd);
        assert!(found.notes[0].contains("wrong") && found.notes.len() == 1);
        assert!(found.misplaced.unwrap().contains("wrong") && found.lead == Ok(1));
    }
}
