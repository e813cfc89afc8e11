//! Force plates against the outside: another library on files of every type, a published worked
//! calculation, one walk recorded by two methods, a third party's ground reaction, and the physics of
//! a jump. Files pass through the datagrams and the decoder first.

use analysis::analyzer::{Content, Input};
use analysis::ground::forces::ForceLayout;
use analysis::ground::plate::{Oddity, Plate};
use analysis::ground::wrench::{Wrench, pressure};
use analysis::signal::lowpass::DualPass;
use daemon::decode::Decoder;
use daemon::feed;
use daemon::map::MarkerMap;
use nalgebra::{Matrix3, Vector3};
use protocol::c3d::{C3d, read};
use serde_json::Value;

use crate::support::{data, python};

/// A Z-up file: bay X = file x, bay Y = file z.
fn rotation() -> Matrix3<f64> {
    Matrix3::new(1.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, -1.0, 0.0)
}

fn to_file(v: Vector3<f64>) -> Vector3<f64> {
    rotation().transpose() * v
}

/// The plates of a file with every sample's wrench in plate axes.
struct Take {
    rate_hz: f64,
    plates: Vec<(Plate, Vec<Wrench>)>,
}

impl Take {
    /// Bay wrench of a plate at a sample.
    fn bay(&self, plate: usize, sample: usize) -> Wrench {
        let (plate, wrenches) = &self.plates[plate];
        plate.in_bay(&wrenches[sample])
    }
}

fn file(name: &str) -> Option<C3d> {
    let bytes = std::fs::read(data()?.join(name)).unwrap();
    Some(read(&bytes).unwrap())
}

/// As the bay would get it; `unloaded` frames are taken off only where told.
fn take(mut file: C3d, zeroed: bool) -> Take {
    let mut map = MarkerMap::load("whin_32").unwrap();
    map.rotation = Some(rotation());
    if !zeroed {
        file.unloaded = None;
    }
    let due = feed::of_c3d(&file, Some(&map), 1).unwrap();
    let mut decoder = Decoder::new(map);
    let mut layout: Option<ForceLayout> = None;
    let mut plates: Vec<(Plate, Vec<Wrench>)> = Vec::new();
    for due in due {
        let Some(Input::Datagram { content, .. }) = decoder.decode(&due.bytes, 0) else {
            panic!("a datagram of our own is refused");
        };
        match content {
            Content::ForceLayout(told) if layout.is_none() => {
                let plate = |d| (Plate::new(d, &told.bay_from_source).unwrap(), Vec::new());
                plates = told.plates.iter().map(plate).collect();
                layout = Some(*told);
            }
            Content::Forces(block) => {
                for sample in block.values.chunks_exact(block.channels) {
                    let mut first = 0;
                    for (plate, wrenches) in &mut plates {
                        let channels = first..first + plate.kind().channels();
                        wrenches.push(plate.wrench(&sample[channels.clone()]).unwrap());
                        first = channels.end;
                    }
                }
            }
            _ => {}
        }
    }
    Take {
        rate_hz: layout.unwrap().rate_hz,
        plates,
    }
}

fn vector(v: &Value) -> Vector3<f64> {
    let numbers: Vec<f64> = v
        .as_array()
        .unwrap()
        .iter()
        .map(|n| n.as_f64().unwrap())
        .collect();
    Vector3::from_column_slice(&numbers)
}

