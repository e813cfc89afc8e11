//! Best rigid (or scaled) placement of a marker cluster.
//!
//! Least squares (Söderkvist & Wedin 1993, J Biomech 26:1473–1477) in the closed form of Markley
//! 1993, J Astronaut Sci 41:261–280: the sum of the signed singular values of the covariance is the
//! largest root of a quartic, and with it the rotation is a polynomial in the covariance, divided by
//! one number. That form only multiplies and adds, so that several slots go side by side, and it is
//! a rotation by construction, never a reflection. Where the number nearly vanishes (markers nearly
//! in a line, or measured in a mirror) the singular-value fit takes over, with its determinant guard.
//! Scale by Umeyama 1991, IEEE PAMI 13:376–380.

use nalgebra::{Matrix3, Point3, Vector3};

use super::frames::Frame;
use super::lanes::{Lanes, Vector, add, cross, dot, scale, sub};

/// A placement: `measured ≈ scale · rotation · model + translation`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    /// Rotation from the model's frame to the measured one.
    pub rotation: Matrix3<f64>,
    /// Scale (1 for a rigid fit).
    pub scale: f64,
    /// Translation, metres.
    pub translation: Vector3<f64>,
    /// Second ÷ first singular value: 0 for collinear markers, whose roll is not determined.
    pub spread: f64,
}

/// Whether the cluster may change its size.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Size {
    /// Rigid: scale 1.
    Fixed,
    /// Scale is fitted (sources that strobe their markers in turn shrink a fast club).
    Free,
}

/// Slots placed side by side.
const LANES: usize = 4;
/// Newton's steps at most, and the relative step after which none is needed: the next would be its
/// square.
const STEPS_MAX: usize = 20;
const STEP_LAST: f64 = 1e-9;
/// The divisor, as a share of the cube of the root, above which the closed form is trusted: rounding
/// then turns the rotation by less than 1e-12 rad, and the spread is above 1e-3.
const DETERMINED: f64 = 2.5e-3;
/// A spread below any that the closed form is trusted with.
pub const SPREAD_SURE: f64 = 1e-3;

impl Fit {
    /// The measured position of a model point.
    #[must_use]
    pub fn place(&self, model: Point3<f64>) -> Point3<f64> {
        Point3::from(self.rotation * model.coords * self.scale + self.translation)
    }
}

/// Fits a cluster to what was measured; pairs of (model, measured), metres. `None` for fewer than
/// three markers or a degenerate cluster (all in one point).
#[must_use]
pub fn fit(pairs: &[(Point3<f64>, Point3<f64>)], size: Size) -> Option<Fit> {
    if pairs.len() < 3 {
        return None;
    }
    let n = pairs.len() as f64;
    let model_mean = pairs.iter().map(|p| p.0.coords).sum::<Vector3<f64>>() / n;
    let measured_mean = pairs.iter().map(|p| p.1.coords).sum::<Vector3<f64>>() / n;
    let mut covariance = Matrix3::zeros();
    let (mut model_square, mut measured_square) = (0.0, 0.0);
    for (model, measured) in pairs {
        let (a, b) = (model.coords - model_mean, measured.coords - measured_mean);
        covariance += b * a.transpose();
        model_square += a.norm_squared();
        measured_square += b.norm_squared();
    }
    if model_square <= 0.0 {
        return None;
    }
    let rows = [0, 1, 2].map(|r| [0, 1, 2].map(|c| Lanes([covariance[(r, c)]])));
    let turn = turn(&rows, Lanes([(model_square * measured_square).sqrt()]));
    let (rotation, total, spread) = if turn.sure[0] {
        (turn.rotation(0), turn.total.0[0], turn.spread())
    } else {
        by_singular_values(&covariance)?
    };
    let scale = match size {
        Size::Fixed => 1.0,
        Size::Free => total / model_square,
    };
    Some(Fit {
        rotation,
        scale,
        translation: measured_mean - rotation * model_mean * scale,
        spread,
    })
}

