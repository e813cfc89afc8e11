//! Force plates beside the golfer, from datagram to swing: a swing carries the reaction of each plate in
//! the markers' time, with one clock and with two; a dead plate costs nothing but itself.

use analysis::context::Context;
use analysis::forward::{CaptureParams, GolferParams, PlateParams, swing};
use analysis::ground::feet::{Carrier, Foot, standing};
use analysis::ground::window::{GroundWindow, PlateWindow};
use analysis::ground::wrench::{LOAD_GATE_N, total};
use analysis::handed::Handed;
use analysis::landmark::Landmark as L;
use analysis::measure::Measured;
use analysis::metrics::catalogue::CATALOGUE;
use analysis::metrics::values::Value;
use analysis::uncertainty::{self, Base, Outcome};
use daemon::map::MarkerMap;
use daemon::offline;
use daemon::receive::Arrival;
use daemon::{feed, outgoing, synthetic};
use nalgebra::Point3;
use protocol::c3d::{self, Analog, C3d, Channel, Plate};
use protocol::wire::{self, Body};

const RATE_HZ: f64 = 1000.0;
/// A short push of the lead foot, so that time can be read off the force: seconds of device time.
const PUSH_S: f64 = 2.9;
const WEIGHT_N: f64 = 400.0;

fn map() -> MarkerMap {
    MarkerMap::load("whin_32").unwrap()
}

/// The golfer on two plates, the trail foot's first. Nobody on them for the first 0.7 s (which no body
/// does: the plates are to be zeroed); from then on 400 N a foot and the push. Offset 6 N, noise.
fn take() -> C3d {
    let capture = CaptureParams {
        rate_hz: 240.0,
        noise_m: 0.0005,
        dropout: 0.0,
        wobble: false,
        plates: None,
    };
    let golfer = swing(&GolferParams::from_seed(6), &capture);
    let mut take = synthetic::c3d(&golfer, &map());
    let place = |l: L| {
        let column = take
            .labels
            .iter()
            .position(|n| map().landmark(n) == Some(l));
        take.frames[0][column.unwrap()]
            .unwrap()
            .position
            .map(f64::from)
    };
    let middle = |heel: L, toe: L| {
        let (h, t) = (place(heel), place(toe));
        [(h[0] + t[0]) / 2.0, 0.0, (h[2] + t[2]) / 2.0]
    };
    let feet = [
        middle(L::RightHeel, L::RightToe),
        middle(L::LeftHeel, L::LeftToe),
    ];
    let half = [((feet[1][0] - feet[0][0]) / 2.0 - 5.0).min(300.0), 300.0];
    let samples = (take.frames.len() as f64 / take.rate_hz * RATE_HZ) as usize;
    let hum = |n: usize| ((n * 7919 % 211) as f64 / 211.0 - 0.5) * 2.0;
    for (n, [x, _, z]) in feet.into_iter().enumerate() {
        let corner = |a: f64, b: f64| [x + a * half[0], 0.0, z + b * half[1]];
        take.plates.push(Plate {
            kind: 2,
            corners: [
                corner(1.0, 1.0),
                corner(-1.0, 1.0),
                corner(-1.0, -1.0),
                corner(1.0, -1.0),
            ],
            origin: [0.0, 0.0, -40.0],
            channels: (6 * n..6 * n + 6).collect(),
            cal_matrix: None,
        });
        for channel in 0..6 {
            let value = |s: usize| {
                let t = s as f64 / RATE_HZ;
                let push = 150.0 * (-((t - PUSH_S) / 0.02).powi(2)).exp() * n as f64;
                let up = if t < 0.7 { 0.0 } else { WEIGHT_N + push };
                let noise = hum(s * 6 + channel + n);
                // On the person, z down; N and N·mm.
                (if channel == 2 {
                    -up - 6.0 + noise
                } else {
                    noise
                }) as f32
            };
            take.analog.channels.push(Channel {
                label: format!("{n}{channel}"),
                unit: if channel < 3 { "N" } else { "Nmm" }.into(),
                samples: (0..samples).map(value).map(Some).collect(),
            });
        }
    }
    take.analog = Analog {
        rate_hz: RATE_HZ,
        ..take.analog
    };
    take
}