/// ezc3d's force-platform module: force, moment and free moment within 1 % of their peak (in fact to the
/// single precision of files), center of pressure within 1 mm where 100 N and more are on the plate.
/// Only the moment's sign of a TYPE-1 plate is not compared: ezc3d has none there.
#[test]
fn every_type_agrees_with_another_library() {
    let files = [
        ("plates/TYPE-1.c3d", 1),
        ("plates/TYPE-2.C3D", 1),
        ("plates/TYPE-2a.c3d", 2),
        ("plates/TYPE-3.c3d", 4),
        ("plates/TYPE-4.C3D", 1),
        ("plates/TYPE-4a.c3d", 2),
        ("jump/two_plates_jump.c3d", 2),
        ("gait/gait_with_angles.c3d", 2),
    ];
    const STRIDE: usize = 7;
    for (name, plates) in files {
        let Some(file) = file(name) else { return };
        let ours = take(file, false);
        assert_eq!(ours.plates.len(), plates, "{name}");
        let path = data().unwrap().join(name);
        let stride = STRIDE.to_string();
        let answer = python("reference/plates.py", &[path.as_os_str(), stride.as_ref()]);
        let theirs: Value = serde_json::from_str(&answer).unwrap();
        for (n, (plate, wrenches)) in ours.plates.iter().enumerate() {
            let rows = theirs[n].as_array().unwrap();
            assert_eq!(rows.len(), wrenches.len().div_ceil(STRIDE), "{name}");
            let scale = |column: usize| {
                let size = |r: &Value| {
                    if r[column].is_null() {
                        0.0
                    } else {
                        vector(&r[column]).norm()
                    }
                };
                let loaded = rows.iter().filter(|r| vector(&r[0]).norm() > 100.0);
                loaded.map(size).fold(0.0, f64::max)
            };
            let (force, moment, free) = (scale(0), scale(1), scale(3));
            assert!(force > 200.0, "{name}: plate {n} carries somebody");
            for (row, local) in rows.iter().zip(wrenches.iter().step_by(STRIDE)) {
                let bay = plate.in_bay(local);
                let off = |ours: Vector3<f64>, column: usize| {
                    (to_file(ours) - vector(&row[column])).norm()
                };
                assert!(
                    off(bay.force, 0) < 1e-3 * force,
                    "{name} {n}: {bay:?} {row}"
                );
                if !row[1].is_null() {
                    assert!(
                        off(bay.moment, 1) < 5e-3 * moment,
                        "{name} {n}: {bay:?} {row}"
                    );
                }
                if let Some(acts) = pressure(plate, local, 100.0) {
                    assert!(
                        off(acts.center.coords, 2) < 1e-3,
                        "{name} {n}: {acts:?} {row}"
                    );
                    let theirs = vector(&row[3]).z;
                    assert!(
                        (acts.free_moment - theirs).abs() < 0.01 * free,
                        "{name} {n}: {acts:?} {row}"
                    );
                }
            }
        }
    }
}

/// Origins with the wrong sign are found where ezc3d turns them round too.
#[test]
fn wrong_origins_of_the_files_are_told() {
    let odd = |name: &str| -> Option<Vec<bool>> {
        let told = |(p, _): &(Plate, _)| p.oddities.contains(&Oddity::OriginAbove);
        Some(take(file(name)?, false).plates.iter().map(told).collect())
    };
    for (name, expected) in [
        ("plates/TYPE-2.C3D", vec![true]),
        ("plates/TYPE-2a.c3d", vec![false, false]),
        ("plates/TYPE-3.c3d", vec![false, false, true, true]),
        ("gait/gait_with_angles.c3d", vec![true, true]),
    ] {
        let Some(found) = odd(name) else { return };
        assert_eq!(found, expected, "{name}");
    }
}

/// The worked calculation that is published with the TYPE-4 sample (c3d.org sample 10, `TYPE-4.xls`,
/// sheet 1, "Scaled Values - TYPE-4", rows of frames 15 and 19): converter counts, scaled by the
/// sheet's ANALOG:SCALE, through the file's own CAL_MATRIX. N and N·mm. One entry of file and sheet
/// differs in its sign (what Fz adds to Mz, 4.609 and −4.609): here it is the sheet's. The
/// file's matrix is rounded to three decimals, so that they agree to 1e-3.
#[test]
fn the_published_type_4_calculation() {
    let Some(mut file) = file("plates/TYPE-4.C3D") else {
        return;
    };
    let cases: [([f64; 6], [f64; 6]); 2] = [
        (
            [3000.0, 3000.0, 3000.0, 2047.0, 2047.0, 2047.0],
            [
                -177.26741, -179.75560, -700.15467, -3039.7865, -1562.5134, 1326.4905,
            ],
        ),
        (
            [2047.0, 2047.0, 0.0, 4096.0, 2047.0, 2047.0],
            [
                0.0238463,
                -2.8574499,
                1497.14776,
                -182456.559,
                3447.85441,
                -1002.90321,
            ],
        ),
    ];
    let scale = |channel: usize| {
        if channel == 2 {
            -0.122_138_172_5
        } else {
            -0.122_206_254_7
        }
    };
    let places = file.plates[0].channels.clone();
    for (sample, (counts, _)) in cases.iter().enumerate() {
        for (channel, &place) in places.iter().enumerate() {
            let value = (counts[channel] - 2047.0) * scale(channel);
            file.analog.channels[place].samples[sample] = Some(value as f32);
        }
    }
    file.plates[0].origin = [0.0; 3];
    let matrix = file.plates[0].cal_matrix.as_mut().unwrap();
    assert!((matrix[5][2] - 4.609_5).abs() < 1e-3, "{}", matrix[5][2]);
    matrix[5][2] = -4.609_498;
    let ours = take(file, false);
    for (sample, (_, expected)) in cases.iter().enumerate() {
        let mut found = ours.plates[0].1[sample].numbers();
        found[3..].iter_mut().for_each(|m| *m *= 1e3);
        for (f, e) in found.iter().zip(expected) {
            assert!(
                (f - e).abs() < 1e-3 * e.abs().max(150.0),
                "{found:?} {expected:?}"
            );
        }
    }
}