/// Places a stiff cluster in many slots, all of its markers in each: `at` gives a marker's place, by
/// its number in the model and the slot. `None` where the markers are in one point, or their spread
/// is not above `least_spread` (at most [`SPREAD_SURE`]).
#[must_use]
pub fn place_each(
    model: &[Point3<f64>],
    slots: &[usize],
    at: impl Fn(usize, usize) -> Point3<f64>,
    least_spread: f64,
) -> Vec<Option<Frame>> {
    let model = Model::new(model);
    let mut points = model.room();
    let mut out = Vec::with_capacity(slots.len());
    for chunk in slots.chunks(LANES) {
        let (center, turn) = model.turned(chunk, &at, &mut points);
        for (lane, &slot) in chunk.iter().enumerate() {
            if turn.sure[lane] {
                let rotation = turn.rotation(lane);
                let center = Vector3::from(center.map(|c| c.0[lane]));
                out.push(Some(Frame {
                    rotation,
                    origin: Point3::from(center - rotation * model.mean),
                }));
            } else {
                let wide = model.alone(|i| at(i, slot));
                out.push(wide.filter(|f| f.spread > least_spread).map(Frame::from));
            }
        }
    }
    out
}

/// What a stiff fit of all of a cluster's markers leaves in one slot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Left {
    /// Sum of the squares of the distances, square metres.
    pub sum_m2: f64,
    /// The largest of them.
    pub largest_m2: f64,
}

/// What [`place_each`] leaves in each slot; `None` where the markers are in one point.
#[must_use]
pub fn left_each(
    model: &[Point3<f64>],
    slots: &[usize],
    at: impl Fn(usize, usize) -> Point3<f64>,
) -> Vec<Option<Left>> {
    let model = Model::new(model);
    let mut points = model.room();
    let mut out = Vec::with_capacity(slots.len());
    for chunk in slots.chunks(LANES) {
        let (center, turn) = model.turned(chunk, &at, &mut points);
        let (mut sum, mut largest) = (Lanes::all(0.0), Lanes::all(0.0));
        for (arm, point) in model.arms.iter().zip(&points) {
            let along = |row: &Vector<LANES>| row[0] * arm.x + row[1] * arm.y + row[2] * arm.z;
            let off = sub(&sub(point, &center), &turn.rows.each_ref().map(along));
            let square = dot(&off, &off);
            sum = sum + square;
            largest = largest.max(square);
        }
        for (lane, &slot) in chunk.iter().enumerate() {
            if turn.sure[lane] {
                out.push(Some(Left {
                    sum_m2: sum.0[lane],
                    largest_m2: largest.0[lane],
                }));
                continue;
            }
            let fit = model.alone(|i| at(i, slot));
            let left = fit.map(|fit| {
                let squares = model.places.iter().enumerate();
                let squares = squares.map(|(i, &p)| (fit.place(p) - at(i, slot)).norm_squared());
                let (sum_m2, largest_m2) =
                    squares.fold((0.0, 0.0), |(s, l): (f64, f64), v| (s + v, l.max(v)));
                Left { sum_m2, largest_m2 }
            });
            out.push(left);
        }
    }
    out
}

/// A cluster's shape, ready to be placed in many slots.
struct Model<'a> {
    places: &'a [Point3<f64>],
    mean: Vector3<f64>,
    arms: Vec<Vector3<f64>>,
    square: f64,
}

impl<'a> Model<'a> {
    fn new(places: &'a [Point3<f64>]) -> Self {
        let sum = places.iter().map(|p| p.coords).sum::<Vector3<f64>>();
        let mean = sum / places.len() as f64;
        let arms: Vec<Vector3<f64>> = places.iter().map(|p| p.coords - mean).collect();
        Self {
            places,
            mean,
            square: arms.iter().map(Vector3::norm_squared).sum(),
            arms,
        }
    }