/// The take's datagrams as they arrive: with `apart`, the plates have a clock of their own (set
/// elsewhere, 40 ppm fast) and both streams have one-sided jitter over the same smallest delay.
fn arrivals(take: &C3d, apart: bool) -> Vec<Arrival> {
    let mut out = Vec::new();
    for (n, due) in feed::of_c3d(take, Some(&map()), 1)
        .unwrap()
        .into_iter()
        .enumerate()
    {
        let (mut header, body) = wire::decode(&due.bytes).unwrap();
        let mut ready = due.time_ns;
        if let Body::ForceBlock(block) = &body {
            ready += ((block.samples() - 1) as f64 * 1e9 / RATE_HZ) as i64;
        }
        if apart && header.stream == 2 {
            header.clock = 2;
            header.device_time_ns =
                (due.time_ns as f64 * (1.0 + 40e-6)) as i64 - 86_400_000_000_000;
        }
        let mut bytes = Vec::new();
        wire::encode(&header, &body, &mut bytes).unwrap();
        // Mostly small, sometimes 15 ms.
        let jitter = (n * 7919 % 997) as f64 / 997.0;
        let late = 0.2e6 + jitter.powi(4) * 15e6;
        let received_ns = u64::try_from(ready).unwrap() + 3_600_000_000_000 + late as u64;
        out.push((received_ns, bytes));
    }
    out.sort_by_key(|(at, _)| *at);
    out.into_iter()
        .map(|(received_ns, bytes)| Arrival::Datagram {
            received_ns,
            bytes: bytes.into(),
        })
        .collect()
}

fn measured(take: &C3d, apart: bool) -> Measured {
    let mut found = offline::analyze(arrivals(take, apart).into_iter(), map(), Context::default());
    assert_eq!(found.swings.len(), 1, "{:?}", found.remarks);
    found.swings.remove(0)
}

fn ground(swing: &Measured) -> &GroundWindow {
    swing.prepared.ground.as_ref().unwrap()
}

/// Whether a metric is read off the plates.
fn of_plates(id: &str) -> bool {
    const FIRST: &[&str] = &[
        "vertical_",
        "unweighting",
        "loading",
        "lateral_force",
        "fore_aft",
        "free_moment",
        "ground_torque",
        "cop_",
        "clock_",
    ];
    FIRST.iter().any(|f| id.starts_with(f))
}

/// All values that do not need plates, not even for the golfer's weight.
fn of_markers(m: &Measured) -> Vec<Value> {
    const WEIGHED: &[&str] = &["force_", "mass_centre", "frontal_", "kinetic_"];
    let weighed = |id: &str| WEIGHED.iter().any(|f| id.starts_with(f));
    let families = CATALOGUE
        .iter()
        .filter(|f| !of_plates(f.id) && !weighed(f.id));
    let indices = families.flat_map(|f| f.first..f.first + f.len());
    indices.map(|i| m.values.get(i)).collect()
}

/// Time of the push on a plate: center of what is above the weight, seconds.
fn push_s(plate: &PlateWindow) -> f64 {
    let series = plate.series.as_ref().unwrap();
    let (mut sum, mut moment) = (0.0, 0.0);
    for (t, w) in series.time_ns.iter().zip(&series.wrenches) {
        let t = *t as f64 * 1e-9;
        let above = w.map_or(0.0, |w| w.force.y - WEIGHT_N);
        if (t - PUSH_S).abs() < 0.1 {
            sum += above;
            moment += above * t;
        }
    }
    moment / sum
}

#[test]
fn a_swing_carries_its_ground_with_one_clock_and_with_two() {
    let take = take();
    let shared = measured(&take, false);
    let [trail, lead] = &ground(&shared).plates[..] else {
        panic!("two plates")
    };
    assert_eq!(trail.notes, Vec::<String>::new());
    let at = (2.0 * 1e9) as i64;
    for plate in [trail, lead] {
        let series = plate.series.as_ref().unwrap();
        assert!(
            (series.zero.unwrap().offset.force.z + 6.0).abs() < 0.2,
            "{:?}",
            series.zero
        );
        assert!((plate.at(at).unwrap().1.force.y - WEIGHT_N).abs() < 2.0);
        assert!((series.rate_hz - RATE_HZ).abs() < 0.1);
    }
    assert!((push_s(lead) - PUSH_S).abs() < 2e-4, "{}", push_s(lead));
    // Which plate is whose, by the feet at address.
    let window = &shared.prepared.window;
    let slot = shared.prepared.swing.quiet.start;
    let foot = |heel: L, toe: L| Foot {
        heel: window.track(heel).unwrap()[slot],
        toe: window.track(toe).unwrap()[slot],
        ankle: None,
    };
    let pressure = |p: &PlateWindow| -> Option<Point3<f64>> {
        total(&[p.at(at).unwrap()], LOAD_GATE_N).center
    };
    let carriers: Vec<Carrier> = [trail, lead]
        .map(|p| Carrier {
            surface: p.surface,
            pressure: pressure(p),
            silent: false,
        })
        .to_vec();
    let stands = standing(
        &foot(L::LeftHeel, L::LeftToe),
        &foot(L::RightHeel, L::RightToe),
        &carriers,
    );
    assert_eq!(
        (stands.lead, stands.trail),
        (Ok(1), Ok(0)),
        "{:?}",
        stands.notes
    );

    let apart = measured(&take, true);
    let lead = &ground(&apart).plates[1];
    let said = lead.alignment.uncertainty_s();
    let error = (push_s(lead) - PUSH_S).abs();
    println!(
        "two clocks: {:.3} ms off, {:.3} ms stated",
        error * 1e3,
        said * 1e3
    );
    assert!(error < 1e-3 && said < 5e-3, "{error} {said}");
    assert!(error < 2.0 * said.max(2e-4), "{error} {said}");
    // The markers' own numbers do not know of it; and the same recording gives the same bytes.
    assert_eq!(of_markers(&shared), of_markers(&apart));
    let clock = |m: &Measured| outgoing::measurement(m).metrics["clock_uncertainty"].value;
    assert_eq!(clock(&shared), Some(0.0));
    assert!((clock(&apart).unwrap() - said * 1e3).abs() < 1e-3);
    let again = measured(&take, true);
    assert_eq!(ground(&apart), ground(&again));
}

