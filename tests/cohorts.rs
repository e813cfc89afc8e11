//! What separates two groups of an archive's golfers, by the public API beside SciPy. The archive is written as the
//! program writes it; who must not count is in it too.

use std::path::Path;

use analysis::coaching::shot::Metric;
use daemon::archive::Archive;
use daemon::archive::rows::{Outcome, Place, Session, Student, Swing};
use protocol::lesson::{About, Ask, Club, Said};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};
use serde_json::{Value, json};

use crate::bay::Bay;
use crate::http::{Api, ask};
use crate::support::{python, scratch};

/// 2026-06-01.
const NOW: u64 = 1_780_272_000_000_000_000;
const SPEED: &str = "head_speed@impact";
/// The last one is told by two golfers only.
const METRICS: [&str; 5] = [
    "pelvis_shift@takeaway_end",
    "separation@top",
    "tempo_ratio",
    "pelvis_rotation@impact",
    "thorax_rotation@top",
];

/// A golfer of the archive.
struct Golfer {
    fast: bool,
    consented: bool,
    /// Version of the program that measured; empty: today's.
    analysis: &'static str,
    swings: usize,
    club: &'static str,
}

impl Golfer {
    fn usual(n: usize) -> Self {
        Self {
            fast: n % 2 == 0,
            consented: true,
            analysis: "",
            // Frequent golfers count no more than others.
            swings: if n == 4 { 41 } else { 3 + 2 * (n % 2) },
            club: "driver",
        }
    }
}

/// The values of a swing as a row of results has them (`daemon::archive::values`, format 1).
fn packed(values: &[(&str, f64)]) -> Vec<u8> {
    let ids: Vec<String> = Metric::all().map(|m| m.id()).collect();
    let value = |id: &String| values.iter().find(|(of, _)| of == id).map(|v| v.1);
    let mut blob = vec![1];
    blob.extend((ids.len() as u16).to_le_bytes());
    for id in &ids {
        blob.extend(value(id).unwrap_or(f64::NAN).to_le_bytes());
    }
    blob.extend(ids.iter().flat_map(|_| f64::NAN.to_le_bytes()));
    blob.extend(ids.iter().flat_map(|_| [0, 0]));
    blob.extend(ids.iter().map(|id| if value(id).is_some() { 0 } else { 2 }));
    blob.extend([0, 0]);
    blob
}

/// About normal: Irwin–Hall.
fn normal(rng: &mut ChaCha8Rng) -> f64 {
    let one = |rng: &mut ChaCha8Rng| (rng.next_u64() >> 11) as f64 / (1_u64 << 53) as f64;
    (0..12).map(|_| one(rng)).sum::<f64>() - 6.0
}

