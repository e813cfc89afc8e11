//! Two force plates under the synthetic golfer: channels as a plate's amplifier would give them, from
//! the golfer's own truth, with noise and an offset that is to be zeroed; read by the usual way.

use analysis::clock::Alignment;
use analysis::forward::{Footing, Take};
use analysis::frame::BayFromSource;
use analysis::ground::forces::{ForceBlock, ForceLayout, Forces};
use analysis::ground::plate::{PlateDescription, PlateKind};
use analysis::ground::window::GroundWindow;
use analysis::handed::Handed;
use analysis::landmark::Landmark as L;
use nalgebra::{Point3, Vector3};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

const RATE_HZ: f64 = 1000.0;
/// Noise of a sample and offset of a channel, N and N·m (plates of the trade have about 1 N; common
/// practice, no source).
const NOISE: [f64; 2] = [1.0, 0.3];
const OFFSET: [f64; 2] = [5.0, 1.0];
/// Nobody stands on the plates for so long at the beginning, seconds: they are to be zeroed.
const EMPTY_S: f64 = 0.7;
/// Stretch before address in which the golfer is read off the motion, and after impact, seconds.
const BEFORE_S: f64 = 0.5;
const AFTER_S: f64 = 0.3;
/// Depth of the sensors under the surface, metres.
const DEPTH_M: f64 = 0.04;

/// The plates' window beside the markers', in the take's time from its first frame on.
pub(crate) fn plates(take: &Take, seed: u64) -> GroundWindow {
    let side = match take.truth.handed {
        Handed::Right => 1.0,
        Handed::Left => -1.0,
    };
    let middles = middles(take);
    let half_x = (0.5 * (middles[0].x - middles[1].x).abs() - 0.005).min(0.3);
    let described = middles.map(|m| {
        let corner = |a: f64, b: f64| [(m.x + a * half_x) as f32, 0.0, (m.z + b * 0.3) as f32];
        PlateDescription {
            kind: PlateKind::Moments,
            corners: [
                corner(1.0, 1.0),
                corner(-1.0, 1.0),
                corner(-1.0, -1.0),
                corner(1.0, -1.0),
            ],
            origin: [0.0, 0.0, -DEPTH_M as f32],
        }
    });
    let layout = ForceLayout {
        id: 1,
        rate_hz: RATE_HZ,
        plates: described.to_vec(),
        bay_from_source: BayFromSource::IDENTITY,
    };
    let mut forces = Forces::new(layout, 0);
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut uniform = move || (f64::from(random.next_u32()) + 0.5) / f64::from(u32::MAX);
    // Twelve uniform numbers make a normal one (Irwin–Hall, mathematics).
    let mut normal = move || (0..12).map(|_| uniform()).sum::<f64>() - 6.0;
    let offsets: [[f64; 6]; 2] =
        std::array::from_fn(|_| std::array::from_fn(|i| OFFSET[i / 3] * normal()));
    let event = |name: &str| take.truth.event(name).expect("an event");
    let (from, to) = (event("address") - BEFORE_S, event("impact") + AFTER_S);
    let samples = ((event("impact") + 1.3) * RATE_HZ) as u64;
    let still = take.truth.footing(from);
    let after = take.truth.footing(to);
    for n in 0..samples {
        let t = n as f64 / RATE_HZ;
        let footing = match t {
            t if t < from => still,
            t if t > to => after,
            t => take.truth.footing(t),
        };
        let mut values = Vec::with_capacity(12);
        for (plate, (foot, middle)) in footing.iter().zip(&middles).enumerate() {
            let clean = channels(foot, middle, side);
            let stands = if t < EMPTY_S { 0.0 } else { 1.0 };
            values.extend((0..6).map(|i| {
                let value = stands * clean[i] + offsets[plate][i] + NOISE[i / 3] * normal();
                Some(value as f32)
            }));
        }
        forces.push(&ForceBlock {
            layout: 1,
            first_sample: n,
            time_ns: (t * 1e9).round() as i64,
            channels: 12,
            values,
        });
    }
    let impact_ns = (event("impact") * 1e9) as i64;
    let window = impact_ns - 4_500_000_000..impact_ns + 700_000_000;
    GroundWindow {
        plates: forces.window(window.start, window.end, &Alignment::Shared),
    }
}

/// Middles of the feet in the bay by the first frame's heel and toe markers, lead first.
fn middles(take: &Take) -> [Point3<f64>; 2] {
    let place = |l: L| {
        let column = take.landmarks.iter().position(|t| *t == l);
        let seen = column.and_then(|c| take.frames.iter().find_map(|f| f[c]));
        seen.expect("a marker of the feet")
    };
    let [left, right] = [[L::LeftHeel, L::LeftToe], [L::RightHeel, L::RightToe]]
        .map(|[heel, toe]| nalgebra::center(&place(heel), &place(toe)));
    match take.truth.handed {
        Handed::Right => [left, right],
        Handed::Left => [right, left],
    }
}

/// Fx Fy Fz Mx My Mz of a plate whose x is the bay's X and whose y is its Z, z down, about a sensor
/// under its middle: M about the sensor is M about the surface less F × origin (C3D user guide).
fn channels(foot: &Footing, middle: &Point3<f64>, side: f64) -> [f64; 6] {
    // The mirror image of a golfer: z turns round, and so does every sense of turning but that about z.
    let plate = |v: Vector3<f64>| Vector3::new(v.x, side * v.z, -v.y);
    let force = plate(foot.force);
    let center = Point3::new(
        foot.center.x - middle.x,
        side * foot.center.z - middle.z,
        0.0,
    );
    let surface = center.coords.cross(&force) - Vector3::z() * (side * foot.free_moment);
    let origin = Vector3::new(0.0, 0.0, -DEPTH_M);
    let moment = surface - force.cross(&origin);
    [force.x, force.y, force.z, moment.x, moment.y, moment.z]
}
