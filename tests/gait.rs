//! Segment angles and the body's mass centre against a third party's, for the same markers: a walk
//! recorded and worked out by others (`gait/gait_with_angles.c3d`, with its static trial), whose
//! file carries angles of pelvis, thorax and spine and a mass centre beside the markers.
//!
//! Conventions of that file, found by trying all six orders on its own frames: angles in degrees
//! about Z, X, Y of our frames (tilt −α, side +β, turn −γ for the labels of the left, the last two the
//! other way round for those of the right); the spine as the thorax seen from the pelvis in the order
//! Y-X-Z (−α, −β, +γ). Its axes are X forward, Y left, Z up.

use analysis::body::calibration::Calibration;
use analysis::body::frames::{self, Frame};
use analysis::body::inertia::{
    Endpoint as E, Placed, Segment as S, Sex, parameters, whole_body_center,
};
use analysis::body::pose::{self, Size};
use analysis::body::rotation;
use analysis::landmark::Landmark as L;
use nalgebra::{Matrix3, Point3, Vector3, center};
use protocol::c3d::{C3d, read};

use crate::support::data;

/// Landmarks of that set. T10 is marked instead of T8.
const PELVIS: [(&str, L); 4] = [
    ("LASI", L::LeftAsis),
    ("RASI", L::RightAsis),
    ("LPSI", L::LeftPsis),
    ("RPSI", L::RightPsis),
];
const THORAX: [(&str, L); 4] = [
    ("C7", L::C7),
    ("T10", L::T8),
    ("CLAV", L::SternalNotch),
    ("STRN", L::Xiphoid),
];
/// Marker radius and half widths that the file gives (knee 105, ankle 55 mm), and its shoulder
/// offset, metres.
const RADIUS_M: f64 = 0.007;
const KNEE_M: f64 = 0.0525 + RADIUS_M;
const ANKLE_M: f64 = 0.0275 + RADIUS_M;
const SHOULDER_M: f64 = 0.050;
/// The toe's tip beyond the metatarsal head, in lengths heel to head (common practice, no source).
const TOE_TIP: f64 = 1.3;

/// A take with its points by label, metres, in axes X forward, Y up, Z right.
struct Take(C3d);

impl Take {
    fn raw(&self, label: &str, frame: usize) -> Option<[f64; 3]> {
        let column = self.0.labels.iter().position(|l| l == label);
        let column = column.unwrap_or_else(|| panic!("no {label} in the file"));
        self.0.frames[frame][column].map(|m| m.position.map(f64::from))
    }

    fn point(&self, label: &str, frame: usize) -> Option<Point3<f64>> {
        self.raw(label, frame)
            .map(|[x, y, z]| Point3::new(x, z, -y) * 1e-3)
    }

    fn points<const N: usize>(&self, set: &[(&str, L); N], frame: usize) -> [Point3<f64>; N] {
        set.map(|(label, _)| self.point(label, frame).unwrap())
    }

    fn frames(&self) -> std::ops::Range<usize> {
        0..self.0.frames.len()
    }
}

fn takes() -> Option<(Take, Take)> {
    let folder = data()?.join("gait");
    let take = |name: &str| Take(read(&std::fs::read(folder.join(name)).unwrap()).unwrap());
    Some((take("gait_static.c3d"), take("gait_with_angles.c3d")))
}

/// Mean, standard deviation, root mean square and largest size of a series.
#[derive(Debug, Clone, Copy)]
struct Spread {
    mean: f64,
    sd: f64,
    rms: f64,
    max: f64,
}

fn spread(series: impl Iterator<Item = f64>) -> Spread {
    let all: Vec<f64> = series.collect();
    assert!(all.len() > 250, "the whole trial: {} frames", all.len());
    let n = all.len() as f64;
    let mean = all.iter().sum::<f64>() / n;
    let square = all.iter().map(|x| x * x).sum::<f64>() / n;
    Spread {
        mean,
        sd: (square - mean * mean).max(0.0).sqrt(),
        rms: square.sqrt(),
        max: all.iter().fold(0.0, |a, x| x.abs().max(a)),
    }
}