/// TYPE-2a and TYPE-4a are one walk through two methods: forces within 1 % of the peak, centers of
/// pressure within 3 mm (the cross-talk that the matrix takes out) above 100 N.
#[test]
fn one_walk_by_two_methods() {
    let (Some(two), Some(four)) = (file("plates/TYPE-2a.c3d"), file("plates/TYPE-4a.c3d")) else {
        return;
    };
    let (two, four) = (take(two, true), take(four, true));
    for n in 0..2 {
        let (plate, a) = &two.plates[n];
        let b = &four.plates[n].1;
        let peak = a.iter().map(|w| w.force.norm()).fold(0.0, f64::max);
        assert!(peak > 500.0);
        for (a, b) in a.iter().zip(b) {
            assert!((a.force - b.force).norm() < 0.01 * peak, "{a:?} {b:?}");
            if let (Some(p), Some(q)) = (pressure(plate, a, 100.0), pressure(plate, b, 100.0)) {
                assert!((p.center - q.center).norm() < 3e-3, "{p:?} {q:?}");
            }
        }
    }
}

/// The gait file carries a third party's ground reaction per foot (N/kg in the file's axes, smoothed,
/// one value a frame): within 2 % of its peak, root mean square, where one foot is on one plate. Its
/// low-pass is not named; at 20 Hz both have the same steep heel strikes.
#[test]
fn a_third_partys_ground_reaction() {
    let Some(file) = file("gait/gait_with_angles.c3d") else {
        return;
    };
    let column = |label: &str| file.labels.iter().position(|l| l == label).unwrap();
    let columns = [
        column("RGroundReactionForce"),
        column("LGroundReactionForce"),
    ];
    let frames = file.frames.clone();
    let ours = take(file, true);
    let a_frame = ours.plates[0].1.len() / frames.len();
    const MASS_KG: f64 = 47.5;
    let filter = DualPass::butterworth(ours.rate_hz, 20.0);
    for (plate, column) in columns.into_iter().enumerate() {
        let samples = 0..ours.plates[plate].1.len();
        let vertical: Vec<f64> = samples.map(|s| ours.bay(plate, s).force.y).collect();
        let vertical = filter.run(&vertical, 100);
        let (mut squares, mut n, mut peak) = (0.0, 0, 0f64);
        for (number, frame) in frames.iter().enumerate() {
            let Some(theirs) = frame[column] else {
                continue;
            };
            // Of the horizontal forces they use the walker's axes.
            let ours = vertical[number * a_frame] / MASS_KG;
            let theirs = f64::from(theirs.position[2]);
            if theirs.abs() < 1.0 {
                continue;
            }
            squares += (ours - theirs).powi(2);
            peak = peak.max(theirs);
            n += 1;
        }
        let rms = (squares / f64::from(n)).sqrt();
        assert!(n > 40 && peak > 9.0, "{n} frames, peak {peak}");
        println!("plate {plate}: {:.2} % of the peak", rms / peak * 1e2);
        assert!(
            rms < 0.02 * peak,
            "plate {plate}: {rms:.3} of {peak:.3} N/kg"
        );
    }
}

/// Segment masses and centers from the upper end, as shares, of de Leva 1996 (male, simplified to the
/// points that the file has), for the height of the mass center in the jump.
const SEGMENTS: [(f64, &[&str], &[&str], f64); 7] = [
    (0.0694, &["FHEA", "RHEA"], &["FHEA", "RHEA"], 0.0),
    (0.4346, &["RSHO", "LSHO"], &["VRHI", "VLHI"], 0.4486),
    (0.0542, &["RSHO", "LSHO"], &["RELB", "LELB"], 0.5772),
    (0.0446, &["RELB", "LELB"], &["RWRI", "LWRI"], 0.4574),
    (0.2832, &["VRHI", "VLHI"], &["RKNE", "LKNE"], 0.4095),
    (0.0866, &["RKNE", "LKNE"], &["RANK", "LANK"], 0.4459),
    (0.0274, &["RANK", "LANK"], &["R.TO", "L.TO"], 0.5),
];