    fn room(&self) -> Vec<Vector<LANES>> {
        vec![[Lanes::all(0.0); 3]; self.places.len()]
    }

    /// Mean of the measured points and best rotation in a few slots; `points` take what was measured.
    fn turned(
        &self,
        slots: &[usize],
        at: &impl Fn(usize, usize) -> Point3<f64>,
        points: &mut [Vector<LANES>],
    ) -> (Vector<LANES>, Turn<LANES>) {
        for (marker, point) in points.iter_mut().enumerate() {
            for (lane, &slot) in slots.iter().enumerate() {
                let p = at(marker, slot);
                (0..3).for_each(|axis| point[axis].0[lane] = p[axis]);
            }
        }
        let (center, covariance, measured_square) = moments(&self.arms, points);
        let bound = (measured_square * self.square).sqrt();
        (center, turn(&covariance, bound))
    }

    /// The placement in one slot.
    fn alone(&self, at: impl Fn(usize) -> Point3<f64>) -> Option<Fit> {
        let pairs = self.places.iter().enumerate().map(|(i, &p)| (p, at(i)));
        fit(&pairs.collect::<Vec<_>>(), Size::Fixed)
    }
}

impl From<Fit> for Frame {
    fn from(fit: Fit) -> Self {
        Self {
            rotation: fit.rotation,
            origin: Point3::from(fit.translation),
        }
    }
}

/// Mean of the measured points, their covariance with the model's (which are centered), by rows, and
/// their summed squares about the mean.
fn moments<const L: usize>(
    arms: &[Vector3<f64>],
    points: &[Vector<L>],
) -> (Vector<L>, [Vector<L>; 3], Lanes<L>) {
    let zero = Lanes::all(0.0);
    let mut center = [zero; 3];
    for point in points {
        center = add(&center, point);
    }
    let share = 1.0 / points.len() as f64;
    center = [center[0] * share, center[1] * share, center[2] * share];
    let (mut covariance, mut square) = ([[zero; 3]; 3], zero);
    for (arm, point) in arms.iter().zip(points) {
        let b = sub(point, &center);
        for (row, b) in covariance.iter_mut().zip(b) {
            for (entry, &arm) in row.iter_mut().zip(arm) {
                *entry = *entry + b * arm;
            }
        }
        square = square + dot(&b, &b);
    }
    (center, covariance, square)
}

/// Best rotations of several covariances.
struct Turn<const L: usize> {
    rows: [Vector<L>; 3],
    /// Sum of the signed singular values.
    total: Lanes<L>,
    /// The sum of their products in pairs, and their product.
    pairs: Lanes<L>,
    product: Lanes<L>,
    sure: [bool; L],
}

/// The rotations by Markley's closed form; `bound` is no smaller than the sum of the singular values.
fn turn<const L: usize>(b: &[Vector<L>; 3], bound: Lanes<L>) -> Turn<L> {
    // Rows of the matrix of cofactors.
    let minors = [
        cross(&b[1], &b[2]),
        cross(&b[2], &b[0]),
        cross(&b[0], &b[1]),
    ];
    let product = dot(&b[0], &minors[0]);
    let squares = |m: &[Vector<L>; 3]| dot(&m[0], &m[0]) + dot(&m[1], &m[1]) + dot(&m[2], &m[2]);
    let (norm, norm_minors) = (squares(b), squares(&minors));
    let mut total = bound;
    let mut done = [false; L];
    for _ in 0..STEPS_MAX {
        let rest = total * total - norm;
        let value = rest * rest - product * total * 8.0 - norm_minors * 4.0;
        let slope = total * rest * 4.0 - product * 8.0;
        let step = value / slope;
        total = total - step;
        done = std::array::from_fn(|i| step.0[i].abs() <= STEP_LAST * total.0[i]);
        if done == [true; L] {
            break;
        }
    }
    let pairs = (total * total - norm) * 0.5;
    let divisor = pairs * total - product;
    let cube = total * total * total;
    let (factor, inverse) = (pairs + norm, Lanes::all(1.0) / divisor);
    let mut rows = minors;
    for (row, b_row) in rows.iter_mut().zip(b) {
        // A row of B·Bᵀ, then of B·Bᵀ·B.
        let gram = [dot(b_row, &b[0]), dot(b_row, &b[1]), dot(b_row, &b[2])];
        let flat = add(&scale(&b[0], gram[0]), &scale(&b[1], gram[1]));
        let cubic = add(&flat, &scale(&b[2], gram[2]));
        let whole = add(&scale(b_row, factor), &scale(row, total));
        *row = scale(&sub(&whole, &cubic), inverse);
    }
    let sure = std::array::from_fn(|i| done[i] && divisor.0[i] > DETERMINED * cube.0[i]);
    Turn {
        rows,
        total,
        pairs,
        product,
        sure,
    }
}