#[test]
fn a_dead_plate_costs_nothing_but_itself() {
    let whole = take();
    let mut dead = whole.clone();
    for channel in &mut dead.analog.channels[..6] {
        channel.samples.iter_mut().for_each(|v| *v = Some(0.25));
    }
    let (good, bad) = (measured(&whole, false), measured(&dead, false));
    let [trail, lead] = &ground(&bad).plates[..] else {
        panic!("two plates")
    };
    assert!(trail.series.as_ref().unwrap_err().contains("dead"));
    assert_eq!(lead, &ground(&good).plates[1]);
    assert_eq!(
        of_markers(&good),
        of_markers(&bad),
        "kinematics are what they were"
    );
    // The lead foot alone is still known, the trail foot and both together are not, and say why.
    let (good_report, bad_report) = (outgoing::measurement(&good), outgoing::measurement(&bad));
    for (id, metric) in bad_report.metrics.iter().filter(|(id, _)| of_plates(id)) {
        let before = &good_report.metrics[id];
        assert!(before.value.is_some(), "{id}: {:?}", before.reason);
        match metric.value {
            Some(_) => assert!(id.contains(".lead") || id == "clock_uncertainty", "{id}"),
            None => assert!(
                metric.reason.as_ref().unwrap().contains("dead"),
                "{id}: {metric:?}"
            ),
        }
    }
    assert!(bad_report.metrics["free_moment_peak.lead"].value.is_some());
    assert!(
        bad.notes.iter().any(|n| n.contains("dead")),
        "{:?}",
        bad.notes
    );
    assert!(ground(&bad).total_at(2_000_000_000, LOAD_GATE_N).is_err());
    // Without plates there is no ground, and nothing else changes.
    let mut none = whole.clone();
    (none.plates, none.analog) = (Vec::new(), Analog::default());
    let none = measured(&none, false);
    assert!(none.prepared.ground.is_none());
    assert_eq!(of_markers(&good), of_markers(&none));
    for (id, metric) in outgoing::measurement(&none)
        .metrics
        .iter()
        .filter(|(id, _)| of_plates(id))
    {
        assert_eq!(metric.reason.as_deref(), Some("no force plates"), "{id}");
    }
}

/// The take's forces are known by construction: two times 400 N at rest and a bell of 150 N under the
/// lead foot whose steepest rise is 150 N × √2 ÷ (20 ms × √e) (calculus).
#[test]
fn what_was_put_under_the_feet_is_measured() {
    let swing = measured(&take(), false);
    let report = outgoing::measurement(&swing);
    let near = |id: &str, want: f64, within: f64| {
        let metric = &report.metrics[id];
        let got = metric
            .value
            .unwrap_or_else(|| panic!("{id}: {:?}", metric.reason));
        assert!(
            (got - want).abs() <= within,
            "{id}: {got}, put there {want}"
        );
        assert_eq!(metric.limited, None, "{id}");
    };
    let time = |event: &str| report.events[event].time_s.unwrap();
    let at = |event: &str| WEIGHT_N + 150.0 * (-((time(event) - PUSH_S) / 0.02).powi(2)).exp();
    // What is told of nobody's mass: the plates tell it, less the assumed club.
    let weight = 2.0 * WEIGHT_N - 0.35 * 9.80665;
    for event in ["address", "takeaway_end", "top", "impact"] {
        let lead = if event == "address" {
            WEIGHT_N
        } else {
            at(event)
        };
        near(
            &format!("vertical_force.lead@{event}"),
            100.0 * lead / weight,
            0.2,
        );
        near(
            &format!("vertical_force.trail@{event}"),
            100.0 * WEIGHT_N / weight,
            0.2,
        );
        let share = 100.0 * lead / (lead + WEIGHT_N);
        near(&format!("vertical_share_lead@{event}"), share, 0.1);
        // Plates are centered under the feet.
        near(&format!("cop_lead_share@{event}"), share, 0.6);
    }
    assert!(
        (time("takeaway_end")..time("impact")).contains(&PUSH_S),
        "the push is where loading is read"
    );
    // The low-pass at 50 Hz takes a share of a bell that short (its width is 28 ms).
    near(
        "vertical_force_peak.lead",
        100.0 * (WEIGHT_N + 150.0) / weight,
        0.6,
    );
    near(
        "vertical_force_peak_time.lead",
        1e3 * (time("impact") - PUSH_S),
        0.3,
    );
    near(
        "loading_rate.lead",
        1e4 * 150.0 * (2.0 / 1f64.exp()).sqrt() / 2.0 / weight,
        30.0,
    );
    near("unweighting_min", 100.0 * 2.0 * WEIGHT_N / weight, 0.3);
    near("frame_loss_rate", 0.0, 0.0);
}

