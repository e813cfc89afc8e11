//! What is kept of golfers is what their swings say, after every kind of change.

use analysis::coaching::cohort::{Cohort, Filter, Row, TooFew};
use analysis::coaching::shot::Shot;
use protocol::lesson::{Ask, Club, Student};

use super::*;
use crate::archive::rows::{Outcome, Place, Session, Swing, Which};
use crate::archive::store::Find;
use crate::archive::test_dir;
use crate::coach::shots;

/// 2026-06-01.
const NOW: u64 = 1_780_272_000_000_000_000;
const DAY: u64 = 86_400_000_000_000;
const GOLFERS: u64 = 40;

/// Two numbers of the catalogue and head speed, all different.
fn packed(n: u64) -> Vec<u8> {
    let values: Vec<f64> = (0..=Metric::of(&HEAD_SPEED).index())
        .map(|at| match at {
            at if at == Metric::of(&HEAD_SPEED).index() => 30.0 + (n * 7919 % 200) as f64 / 10.0,
            at if at < 3 => (n * 104_729 % 10_007) as f64 / 100.0 + at as f64,
            _ => f64::NAN,
        })
        .collect();
    let mut blob = vec![1];
    blob.extend((values.len() as u16).to_le_bytes());
    blob.extend(values.iter().flat_map(|v| v.to_le_bytes()));
    blob.extend(values.iter().flat_map(|_| f64::NAN.to_le_bytes()));
    blob.extend(values.iter().flat_map(|_| [0, 0]));
    blob.extend(values.iter().map(|v| if v.is_nan() { 2 } else { 0 }));
    blob.extend([0, 0]);
    blob
}

fn outcome(n: u64, analysis: &str) -> Outcome {
    Outcome {
        analysis: analysis.into(),
        measured_utc_ns: NOW + n,
        catalogue: 3,
        report: "{}".into(),
        metrics: packed(n),
    }
}

fn name(golfer: u64, shot: u64) -> String {
    format!("bay-{golfer:08}-{shot:010}")
}

/// Files a shot of a golfer, on a day after [`NOW`].
fn file(store: &mut Store, (golfer, shot): (u64, u64), day: u64) {
    let session = format!("bay-{golfer}");
    let recording = store.recordings(Which::Session(&session)).unwrap()[0].id;
    let swing = Swing {
        block: None,
        calibration: None,
        row: 0,
        id: name(golfer, shot),
        session,
        kind: if shot == 2 { "swing" } else { "shot" }.into(),
        handed: if (golfer + shot).is_multiple_of(3) {
            "left"
        } else {
            "right"
        }
        .into(),
        impact_utc_ns: NOW + day * DAY + shot,
        place: Place {
            recording,
            from_ns: 10 * shot,
            to_ns: 10 * shot + 9,
            datagrams: 5,
            digest: 0,
        },
    };
    let outcome = outcome(100 * golfer + shot, ANALYSIS);
    store.add_swing(&swing, &outcome, None).unwrap();
}

/// Golfers with two clubs and shots in two years.
fn filled(store: &mut Store) -> Vec<String> {
    let mut all = Vec::new();
    for golfer in 0..GOLFERS {
        let told = Student {
            id: String::new(),
            name: format!("Golfer {golfer}"),
            side: None,
            sex: Some(if golfer % 5 == 0 { "female" } else { "male" }.into()),
            height_m: None,
            mass_kg: None,
            born: 1960 + golfer as i64,
        };
        let consents: &[&str] = if golfer == 9 {
            &["lesson"]
        } else {
            &["research"]
        };
        let student = store.enroll(&told, (consents, None), NOW).unwrap();
        let session = Session {
            id: format!("bay-{golfer}"),
            student: student.clone(),
            bay: "bay".into(),
            zone: "UTC".into(),
            program: "0".into(),
            began_utc_ns: NOW,
            ended_utc_ns: None,
        };
        store.begin_session(&session).unwrap();
        store
            .add_recording(&session.id, &format!("bay-{golfer}.mcap"))
            .unwrap();
        for (n, club) in ["driver", "7-iron"].into_iter().enumerate() {
            let club = Club {
                name: club.into(),
                ..Club::default()
            };
            let club = store.add_club(&student, &club, NOW).unwrap();
            let begins = NOW + n as u64 * 250 * DAY;
            store
                .begin_block(&session.id, ("practice", Some(&club), 10), begins)
                .unwrap();
        }
        for shot in 0..4 + golfer % 3 {
            file(store, (golfer, shot), 1 + 100 * shot);
        }
        all.push(student);
    }
    all
}

