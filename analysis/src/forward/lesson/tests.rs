//! What a lesson promises: the same by seed, labels in order, a body that stays one, no jumps.

use std::collections::{BTreeMap, BTreeSet};

use nalgebra::Point3;

use super::super::club::BALL_RADIUS;
use super::super::posture::Dof;
use super::super::{GolferParams, plan};
use super::figure::{Figure, Stance};
use super::scene::Scene;
use super::script::Script;
use super::{Lesson, LessonFrame, LessonParams};
use crate::handed::Handed;
use crate::landmark::Landmark as L;

fn clean(seed: u64, length_s: f64) -> LessonParams {
    LessonParams {
        noise_m: 0.0,
        ..LessonParams::usual(seed, length_s)
    }
}

fn column(landmark: L) -> usize {
    Lesson::landmarks()
        .iter()
        .position(|&l| l == landmark)
        .unwrap()
}

#[test]
fn a_golfer_at_the_ball_is_that_of_the_swings() {
    for seed in [1, 2] {
        let params = GolferParams::from_seed(seed);
        let (motion, masses) = plan::motion(&params);
        let figure = Figure {
            build: motion.build.clone(),
            shape: motion.club,
            masses,
        };
        for n in 0..60 {
            let t = f64::from(n) * 0.08;
            let stance = Stance {
                posture: motion.posture(t),
                place: figure.home(),
                feet: figure.feet().map(|f| figure.home().foot(f)),
                hold: [1.0; 2],
                order: 1.0,
                flip: 0.0,
                seat: 0.0,
            };
            let (seen, pose) = (figure.seen(&stance, None), motion.pose(t));
            for (i, (a, b)) in seen.markers.iter().zip(&pose.markers).enumerate() {
                assert!(
                    (a - b).norm() < 1e-4,
                    "{seed} {t} {:?}: {a} {b}",
                    Lesson::landmarks()[i]
                );
            }
        }
    }
}

#[test]
fn the_seed_decides_everything() {
    let lesson = |seed| {
        let mut lesson = Lesson::new(&LessonParams {
            faults: true,
            upsets: true,
            dropout: 0.02,
            ..LessonParams::usual(seed, 20.0)
        });
        let frames: Vec<_> = lesson.by_ref().collect();
        (frames, lesson.labels().to_vec())
    };
    let (a, b, c) = (lesson(3), lesson(3), lesson(4));
    assert!(a == b);
    assert!(a.1 != c.1);
}

#[test]
fn labels_are_in_order_and_apart_and_times_run_on() {
    for (seed, handed) in [(1, Handed::Right), (2, Handed::Left)] {
        let mut lesson = Lesson::new(&LessonParams {
            handed,
            upsets: true,
            rate_hz: 120.0,
            ..LessonParams::usual(seed, 1800.0)
        });
        let mut last_ns = None;
        for frame in lesson.by_ref() {
            // Device times may run back.
            assert!(last_ns.is_none_or(|last| frame.real_ns > last));
            last_ns = Some(frame.real_ns);
        }
        let mut found = BTreeMap::new();
        for label in lesson.labels() {
            assert!(label.start_s < label.end_s, "{label:?}");
            if let Some(t) = label.impact_s {
                assert!(label.start_s < t && t < label.end_s, "{label:?}");
            }
            *found.entry(label.kind).or_insert(0) += 1;
        }
        for pair in lesson.labels().windows(2) {
            let end = pair[0].lesson_s + pair[0].end_s - pair[0].start_s;
            assert!(end <= pair[1].lesson_s + 1e-6, "{pair:?}");
        }
        assert!(found.len() == 6, "{found:?}");
    }
}

/// Distances within one bone, m, with what markers beside a joint may vary.
const STIFF: [(L, L, f64); 12] = [
    (L::LeftAsis, L::RightPsis, 1e-6),
    (L::C7, L::Xiphoid, 1e-6),
    (L::HeadFront, L::HeadLeft, 1e-6),
    (L::LeftRadialStyloid, L::LeftUlnarStyloid, 1e-6),
    (L::LeftElbow, L::LeftRadialStyloid, 0.006),
    (L::RightElbow, L::RightUlnarStyloid, 0.006),
    (L::LeftKnee, L::LeftAnkle, 0.01),
    (L::RightKnee, L::RightAnkle, 0.01),
    (L::LeftHeel, L::LeftToe, 1e-6),
    (L::ClubButt, L::ClubHeadToe, 1e-6),
    (L::ClubHeadHeel, L::ClubHeadBack, 1e-6),
    (L::RightHeel, L::RightToe, 1e-6),
];