/// Height of the mass center in each frame, metres.
fn mass_center(file: &C3d) -> Vec<f64> {
    let column = |name: &str| file.labels.iter().position(|l| l == name).unwrap();
    let height = |names: &[&str], frame: usize| {
        let z = names
            .iter()
            .map(|n| f64::from(file.frames[frame][column(n)].unwrap().position[2]));
        z.sum::<f64>() / names.len() as f64 * 1e-3
    };
    let total: f64 = SEGMENTS.iter().map(|s| s.0).sum();
    let at = |frame: usize| {
        let part = |(mass, upper, lower, share): &(f64, &[&str], &[&str], f64)| {
            let (a, b) = (height(upper, frame), height(lower, frame));
            mass / total * (a + share * (b - a))
        };
        SEGMENTS.iter().map(part).sum::<f64>()
    };
    (0..file.frames.len()).map(at).collect()
}

/// Time of the lowest place within a range of frames, seconds: the vertex of a parabola around it.
fn lowest(heights: &[f64], frames: std::ops::Range<usize>, rate_hz: f64) -> f64 {
    let k = frames
        .min_by(|a, b| heights[*a].total_cmp(&heights[*b]))
        .unwrap();
    let (before, at, after) = (heights[k - 3], heights[k], heights[k + 3]);
    let off = 0.5 * (before - after) / (before - 2.0 * at + after);
    (k as f64 + 3.0 * off) / rate_hz
}

/// Impulse and momentum: between the lowest points before and after the jump the mass center is at rest
/// at both ends, which gives the body's mass; from the first to take-off the impulse gives the velocity
/// of take-off. In the air only gravity acts: the velocity is g·T/2 + Δh/T. Within 3 %.
#[test]
fn the_impulse_of_a_jump_is_its_flight() {
    const G: f64 = 9.81;
    let Some(file) = file("jump/two_plates_jump.c3d") else {
        return;
    };
    let heights = mass_center(&file);
    let frame_hz = file.rate_hz;
    let ours = take(file, false);
    let rate_hz = ours.rate_hz;
    let n = ours.plates[0].1.len();
    let raw = |s: usize| (0..2).map(|p| ours.bay(p, s).force.y).sum::<f64>();
    // Nobody touches the plates while both together read less than 50 N: what they read then is zero.
    let airborne: Vec<usize> = (0..n).filter(|&s| raw(s) < 50.0).collect();
    let inner = &airborne[10..airborne.len() - 10];
    let zero = inner.iter().map(|&s| raw(s)).sum::<f64>() / inner.len() as f64;
    let vertical: Vec<f64> = (0..n).map(|s| raw(s) - zero).collect();
    let in_air: Vec<usize> = airborne
        .into_iter()
        .filter(|&s| vertical[s] < 10.0)
        .collect();
    let (off, on) = (
        in_air[0] as f64 / rate_hz,
        (in_air[in_air.len() - 1] + 1) as f64 / rate_hz,
    );
    let impulse = |from: f64, to: f64| {
        let (a, b) = (
            (from * rate_hz).round() as usize,
            (to * rate_hz).round() as usize,
        );
        let inner: f64 = vertical[a + 1..b].iter().sum();
        (inner + (vertical[a] + vertical[b]) / 2.0) / rate_hz
    };
    let middle = ((off + on) / 2.0 * frame_hz) as usize;
    let first = lowest(&heights, 10..80, frame_hz);
    let second = lowest(&heights, middle + 20..heights.len() - 20, frame_hz);
    let mass = impulse(first, second) / (G * (second - first));
    assert!((55.0..75.0).contains(&mass), "{mass} kg");
    let by_impulse = impulse(first, off) / mass - G * (off - first);
    let height = |t: f64| heights[(t * frame_hz).round() as usize];
    let by_flight = G * (on - off) / 2.0 + (height(on) - height(off)) / (on - off);
    let error = by_impulse / by_flight - 1.0;
    println!(
        "take-off {by_impulse:.3} m/s by impulse, {by_flight:.3} by flight: {:.1} %",
        error * 1e2
    );
    assert!(error.abs() < 0.03, "{by_impulse} {by_flight}");
}