/// Every swing of the archive as the definition of a cohort takes them.
fn rows(store: &Store) -> Vec<Row> {
    let mut rows = Vec::new();
    let mut number = 0;
    for student in store.students().unwrap() {
        let consents = store.consents(&student.id).unwrap();
        let given = |scope: &str| {
            consents
                .iter()
                .any(|c| c.scope == scope && c.withdrawn_utc_ns.is_none())
        };
        if !given("research") {
            continue;
        }
        let out = excluded(store, &student.id).unwrap();
        let find = Find {
            student: Some(student.id.clone()),
            ..Find::default()
        };
        for found in store.find(&find, None, 1_000).unwrap() {
            if out.contains(&found.id) || !["shot", "swing"].contains(&found.kind.as_str()) {
                continue;
            }
            let newest = store.results_of(&found.id).unwrap().remove(0);
            let shot: Shot =
                shots::shot(&values::unpack(&newest.metrics, catalogue::len()).unwrap());
            rows.push(Row {
                golfer: number,
                consented: true,
                club: found.club,
                handed: Handed::from_name(&found.handed),
                sex: student.sex.as_deref().and_then(sex),
                age: u32::try_from(date::year(found.impact_utc_ns) - student.born).ok(),
                head_speed: shot.value(Metric::of(&HEAD_SPEED)),
                analysis: u32::from(newest.analysis == ANALYSIS),
                marker_map: 0,
                shot,
            });
        }
        number += 1;
    }
    rows
}

fn questions() -> Vec<Golfers> {
    let all = Golfers::default;
    let club = |name: &str| Golfers {
        club: Some(name.into()),
        ..all()
    };
    vec![
        all(),
        club("driver"),
        club("7-iron"),
        club("mid-iron"),
        Golfers {
            side: Some("left".into()),
            ..all()
        },
        Golfers {
            age: Some((30, 58)),
            ..all()
        },
        Golfers {
            age: Some((0, 60)),
            sex: Some("male".into()),
            ..club("driver")
        },
        Golfers {
            head_speed: Some((36.0, 44.0)),
            ..all()
        },
    ]
}

/// A cohort in words, without the golfers' running numbers: who counts is the same, from where is not.
fn told(cohort: &Result<Cohort, TooFew>) -> String {
    let text = format!("{cohort:?}");
    let each = text
        .split("], ")
        .map(|golfer| golfer.split_once(": [").map_or(golfer, |g| g.1));
    each.collect::<Vec<_>>().join("\n").replace("None, ", "")
}

/// Where two texts part, short enough to read: hundreds of metrics of forty golfers are not.
fn apart(kept: &str, anew: &str) -> String {
    let same = kept
        .bytes()
        .zip(anew.bytes())
        .take_while(|(a, b)| a == b)
        .count();
    let near = |text: &str| {
        text.get(same.saturating_sub(60)..same + 60)
            .map(str::to_owned)
    };
    format!("kept …{:?}…, anew …{:?}…", near(kept), near(anew))
}

/// Asks twice and compares with the swings; gives how large the cohorts are.
#[track_caller]
fn right(store: &Store) -> Vec<usize> {
    let rows = rows(store);
    let mut sizes = Vec::new();
    for asked in questions() {
        let filter = Filter {
            analysis: 1,
            marker_map: 0,
            club: asked.club.clone(),
            handed: asked.side.as_deref().and_then(Handed::from_name),
            sex: asked.sex.as_deref().and_then(sex),
            age: asked.age,
            head_speed: asked.head_speed,
            student: None,
        };
        let anew = Cohort::of(&rows, &filter);
        for round in 0..2 {
            let (golfers, _) = golfers(store, &asked, None).unwrap();
            let kept = Cohort::of_golfers(golfers, &filter);
            let (kept, anew) = (told(&kept), told(&anew));
            assert!(
                kept == anew,
                "{asked:?}, round {round}: {}",
                apart(&kept, &anew)
            );
            assert!(!freshen(store, &asked).unwrap());
        }
        sizes.push(anew.map_or_else(|few| few.golfers, |made| made.len()));
    }
    sizes
}

fn due(store: &Store) -> Vec<String> {
    let ever = Selection::of(&Golfers::default());
    store
        .golfers_without((&ever.key(), &analysis()), None, 99)
        .unwrap()
}