#[test]
fn bones_stay_whole_and_nothing_jumps() {
    const RATE_HZ: f64 = 360.0;
    for seed in [1, 5, 6] {
        let mut lesson = Lesson::new(&LessonParams {
            changes: false,
            ..clean(seed, 600.0)
        });
        let mut ranges = STIFF.map(|_| (f64::INFINITY, 0.0_f64));
        let mut before: Vec<Vec<Option<Point3<f64>>>> = Vec::new();
        let mut worst = BTreeMap::new();
        let mut whole = BTreeSet::new();
        let mut lowest = (1.0_f64, 0.0, "");
        while let Some(frame) = lesson.next() {
            let (t, scene) = (frame.time_ns as f64 * 1e-9, lesson.scene.name);
            if lesson.scene.told.is_some_and(|t| t.impact.is_some()) {
                whole.insert(scene);
            }
            let at = |l: L| frame.points[column(l)];
            for ((a, b, _), range) in STIFF.iter().zip(&mut ranges) {
                if let (Some(a), Some(b)) = (at(*a), at(*b)) {
                    let d = (a - b).norm();
                    *range = (range.0.min(d), range.1.max(d));
                }
            }
            if let Some(head) = at(L::ClubHeadToe)
                && head.y < lowest.0
            {
                lowest = (head.y, t, scene);
            }
            if let [a, b, c] = before.as_slice() {
                for (i, &landmark) in Lesson::landmarks().iter().enumerate() {
                    let points = [a[i], b[i], c[i], frame.points[i]];
                    if let [Some(a), Some(b), Some(c), Some(d)] = points {
                        // Acceleration from frame to frame; a collision is the only blow. A knee that
                        // comes near its end in a quick step is the most of the body.
                        let bend = |a: Point3<f64>, b: Point3<f64>, c: Point3<f64>| {
                            (a - b + (c - b)).norm() * RATE_HZ * RATE_HZ
                        };
                        let jump = bend(a, b, c).max(bend(b, c, d));
                        let w = worst.entry((scene, landmark.is_club())).or_insert((
                            0.0_f64,
                            0.0,
                            L::C7,
                        ));
                        if jump > w.0 {
                            *w = (jump, t, landmark);
                        }
                    }
                }
                before.remove(0);
            }
            before.push(frame.points);
        }
        assert!(lowest.0 > -0.04, "{seed}: {lowest:?}");
        for ((scene, club), (jump, t, landmark)) in &worst {
            let stroke = whole.contains(scene);
            let limit = match (stroke, club) {
                (true, true) => 12_000.0,
                (true, false) | (false, true) => 1500.0,
                (false, false) => 600.0,
            };
            assert!(*jump < limit, "{jump} m/s² {scene} {landmark:?} at {t} s");
        }
        for ((a, b, limit), (low, high)) in STIFF.iter().zip(ranges) {
            assert!(high - low < 2.0 * limit, "{a:?}–{b:?}: {low} to {high}");
        }
    }
}

#[test]
fn the_face_is_at_the_ball_when_a_label_says_so() {
    let mut lesson = Lesson::new(&LessonParams {
        rate_hz: 1000.0,
        changes: false,
        ..clean(7, 300.0)
    });
    let mut heads = Vec::new();
    for frame in lesson.by_ref() {
        let middle = |a: L, b: L| {
            let (a, b) = (frame.points[column(a)]?, frame.points[column(b)]?);
            Some(nalgebra::center(&a, &b))
        };
        heads.push((frame.time_ns, middle(L::ClubHeadHeel, L::ClubHeadToe)));
    }
    let mut near = BTreeMap::new();
    for label in lesson.labels().iter().filter(|l| l.struck) {
        let impact_ns = label.impact_s.unwrap() * 1e9;
        let i = heads.partition_point(|h| (h.0 as f64) < impact_ns);
        let head = heads[i].1.unwrap();
        let speed = (heads[i].1.unwrap() - heads[i - 3].1.unwrap()).norm() / 0.003;
        let usual = match label.scene {
            "putt" => 0.8..4.0,
            "chip" => 4.0..13.0,
            "pitch" => 7.0..18.0,
            _ => 11.0..60.0,
        };
        assert!(usual.contains(&speed), "{}: {speed} m/s", label.scene);
        near.insert(label.scene, (head - Point3::new(-0.02, 0.021, 0.0)).norm());
    }
    assert!(near.len() > 2);
    assert!(near.values().all(|d| *d < 0.09), "{near:?}");
}

/// A script whose next scenes are the ones that are asked for, from address on.
fn scripted(seed: u64, ask: impl Fn(&mut Script)) -> Vec<Scene> {
    let mut script = Script::new(&clean(seed, 60.0));
    script.step_in();
    ask(&mut script);
    let mut scenes = Vec::new();
    while !script.between_turns() {
        scenes.push(script.next());
    }
    scenes
}

/// Head speed of a scene's stroke at its time `t`, and where the face is, m/s and m.
fn head(scene: &Scene, t: f64) -> (f64, Point3<f64>) {
    let face = |t: f64| {
        let held = scene.figure.seen(&(scene.course)(t), None).held;
        held * Point3::from(scene.figure.shape.face())
    };
    ((face(t) - face(t - 1e-5)).norm() / 1e-5, face(t))
}