/// One golfer with a lesson; gives the values of each swing by metric, and the student.
fn add(
    archive: &mut Archive,
    (n, golfer): (usize, &Golfer),
    rng: &mut ChaCha8Rng,
) -> (String, Vec<Vec<(&'static str, f64)>>) {
    let store = &mut archive.store;
    let student = Student {
        id: String::new(),
        name: format!("Golfer {n}"),
        side: Some("right".into()),
        sex: Some(if n % 3 == 0 { "female" } else { "male" }.into()),
        height_m: None,
        mass_kg: None,
        born: 1970,
    };
    let scopes: &[&str] = if golfer.consented {
        &["lesson", "research"]
    } else {
        &["lesson"]
    };
    let student = store.enroll(&student, (scopes, None), NOW).unwrap();
    let club = Club {
        name: golfer.club.into(),
        ..Club::default()
    };
    let club = store.add_club(&student, &club, NOW).unwrap();
    let session = Session {
        id: format!("bay-{n}"),
        student: student.clone(),
        bay: "bay".into(),
        zone: "UTC".into(),
        program: "0".into(),
        began_utc_ns: NOW,
        ended_utc_ns: None,
    };
    store.begin_session(&session).unwrap();
    let file = format!("bay-{n}.mcap");
    let recording = store.add_recording(&session.id, &file).unwrap();
    let told = ("practice", Some(club.as_str()), 10);
    store.begin_block(&session.id, told, NOW).unwrap();
    let own: Vec<f64> = METRICS.iter().map(|_| normal(rng)).collect();
    let speed = if golfer.fast { 46.0 } else { 36.0 } + 1.5 * normal(rng).clamp(-2.0, 2.0);
    let mut all = Vec::new();
    for swing in 0..golfer.swings {
        let mut values = vec![(SPEED, speed + 0.2 * normal(rng))];
        for (at, id) in METRICS.into_iter().enumerate() {
            let apart = [0.06, 0.0, 0.0, 0.5, 0.0][at] * f64::from(u8::from(golfer.fast));
            let size = [0.03, 8.0, 0.4, 5.0, 6.0][at];
            let value =
                size * (own[at] + 0.3 * normal(rng)) + apart * if at == 0 { 1.0 } else { size };
            // Whole multiples: golfers tie.
            let value = if id == "tempo_ratio" {
                (value / 0.25).round() * 0.25
            } else {
                value
            };
            if at < 4 || n < 2 {
                values.push((id, value));
            }
        }
        let at = NOW + (swing as u64 + 1) * 60_000_000_000;
        let row = Swing {
            block: None,
            calibration: None,
            row: 0,
            id: format!("bay-{n:08}-{swing:010}"),
            session: session.id.clone(),
            kind: "shot".into(),
            handed: "right".into(),
            impact_utc_ns: at,
            place: Place {
                recording,
                from_ns: 10 * swing as u64,
                to_ns: 10 * swing as u64 + 9,
                datagrams: 5,
                digest: 0,
            },
        };
        let outcome = Outcome {
            analysis: match golfer.analysis {
                "" => env!("CARGO_PKG_VERSION").into(),
                other => other.into(),
            },
            measured_utc_ns: at,
            catalogue: Metric::all().count() as u32,
            report: "{}".into(),
            metrics: packed(&values),
        };
        store.add_swing(&row, &outcome, None).unwrap();
        all.push(values);
    }
    store
        .end_session(&session.id, NOW + 86_400_000_000_000)
        .unwrap();
    (student, all)
}

/// The archive; what must count of either group, and the student who is compared.
fn written(dir: &Path) -> (Value, String) {
    let mut archive = Archive::create(dir).unwrap();
    let mut rng = ChaCha8Rng::seed_from_u64(41);
    let mut groups = [json!({}), json!({})];
    for group in &mut groups {
        for id in METRICS {
            group[id] = json!([]);
        }
    }
    for n in 0..46 {
        let golfer = Golfer::usual(n);
        let (_, mut swings) = add(&mut archive, (n, &golfer), &mut rng);
        if n == 7 {
            // A shot that does not count, far off.
            let ask = Ask {
                about: About::Swing(format!("bay-{n:08}-{:010}", 0)),
                said: Said::Excluded(Some("the phone rang".into())),
                who: None,
            };
            archive.store.enter(&ask, NOW).unwrap();
            swings.remove(0);
        }
        for id in METRICS {
            let of = |swing: &Vec<(&str, f64)>| swing.iter().find(|v| v.0 == id).map(|v| v.1);
            let values: Vec<f64> = swings.iter().filter_map(of).collect();
            if !values.is_empty() {
                let group = &mut groups[usize::from(golfer.fast)][id];
                group.as_array_mut().unwrap().push(json!(values));
            }
        }
    }
    // Nobody of these counts: no consent, another version, another club; and who is compared.
    let spoilt = [
        Golfer {
            consented: false,
            ..Golfer::usual(50)
        },
        Golfer {
            analysis: "0.0.1",
            ..Golfer::usual(52)
        },
        Golfer {
            club: "7-iron",
            ..Golfer::usual(54)
        },
    ];
    for (n, golfer) in spoilt.iter().enumerate() {
        add(&mut archive, (50 + n, golfer), &mut rng);
    }
    let (student, _) = add(&mut archive, (60, &Golfer::usual(60)), &mut rng);
    (json!(groups), student)
}

fn near(ours: &Value, theirs: &Value, within: f64) {
    let (ours, theirs) = (ours.as_f64().unwrap(), theirs.as_f64().unwrap());
    assert!((ours - theirs).abs() < within, "{ours} {theirs}");
}

/// Deltas, their intervals and adjusted p-values are those of `SciPy` over per-golfer medians, ranked by size; too few
/// golfers and odd questions are refused in words.
#[test]
fn what_separates_two_groups_is_what_scipy_finds_over_golfers_medians() {
    let scratch = scratch("cohorts");
    let (groups, student) = written(&scratch.join("archive"));
    let dir = scratch.join("archive");
    let bay = Bay::start("whin_32", &["--archive", dir.to_str().unwrap()]);
    let api = Api(bay.http);
    let path = "/api/v1/cohorts/separates";
    let listed = METRICS.join(",");
    let told = api.get(&format!(
        "{path}?a_club=driver&a_speed_to=41&b_club=driver&b_speed_from=41&student={student}&metrics={listed},{SPEED}"
    ));
    assert_eq!(told["golfers"], json!([23, 23]), "{told}");
    let words = told["words"].as_str().unwrap();
    for word in ["height", "sex", "age", "no targets", "no cause"] {
        assert!(words.contains(word), "{words}");
    }
    let input = scratch.join("groups.json");
    let asked = json!({ "groups": groups, "metrics": &METRICS[..4] });
    std::fs::write(&input, asked.to_string()).unwrap();
    let reference = python("reference/groups.py", &[input.as_os_str()]);
    let reference: Value = serde_json::from_str(&reference).unwrap();
    let rows = told["rows"].as_array().unwrap();
    // Not what few tell, nor what the groups were chosen by.
    assert_eq!(rows.len(), 4, "{told}");
    for row in rows {
        let theirs = &reference[row["metric"].as_str().unwrap()];
        near(&row["delta"], &theirs["delta"], 1e-12);
        near(&row["low"], &theirs["interval"][0], 1e-9);
        near(&row["high"], &theirs["interval"][1], 1e-9);
        near(&row["q"], &theirs["q"], 1e-9);
        assert_eq!(row["found"], theirs["q"].as_f64().unwrap() <= 0.05);
        for n in 0..2 {
            near(&row["medians"][n], &theirs["medians"][n], 2e-6);
            assert_eq!(row["golfers"][n], 23);
        }
    }
    let size = |row: &Value| row["delta"].as_f64().unwrap().abs();
    assert!(rows.is_sorted_by(|a, b| size(a) >= size(b)));
    assert_eq!(
        (&rows[0]["metric"], &rows[0]["found"]),
        (&json!(METRICS[0]), &json!(true))
    );

    // With the student, who agreed, there is one more.
    let with = api.get(&format!(
        "{path}?a_club=driver&a_speed_to=41&b_club=driver&b_speed_from=41"
    ));
    assert_eq!(with["golfers"], json!([23, 24]));
    let few = api.get(&format!(
        "{path}?a_club=driver&a_sex=female&b_club=driver&b_sex=male"
    ));
    assert_eq!((&few["rows"], &few["golfers"][0]), (&json!([]), &json!(17)));
    assert!(
        few["words"]
            .as_str()
            .unwrap()
            .starts_with("Too few: 17 golfers"),
        "{few}"
    );
    // Who is in both is in neither.
    let same = api.get(&format!("{path}?a_club=driver&b_club=driver"));
    assert_eq!(same["golfers"], json!([0, 0]));
    assert!(
        same["words"].as_str().unwrap().starts_with("Too few: 0"),
        "{same}"
    );
    for odd in ["a_sex=both", "b_side=up", "metrics=speed", "a_age_from=old"] {
        let (status, refused) = ask(api.0, "GET", &format!("{path}?{odd}"), None);
        assert!((400..500).contains(&status), "{odd}: {refused}");
    }
    assert_eq!(bay.stop(), Some(0));
}