/// Three spreads of differences over the trial.
fn compare(what: &str, rows: &[[f64; 3]]) -> [Spread; 3] {
    let all = [0, 1, 2].map(|i| spread(rows.iter().map(move |r| r[i])));
    for (axis, s) in ["first", "second", "third"].iter().zip(&all) {
        println!(
            "{what}, {axis}: mean {:+.5}, sd {:.5}, rms {:.5}, largest {:.5}",
            s.mean, s.sd, s.rms, s.max
        );
    }
    all
}

fn minus(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [0, 1, 2].map(|i| a[i] - b[i])
}

/// Our frame's angles written as that file writes them for its left and right labels.
fn as_theirs(r: &Matrix3<f64>) -> [[f64; 3]; 2] {
    let [tilt, side, turn] = rotation::zxy(r).map(f64::to_degrees);
    [[-tilt, side, -turn], [-tilt, -side, turn]]
}

fn spine_as_theirs(pelvis: &Matrix3<f64>, thorax: &Matrix3<f64>) -> [f64; 3] {
    let [turn, side, tilt] =
        rotation::yxz(&rotation::relative(pelvis, thorax)).map(f64::to_degrees);
    [-tilt, -side, turn]
}

/// Thorax with its forward axis from the middle of the two back markers to the middle of the two
/// front ones: another use of the same four markers.
fn thorax_by_middles([c7, t10, notch, xiphoid]: [Point3<f64>; 4]) -> Frame {
    let up = center(&notch, &c7) - center(&xiphoid, &t10);
    let forward = center(&notch, &xiphoid) - center(&c7, &t10);
    frames::from_up_right(notch, up, forward.cross(&up)).unwrap()
}

/// Pelvis: the same to a few 1e-5° in all three angles, which is the file's single precision.
#[test]
fn pelvis_angles_equal_a_third_partys() {
    let Some((_, walk)) = takes() else { return };
    for (label, side) in [("LPelvisAngles", 0), ("RPelvisAngles", 1)] {
        let rows: Vec<_> = walk
            .frames()
            .map(|k| {
                let frame = frames::pelvis(walk.points(&PELVIS, k)).unwrap();
                minus(
                    as_theirs(&frame.rotation)[side],
                    walk.raw(label, k).unwrap(),
                )
            })
            .collect();
        for s in compare(label, &rows) {
            assert!(s.max < 5e-4, "{label}: {s:?}");
        }
    }
}

/// The metrics' own angles (axial first, against the target line) from the third party's: their three
/// angles make a matrix, the walker is set square to the target line, the angles read must be ours.
#[test]
fn lab_angles_equal_those_of_a_third_partys_pelvis() {
    let Some((_, walk)) = takes() else { return };
    // Walking along X is facing along Z for a golfer.
    let face_the_ball: Matrix3<f64> =
        Matrix3::from_columns(&[Vector3::z(), Vector3::y(), -Vector3::x()]);
    for k in walk.frames() {
        let ours = frames::pelvis(walk.points(&PELVIS, k)).unwrap().rotation;
        let [tilt, side, turn] = walk.raw("LPelvisAngles", k).unwrap().map(f64::to_radians);
        let theirs = rotation::from_zxy([-tilt, side, -turn]);
        let [a, b] = [ours, theirs].map(|r| rotation::lab_angles(&(face_the_ball * r)));
        for (a, b) in [
            (a.axial, b.axial),
            (a.lateral, b.lateral),
            (a.forward, b.forward),
        ] {
            assert!((a - b).abs().to_degrees() < 5e-4, "frame {k}");
        }
        // Small angles: ours are theirs with the signs of the metrics, whatever the order.
        assert!(
            (a.forward - tilt).abs().to_degrees() < 1.0,
            "forward tilt is positive"
        );
        assert!(
            (a.lateral + side).abs().to_degrees() < 1.0,
            "lead side low is positive"
        );
        assert!(
            (a.axial + turn).abs().to_degrees() < 1.0,
            "turned left is positive"
        );
    }
}

