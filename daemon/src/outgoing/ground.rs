//! The plates of a swing for its replay: reactions at the replay's times, in bay axes.

use analysis::ground::plate::Surface;
use analysis::ground::window::{GroundWindow, PlateWindow};
use analysis::ground::wrench::{LOAD_GATE_N, total};
use analysis::handed::Handed;
use analysis::metrics::ground::OnPlates;
use nalgebra::{Point3, Vector3};
use protocol::screen::{ReplayGround, ReplayPlate};

use super::{point_f32, rounded};

/// The plates of a window in the golfer frame at these device times, nanoseconds.
pub(super) fn replay(
    ground: &GroundWindow,
    handed: Handed,
    standing: OnPlates,
    times_ns: &[i64],
) -> ReplayGround {
    let foot = |n: usize| match Some(n) {
        n if n == standing.lead => Some("lead".to_owned()),
        n if n == standing.trail => Some("trail".to_owned()),
        _ => None,
    };
    let ground = ground.mirrored(handed);
    let plates = ground.plates.iter().enumerate();
    ReplayGround {
        body_weight_n: standing.weight_n.map(|w| rounded(w, 10.0)),
        plates: plates.map(|(n, p)| plate(p, foot(n), times_ns)).collect(),
    }
}

fn plate(plate: &PlateWindow, foot: Option<String>, times_ns: &[i64]) -> ReplayPlate {
    let Err(reason) = &plate.series else {
        let read = times_ns.iter().map(|t| plate.at(*t).ok());
        let (forces, centers) = read
            .map(|at| {
                let (about, wrench) = at?;
                let center = total(&[(about, wrench)], LOAD_GATE_N).center;
                Some((force_f32(wrench.force), center.map(point_f32)))
            })
            .map(|at| (at.map(|a| a.0), at.and_then(|a| a.1)))
            .unzip();
        return ReplayPlate {
            forces,
            centers,
            ..empty(plate, foot)
        };
    };
    ReplayPlate {
        reason: Some(reason.clone()),
        ..empty(plate, foot)
    }
}

fn empty(plate: &PlateWindow, foot: Option<String>) -> ReplayPlate {
    ReplayPlate {
        name: plate.name.clone(),
        foot,
        corners: plate.surface.map(|s| corners(&s)),
        forces: Vec::new(),
        centers: Vec::new(),
        reason: None,
    }
}

fn corners(surface: &Surface) -> [[f32; 3]; 4] {
    let [a, b] = [0, 1].map(|i| surface.along[i] * surface.half[i]);
    let corner = |p: f64, q: f64| -> Point3<f64> { surface.center + a * p + b * q };
    [
        corner(1.0, 1.0),
        corner(-1.0, 1.0),
        corner(-1.0, -1.0),
        corner(1.0, -1.0),
    ]
    .map(point_f32)
}

/// Newtons to a tenth.
fn force_f32(force: Vector3<f64>) -> [f32; 3] {
    [force.x, force.y, force.z].map(|v| rounded(v, 10.0) as f32)
}