#[test]
fn the_mat_takes_speed_before_the_ball_does() {
    for seed in 1..6 {
        let scenes = scripted(seed, Script::mat_first);
        let stroke = scenes.last().unwrap();
        let impact = stroke.told.unwrap().impact.unwrap();
        if stroke.name != "mat before the ball" {
            continue;
        }
        let (before, place) = head(stroke, impact - 0.005);
        assert!(place.x < -0.12);
        let (at, place) = head(stroke, impact);
        assert!((place.x + BALL_RADIUS).abs() < 1e-3, "{place}");
        assert!((0.85..0.985).contains(&(at / before)), "{at} {before}");
    }
}

#[test]
fn a_seated_player_meets_the_ball_and_his_seat_stays() {
    for seed in 1..9 {
        let scenes = scripted(seed, Script::seated_shot);
        let shots = scenes.iter().filter(|s| s.name == "seated shot");
        let mut count = 0;
        for shot in shots {
            let impact = shot.told.unwrap().impact.unwrap();
            let (speed, face) = head(shot, impact);
            let ball = Point3::new(-BALL_RADIUS, shot.figure.shape.ball_height(), 0.0);
            assert!((face - ball).norm() < 1e-3, "{seed}: {face}");
            assert!((15.0..50.0).contains(&speed), "{seed}: {speed}");
            let pelvis = |t: f64| (shot.course)(t).posture[Dof::PelvisY];
            assert!((pelvis(0.0) - pelvis(impact)).abs() < 1e-9);
            assert!((0.45..0.65).contains(&pelvis(impact)));
            count += 1;
        }
        assert!(count > 0);
    }
}

#[test]
fn putter_and_wedge_have_their_own_lengths() {
    for (putts, length) in [(true, 0.86), (false, 0.89)] {
        for seed in 1..6 {
            let scenes = scripted(seed, |s| s.short_game(putts));
            let stroke = scenes.iter().find(|s| s.told.is_some_and(|t| t.struck));
            let stroke = stroke.unwrap();
            assert!((stroke.figure.shape.length - length).abs() < 1e-9);
            let impact = stroke.told.unwrap().impact.unwrap();
            let (speed, face) = head(stroke, impact);
            assert!((face.x + BALL_RADIUS).abs() < 1e-3, "{face}");
            assert!((0.8..16.0).contains(&speed), "{speed}");
        }
    }
}

#[test]
fn company_comes_and_goes_and_is_never_labelled() {
    let mut lesson = Lesson::new(&LessonParams {
        faults: true,
        rate_hz: 60.0,
        ..clean(3, 600.0)
    });
    let others = |f: &LessonFrame| f.points[32..].iter().flatten().count();
    let counts: Vec<usize> = lesson.by_ref().map(|f| others(&f)).collect();
    let there = counts.iter().filter(|&&n| n > 25).count() as f64 / counts.len() as f64;
    let away = counts.iter().filter(|&&n| n == 0).count() as f64 / counts.len() as f64;
    assert!(there > 0.1 && away > 0.1, "{there} {away}");
}

/// Skin swings by millimetres to centimetres, the club not at all.
#[test]
fn skin_moves_on_bones_only() {
    let frames = |wobble| {
        Lesson::new(&LessonParams {
            wobble,
            ..clean(2, 60.0)
        })
    };
    let mut most = [0.0_f64; 2];
    for (a, b) in frames(false).zip(frames(true)) {
        for (n, landmark) in Lesson::landmarks().iter().enumerate() {
            if let (Some(a), Some(b)) = (a.points[n], b.points[n]) {
                let of = &mut most[usize::from(landmark.is_club())];
                *of = of.max((a - b).norm());
            }
        }
    }
    assert!(
        (0.005..0.06).contains(&most[0]) && most[1] < 1e-12,
        "{most:?}"
    );
}

/// A rate that changes without a restart: numbers run on, times come in other steps.
#[test]
fn a_rate_may_change_within_an_epoch() {
    let mut lesson = Lesson::new(&LessonParams {
        upsets: true,
        rate_hz: 120.0,
        ..clean(4, 1800.0)
    });
    let (mut last, mut changes) = (lesson.next().unwrap(), 0);
    for frame in lesson {
        if frame.epoch == last.epoch {
            assert_eq!(frame.number, last.number + 1);
            let step_s = (frame.real_ns - last.real_ns) as f64 * 1e-9;
            let slowest = 1.0 / frame.rate_hz.min(last.rate_hz);
            assert!(step_s < 1.01 * slowest, "{step_s} {}", frame.rate_hz);
            changes += usize::from((frame.rate_hz - last.rate_hz).abs() > 1.0);
        }
        last = frame;
    }
    assert!(changes > 0);
}