/// What is said of plates in intervals: the noise of the samples as the low-pass leaves it, and the
/// clock where it is not the markers' own. The numbers are those of the take's construction.
#[test]
fn noise_and_clock_of_the_plates_are_in_the_intervals() {
    let standard = |swing: &Measured, id: &str| {
        let base = Base::new(&swing.prepared).unwrap();
        let seed = uncertainty::seed(&swing.prepared);
        let draws: Vec<_> = (0..60).map(|i| uncertainty::draw(&base, seed, i)).collect();
        let summary = uncertainty::summarize((&swing.values, &[]), base.truth(), &draws);
        let index = CATALOGUE.iter().find_map(|f| {
            let n = (0..f.len()).find(|&n| f.value_id(n) == id)?;
            Some(f.first + n)
        });
        match &summary.values[index.unwrap()] {
            Some(Outcome::Spread(spread)) => spread.standard,
            other => panic!("{id}: {other:?}"),
        }
    };
    let shared = measured(&take(), false);
    // Evenly within 1 N: half of it is below 0.5 N, which a normal noise of 0.741 N would have; a tenth
    // of its power is below 50 Hz.
    let noise = 0.741 * 0.32 / (2.0 * WEIGHT_N);
    let said = standard(&shared, "vertical_force.lead@top") / noise;
    assert!((0.8..1.35).contains(&said), "{said} of what it should be");
    let alone = standard(&shared, "vertical_force_peak_time.lead");
    let apart = measured(&take(), true);
    let clock = ground(&apart).clock_uncertainty_s();
    let with_clock = standard(&apart, "vertical_force_peak_time.lead");
    println!(
        "peak's time within {alone:.6} s, with a clock within {clock:.6} s: {with_clock:.6} s"
    );
    let due = alone.hypot(clock);
    assert!(
        (0.75..1.3).contains(&(with_clock / due)),
        "{with_clock} {due}"
    );
}

/// The golfer's plates written to a C3D file and read back: the bay's forces are those of his truth,
/// also for a left-handed one; offsets are found while nobody stands there.
#[test]
fn the_golfers_plates_come_through_a_file() {
    for handed in [Handed::Right, Handed::Left] {
        let params = GolferParams {
            handed,
            ..GolferParams::from_seed(6)
        };
        let capture = CaptureParams {
            rate_hz: 240.0,
            noise_m: 0.0005,
            dropout: 0.0,
            wobble: false,
            plates: Some(PlateParams::USUAL),
        };
        let golfer = swing(&params, &capture);
        let file = c3d::read(&c3d::write(&synthetic::c3d(&golfer, &map())).unwrap()).unwrap();
        assert_eq!(file.plates.len(), 2);
        let due = feed::of_c3d(&file, Some(&map()), 1).unwrap();
        let found = crate::support::analyzed_datagrams(due, map());
        assert_eq!(found.swings.len(), 1, "{:?}", found.remarks);
        let ground = ground(&found.swings[0]);
        let weight = golfer.truth.facts.person.mass_kg.unwrap() * 9.80665;
        for name in ["address", "lead_arm_level_back", "top", "shaft_level_down"] {
            let t = golfer.truth.event(name).unwrap();
            let truth = golfer.truth.at(t);
            let told = |id: &str| truth.iter().find(|m| m.0 == id).unwrap().1 * weight;
            for (n, id) in [(0, "vertical_force.trail"), (1, "vertical_force.lead")] {
                let (_, wrench) = ground.plates[n].at((t * 1e9) as i64).unwrap();
                let up = wrench.force.y;
                assert!(
                    (up - told(id)).abs() < 12.0,
                    "{name} {id}: {up} {}",
                    told(id)
                );
            }
            let both = ground.total_at((t * 1e9) as i64, LOAD_GATE_N).unwrap();
            // A measured swing is in the golfer frame.
            let off = both.center.unwrap() - golfer.truth.standing(t);
            assert!(off.x.hypot(off.z) < 0.01, "{name}: {off:?}");
        }
    }
}