/// Thorax: long axis the same (tilt and side to 1e-4°); the turn differs by 2.3 ± 1.4° (largest 4.6°)
/// because the ISB takes the plane through notch, C7 and the lower middle, whereas theirs follows
/// the middles of the front and back pairs: T10 and xiphoid are marked off the middle line and ride
/// on skin. With their choice of axis the turn is theirs, too. The spine follows the thorax.
#[test]
fn thorax_and_spine_angles_against_a_third_partys() {
    let Some((_, walk)) = takes() else { return };
    let (mut isb, mut middles, mut spine_isb, mut spine_middles) = (vec![], vec![], vec![], vec![]);
    for k in walk.frames() {
        let pelvis = frames::pelvis(walk.points(&PELVIS, k)).unwrap().rotation;
        let markers = walk.points(&THORAX, k);
        let ours = frames::thorax(markers).unwrap().rotation;
        let alike = thorax_by_middles(markers).rotation;
        let [thorax, right, spine] =
            ["LThoraxAngles", "RThoraxAngles", "LSpineAngles"].map(|l| walk.raw(l, k).unwrap());
        isb.push(minus(as_theirs(&ours)[0], thorax));
        middles.push(minus(as_theirs(&alike)[0], thorax));
        middles.push(minus(as_theirs(&alike)[1], right));
        spine_isb.push(minus(spine_as_theirs(&pelvis, &ours), spine));
        spine_middles.push(minus(spine_as_theirs(&pelvis, &alike), spine));
    }
    for rows in [&middles, &spine_middles] {
        for s in compare("their axis", rows) {
            assert!(s.max < 5e-4, "{s:?}");
        }
    }
    let [tilt, side, turn] = compare("thorax", &isb);
    assert!(tilt.max < 5e-4 && side.max < 5e-4, "{tilt:?} {side:?}");
    assert!(
        (turn.mean.abs() - 2.3).abs() < 0.1 && turn.sd < 1.5 && turn.max < 5.0,
        "{turn:?}"
    );
    let [tilt, side, turn] = compare("spine", &spine_isb);
    assert!(tilt.rms < 0.25 && side.rms < 0.35, "{tilt:?} {side:?}");
    assert!(
        (turn.mean.abs() - 2.3).abs() < 0.1 && turn.max < 5.0,
        "{turn:?}"
    );
}

/// The pelvis as a cluster calibrated in the static trial instead of instant by instant: the tilt
/// stays within 0.1° (rms), the side within 0.5°, the turn within 1°; the rest is the skin that
/// moves between the trials (rms residual of the cluster 1.2 mm).
#[test]
fn a_calibrated_pelvis_stays_near_a_third_partys() {
    let Some((standing, walk)) = takes() else {
        return;
    };
    let calibration = calibrated(&standing);
    let shape = calibration.pelvis.unwrap();
    let mut left = 0.0;
    let rows: Vec<_> = walk
        .frames()
        .map(|k| {
            let pairs: Vec<_> = shape
                .places
                .iter()
                .copied()
                .zip(walk.points(&PELVIS, k))
                .collect();
            let fit = pose::fit(&pairs, Size::Fixed).unwrap();
            let rest = pairs
                .iter()
                .map(|(m, x)| (fit.place(*m) - x).norm_squared())
                .sum::<f64>();
            left += (rest / 12.0).sqrt() / walk.frames().len() as f64;
            minus(
                as_theirs(&fit.rotation)[0],
                walk.raw("LPelvisAngles", k).unwrap(),
            )
        })
        .collect();
    println!("residual of the pelvis {:.2} mm", left * 1e3);
    assert!(left > 0.0005 && left < 0.002);
    let [tilt, side, turn] = compare("calibrated pelvis", &rows);
    assert!(
        tilt.rms < 0.1 && side.rms < 0.5 && turn.rms < 1.0,
        "{tilt:?} {side:?} {turn:?}"
    );
}

fn calibrated(standing: &Take) -> Calibration {
    Calibration::of_posture(|l| {
        let (label, _) = PELVIS.iter().chain(&THORAX).find(|(_, of)| *of == l)?;
        let seen: Vec<_> = standing
            .frames()
            .filter_map(|k| standing.point(label, k))
            .collect();
        let sum: Vector3<f64> = seen.iter().map(|p| p.coords).sum();
        Some(Point3::from(sum / seen.len() as f64))
    })
}

fn placed(segment: S, ends: (E, E), at: (Point3<f64>, Point3<f64>)) -> Placed {
    Placed {
        parameters: parameters(segment, ends, Sex::Female).unwrap(),
        ends: at,
    }
}