#[test]
fn what_is_kept_is_what_the_swings_say_after_every_change() {
    let path = test_dir("medians").join("store.db");
    let mut store = Store::open(&path).unwrap();
    let students = filled(&mut store);
    let sizes = right(&store);
    assert_eq!(
        sizes[..3],
        [39, 39, 39],
        "all but the one who did not agree"
    );
    assert_eq!(sizes[3], 0, "nobody has such a club");
    // Years and sex leave some out, and enough in.
    assert!(
        sizes[5..7].iter().all(|n| (20..39).contains(n)),
        "{sizes:?}"
    );
    assert!(due(&store).is_empty());

    // Filed by another connection, as the archive's thread does: one golfer is made anew.
    file(&mut Store::open(&path).unwrap(), (3, 7), 5);
    assert_eq!(due(&store), [students[3].clone()]);
    right(&store);
    // Measured again: by this version, and by another one, whose values do not count.
    assert!(
        store
            .put_result(("bay-4", &name(4, 0)), &outcome(9_001, ANALYSIS))
            .unwrap()
    );
    assert!(
        store
            .put_result(("bay-5", &name(5, 0)), &outcome(9_002, "9.9.9"))
            .unwrap()
    );
    assert_eq!(due(&store).len(), 2);
    right(&store);
    // Taken out and put back.
    let exclude = Ask {
        about: About::Swing(name(6, 1)),
        said: Said::Excluded(Some("the phone rang".into())),
        who: None,
    };
    let entry = store.enter(&exclude, NOW).unwrap();
    assert_eq!(due(&store), [students[6].clone()]);
    right(&store);
    store.undo(entry.n, "coach", NOW).unwrap();
    assert_eq!(due(&store), [students[6].clone()]);
    right(&store);
}

#[test]
fn what_is_kept_follows_moves_clubs_and_consents() {
    let path = test_dir("medians-moved").join("store.db");
    let mut store = Store::open(&path).unwrap();
    let students = filled(&mut store);
    let swing = |store: &Store, golfer, shot| store.swing(&name(golfer, shot)).unwrap();
    right(&store);
    // Moved to another student and back.
    let moved = swing(&store, 7, 2);
    let to = store.recordings(Which::Session("bay-8")).unwrap()[0].id;
    let entry = store.move_swing(&moved, ("bay-8", to, None), NOW).unwrap();
    assert_eq!(due(&store).len(), 2);
    right(&store);
    store.move_back(&swing(&store, 7, 2), entry, NOW).unwrap();
    assert_eq!(due(&store).len(), 2);
    right(&store);
    // To another block, so another club; a block taken back; a club with another name.
    let iron = store.blocks("bay-10").unwrap()[1].id;
    let ask = Ask {
        about: About::Swing(name(10, 0)),
        said: Said::Block(iron),
        who: None,
    };
    store.enter(&ask, NOW).unwrap();
    let second = About::Block(store.blocks("bay-11").unwrap()[1].id);
    let entries = store.entries(&students[11], (i64::MAX, 100)).unwrap();
    let begun = entries
        .iter()
        .find(|e| e.about == second && e.key == "begun");
    store.undo(begun.unwrap().n, "coach", NOW).unwrap();
    let mut club = store.clubs(&students[12]).unwrap().remove(0);
    club.name = "mid-iron".into();
    store.tell_club(&club, NOW).unwrap();
    assert_eq!(due(&store).len(), 3);
    right(&store);
    // Told of another year of birth, which no medians rest on.
    let mut told = store.student(&students[13]).unwrap();
    told.born += 10;
    store.tell(&told, NOW).unwrap();
    right(&store);
    // Consent withdrawn, given, given for the first time.
    store.withdraw(&students[14], "research", NOW).unwrap();
    assert_eq!(right(&store)[0], 38);
    store
        .consent(&students[14], ("research", None), NOW)
        .unwrap();
    store
        .consent(&students[9], ("research", None), NOW)
        .unwrap();
    assert_eq!(due(&store).len(), 2);
    assert_eq!(right(&store)[0], 40);
    assert!(store.damage().unwrap().is_empty());
}

/// Medians of an even number of shots are in no shot: a search for their bytes finds what is kept and nothing else.
#[test]
fn nothing_of_an_erased_golfer_is_kept() {
    let dir = test_dir("medians-erased");
    let mut store = Store::open(&dir.join("store.db")).unwrap();
    let students = filled(&mut store);
    right(&store);
    let key = Selection::of(&Golfers::default()).key();
    let kept = |student: &str| {
        store
            .medians(student, (&key, &analysis()))
            .unwrap()
            .unwrap()
    };
    let bytes = [0, 3].map(|n: usize| {
        let kept = kept(&students[n]);
        assert_eq!(kept.swings % 2, 0);
        kept.medians[0].to_le_bytes()
    });
    let found = |needle: [u8; 8]| {
        let files = std::fs::read_dir(&dir)
            .unwrap()
            .map(|f| std::fs::read(f.unwrap().path()).unwrap());
        files
            .map(|f| f.windows(8).filter(|w| *w == needle).count())
            .sum::<usize>()
    };
    assert!(bytes.iter().all(|b| found(*b) > 0));
    store.erase(&students[3]).unwrap();
    assert_eq!((found(bytes[0]) > 0, found(bytes[1])), (true, 0));
    right(&store);
}