impl<const L: usize> Turn<L> {
    fn rotation(&self, lane: usize) -> Matrix3<f64> {
        Matrix3::from_fn(|r, c| self.rows[r][c].0[lane])
    }
}

impl Turn<1> {
    /// Second ÷ first singular value, from the cubic whose roots they are.
    fn spread(&self) -> f64 {
        let [total, pairs, product] = [self.total, self.pairs, self.product].map(|l| l.0[0]);
        let third = total / 3.0;
        let width = (third * third - pairs / 3.0).max(0.0);
        let lean = third.powi(3) - 0.5 * third * pairs + 0.5 * product;
        let angle = (lean / width.powf(1.5)).clamp(-1.0, 1.0).acos() / 3.0;
        if angle.is_nan() {
            return 1.0;
        }
        let root = |turn: f64| third + 2.0 * width.sqrt() * (angle + turn).cos();
        let (first, last) = (root(0.0), root(std::f64::consts::TAU / 3.0));
        (total - first - last) / first
    }
}

/// Rotation, sum of the signed singular values, and spread of a covariance.
fn by_singular_values(covariance: &Matrix3<f64>) -> Option<(Matrix3<f64>, f64, f64)> {
    let svd = covariance.svd(true, true);
    let (u, vt) = (svd.u?, svd.v_t?);
    let [s1, s2, s3] = [0, 1, 2].map(|i| svd.singular_values[i]);
    if s1 <= 0.0 {
        return None;
    }
    let sign = (u * vt).determinant().signum();
    let rotation = u * Matrix3::from_diagonal(&Vector3::new(1.0, 1.0, sign)) * vt;
    Some((rotation, s1 + s2 + sign * s3, s2 / s1))
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::Rotation3;

    fn cluster() -> Vec<Point3<f64>> {
        [
            [0.0, 0.0, 0.0],
            [0.2, 0.01, 0.0],
            [0.05, 0.15, 0.02],
            [-0.1, 0.05, 0.12],
        ]
        .map(Point3::from)
        .to_vec()
    }

    /// A rigid motion is found exactly (mathematics, no source needed).
    #[test]
    fn a_rigid_motion_is_recovered() {
        let r = Rotation3::from_euler_angles(0.4, -1.1, 2.0);
        let t = Vector3::new(1.0, 2.0, -3.0);
        let pairs: Vec<_> = cluster().iter().map(|&p| (p, r * p + t)).collect();
        let f = fit(&pairs, Size::Free).unwrap();
        assert!((f.rotation - r.matrix()).norm() < 1e-12);
        assert!((f.scale - 1.0).abs() < 1e-12);
        assert!(
            (f.place(Point3::new(1.0, 1.0, 1.0)) - (r * Point3::new(1.0, 1.0, 1.0) + t)).norm()
                < 1e-12
        );
    }

    #[test]
    fn a_flat_cluster_is_not_reflected() {
        let r = Rotation3::from_euler_angles(3.0, 0.2, -2.5);
        let pairs: Vec<_> = cluster()[..3].iter().map(|&p| (p, r * p)).collect();
        let f = fit(&pairs, Size::Fixed).unwrap();
        assert!((f.rotation.determinant() - 1.0).abs() < 1e-12);
        assert!((f.rotation - r.matrix()).norm() < 1e-9);
    }

    /// The closed form and the singular values agree up to where the one hands over to the other, in
    /// rotation, total and spread (mathematics: two ways to the same optimum).
    #[test]
    fn both_ways_agree_where_they_meet() {
        let mut trusted = 0;
        for n in 0..200 {
            let thin = 10f64.powf(-0.015 * f64::from(n));
            let r = Rotation3::from_euler_angles(0.1 * f64::from(n), -0.7, 0.3);
            let wobble = |i: usize| {
                2e-4 * Vector3::new((i * n as usize) as f64, 1.0, i as f64).map(f64::sin)
            };
            let thinned = cluster()
                .into_iter()
                .map(|p| Point3::new(p.x, thin * p.y, thin * p.z));
            let pairs: Vec<_> = thinned
                .enumerate()
                .map(|(i, p)| (p, r * p + wobble(i)))
                .collect();
            let found = fit(&pairs, Size::Fixed).unwrap();
            let means = pairs.iter().fold([Vector3::zeros(); 2], |[a, b], p| {
                [a + p.0.coords, b + p.1.coords]
            });
            let covariance: Matrix3<f64> = pairs
                .iter()
                .map(|p| (p.1.coords - means[1] / 4.0) * (p.0.coords - means[0] / 4.0).transpose())
                .sum();
            let (rotation, _, spread) = by_singular_values(&covariance).unwrap();
            assert!((found.rotation - rotation).abs().max() < 1e-10, "{n}");
            assert!(
                (found.spread - spread).abs() < 1e-9,
                "{n}: {} {spread}",
                found.spread
            );
            trusted += usize::from(found.spread > 1e-2);
        }
        assert!((40..160).contains(&trusted), "{trusted}");
    }

    /// Side by side or each alone: the same distances are left (mathematics), also of markers nearly in a
    /// line, which the singular values place.
    #[test]
    fn what_is_left_side_by_side_is_what_each_fit_leaves() {
        for thin in [1.0, 1e-4] {
            let model: Vec<_> = cluster()
                .into_iter()
                .map(|p| Point3::new(p.x, thin * p.y, thin * p.z))
                .collect();
            let at = |marker: usize, slot: usize| {
                let r = Rotation3::from_euler_angles(0.3 * slot as f64, -0.4, 1.0);
                let off = Vector3::new((marker * slot) as f64, 2.0, marker as f64).map(f64::sin);
                r * model[marker] + off * 1e-3
            };
            let slots: Vec<usize> = (0..7).collect();
            let left = left_each(&model, &slots, at);
            for (&slot, left) in slots.iter().zip(&left) {
                let pairs: Vec<_> = model
                    .iter()
                    .enumerate()
                    .map(|(m, &p)| (p, at(m, slot)))
                    .collect();
                let fit = fit(&pairs, Size::Fixed).unwrap();
                let squares: Vec<f64> = pairs
                    .iter()
                    .map(|p| (fit.place(p.0) - p.1).norm_squared())
                    .collect();
                let left = left.unwrap();
                let largest = squares.iter().fold(0.0, |a: f64, &b| a.max(b));
                assert!((left.sum_m2 - squares.iter().sum::<f64>()).abs() < 1e-15);
                assert!((left.largest_m2 - largest).abs() < 1e-15);
            }
        }
        assert_eq!(
            left_each(&[Point3::origin(); 4], &[0], |_, _| Point3::origin()),
            [None]
        );
    }

    #[test]
    fn too_little_gives_nothing() {
        let p = Point3::origin();
        assert!(fit(&[(p, p), (p, p)], Size::Fixed).is_none());
        assert!(fit(&[(p, p); 4], Size::Fixed).is_none());
    }
}