/// The body of one instant: hips by regression in the pelvis, knees and ankles inside their lateral
/// markers along the pelvis' mediolateral axis (a walk straight ahead), shoulders below their
/// markers, the head's centre amid its markers. `None` where a marker is missing.
fn body(walk: &Take, hips: [Vector3<f64>; 2], k: usize) -> Option<Vec<Placed>> {
    let at = |label: &str| walk.point(label, k);
    let pelvis = frames::pelvis(walk.points(&PELVIS, k))?;
    let right = pelvis.right();
    let hips = hips.map(|h| pelvis.lab(Point3::from(h)));
    let trunk = (at("CLAV")?, center(&hips[0], &hips[1]));
    let head = [at("LFHD")?, at("RFHD")?, at("LBHD")?, at("RBHD")?];
    let head = center(&center(&head[0], &head[1]), &center(&head[2], &head[3]));
    let mut all = vec![
        placed(S::Trunk, (E::Suprasternale, E::MidHip), trunk),
        placed(S::Head, (E::Vertex, E::MidGonion), (head, head)),
    ];
    for (side, hip, outward) in [("L", hips[0], -right), ("R", hips[1], right)] {
        let of = |name: &str| at(&format!("{side}{name}"));
        let shoulder = of("SHO")? - Vector3::y() * SHOULDER_M;
        let (elbow, wrist) = (of("ELB")?, center(&of("WRA")?, &of("WRB")?));
        let (knee, ankle) = (
            of("KNE")? - outward * KNEE_M,
            of("ANK")? - outward * ANKLE_M,
        );
        let (heel, toe) = (of("HEE")?, of("TOE")?);
        all.extend([
            placed(S::UpperArm, (E::Shoulder, E::Elbow), (shoulder, elbow)),
            placed(S::Forearm, (E::Elbow, E::Wrist), (elbow, wrist)),
            placed(S::Hand, (E::Wrist, E::Metacarpal3), (wrist, of("FIN")?)),
            placed(S::Thigh, (E::Hip, E::Knee), (hip, knee)),
            placed(S::Shank, (E::Knee, E::Ankle), (knee, ankle)),
            placed(
                S::Foot,
                (E::Heel, E::ToeTip),
                (heel, heel + (toe - heel) * TOE_TIP),
            ),
        ]);
    }
    Some(all)
}

/// Mass centre by the printed segment table: beside theirs by a steady 15 mm backward and 4 mm upward
/// in the pelvis' axes (sd 4, 1, 2 mm); its rise and fall of 36.5 mm over the walk within 5 %. Why
/// not closer: they do not say which table and joint centres they use, and it need not be this one;
/// a trunk line 35 mm further forward would explain the whole offset (the trunk weighs 43 %).
/// Arms and head only enter by one marker a joint here.
#[test]
fn the_mass_centre_stays_near_a_third_partys() {
    let Some((standing, walk)) = takes() else {
        return;
    };
    let hips = calibrated(&standing).hips.unwrap().map(|h| h.at);
    let (mut apart, mut heights) = (Vec::new(), Vec::new());
    for k in walk.frames() {
        let theirs = walk.point("CentreOfMass", k);
        let (Some(theirs), Some(body)) = (theirs, body(&walk, hips, k)) else {
            continue;
        };
        let ours = whole_body_center(&body).unwrap();
        assert!((ours.mass - 0.9999).abs() < 1e-9, "every segment is there");
        let pelvis = frames::pelvis(walk.points(&PELVIS, k)).unwrap();
        let d = pelvis.rotation.tr_mul(&(ours.point - theirs)) * 1e3;
        apart.push([d.x, d.y, d.z]);
        heights.push((ours.point.y, theirs.y));
    }
    let [forward, up, right] = compare("mass centre, mm", &apart);
    assert!(
        (forward.mean + 15.0).abs() < 3.0 && forward.sd < 6.0,
        "{forward:?}"
    );
    assert!((up.mean - 4.0).abs() < 2.0 && up.sd < 2.0, "{up:?}");
    assert!(right.mean.abs() < 3.0 && right.sd < 4.0, "{right:?}");
    let range = |of: fn(&(f64, f64)) -> f64| {
        let all = heights.iter().map(of);
        all.clone().fold(f64::MIN, f64::max) - all.fold(f64::MAX, f64::min)
    };
    let (ours, theirs) = (range(|h| h.0), range(|h| h.1));
    println!(
        "rise and fall {:.1} mm, theirs {:.1} mm",
        ours * 1e3,
        theirs * 1e3
    );
    assert!((ours / theirs - 1.0).abs() < 0.05);
}
