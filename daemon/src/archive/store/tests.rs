//! The store's verbs on a file of their own.

use protocol::lesson::{About, Ask, Club, Entry, Said};

use super::super::rows::{Outcome, Place, Swing};
use super::*;
use crate::archive::test_dir;

/// 2026-06-01.
const NOW: u64 = 1_780_272_000_000_000_000;

fn student(name: &str, born: i64) -> Student {
    Student {
        id: String::new(),
        name: name.into(),
        side: Some("right".into()),
        sex: None,
        mass_kg: None,
        height_m: Some(1.7),
        born,
    }
}

fn session(student: &str) -> Session {
    Session {
        id: "south-1".into(),
        student: student.into(),
        bay: "south".into(),
        zone: "UTC".into(),
        program: "0.1.0".into(),
        began_utc_ns: NOW,
        ended_utc_ns: None,
    }
}

fn swing(recording: i64) -> Swing {
    Swing {
        block: None,
        calibration: None,
        row: 0,
        id: "south-00000001-0000000001".into(),
        session: "south-1".into(),
        kind: "shot".into(),
        handed: "right".into(),
        impact_utc_ns: NOW,
        place: Place {
            recording,
            from_ns: 1,
            to_ns: 9,
            datagrams: 5,
            digest: u32::MAX,
        },
    }
}

fn outcome(analysis: &str, report: &str) -> Outcome {
    Outcome {
        analysis: analysis.into(),
        measured_utc_ns: NOW,
        catalogue: 3,
        report: report.into(),
        metrics: vec![1, 0, 0, 0, 0],
    }
}

#[test]
fn minors_need_a_guardian_and_everyone_a_consent() {
    let mut store = Store::open(&test_dir("consent").join("store.db")).unwrap();
    let mut enroll = |born, scopes: &[&str], guardian| {
        store.enroll(&student("Ottoline Marsh", born), (scopes, guardian), NOW)
    };
    let adult = enroll(1965, &["lesson"], None).unwrap();
    let told = enroll(1965, &[], None).unwrap();
    // Eighteen this year: perhaps not yet.
    let refused = enroll(2008, &["lesson"], None).unwrap_err();
    assert_eq!(refused.code(), crate::errors::Code::ConsentMissing);
    let junior = enroll(2011, &["lesson", "research"], Some("A. Okafor")).unwrap();
    assert!(enroll(2007, &["lesson"], None).is_ok());
    assert!(enroll(1965, &["anything"], None).is_err());
    assert_ne!(adult, told, "pseudonyms differ where names do not");
    assert!(adult.starts_with("s-") && adult.len() == 12);
    let may = |id: &str, scope| store.require_consent(id, scope, NOW).is_ok();
    assert!(may(&adult, "lesson") && !may(&adult, "research"));
    assert!(!may(&told, "lesson") && may(&junior, "research"));
    assert!(!may("s-nobody", "lesson"));
}

#[test]
fn a_swing_keeps_a_result_of_each_version_and_goes_with_its_student() {
    let dir = test_dir("erase");
    let path = dir.join("store.db");
    let mut store = Store::open(&path).unwrap();
    let id = store
        .enroll(&student("Ottoline Marsh", 1965), (&["lesson"], None), NOW)
        .unwrap();
    let other = store
        .enroll(&student("Ivo Brandt", 2002), (&["lesson"], None), NOW)
        .unwrap();
    assert!(store.begin_session(&session("s-nobody")).is_err());
    store.begin_session(&session(&id)).unwrap();
    let recording = store.add_recording("south-1", "south-1.mcap").unwrap();
    let swing = swing(recording);
    store
        .add_swing(&swing, &outcome("0.1.0", "{\"first\":1}"), None)
        .unwrap();
    let mut stranger = swing.clone();
    stranger.place.from_ns += 1;
    let refused = store.add_swing(&stranger, &outcome("0.1.0", "{}"), None);
    assert!(refused.unwrap_err().to_string().contains("new epoch"));
    let key = (swing.session.as_str(), swing.id.as_str());
    assert!(store.put_result(key, &outcome("0.1.0", "revised")).unwrap());
    assert!(store.put_result(key, &outcome("0.2.0", "later")).unwrap());
    assert!(
        !store
            .put_result(("south-1", "none"), &outcome("1", ""))
            .unwrap()
    );
    let kept = store.swings(Which::Student(&id)).unwrap();
    assert_eq!(kept.len(), 1);
    assert_eq!(kept[0].place, swing.place);
    assert!(store.swings(Which::Student(&other)).unwrap().is_empty());
    let reports: Vec<_> = store.results(&kept[0]).unwrap();
    let reports: Vec<_> = reports.iter().map(|o| o.report.as_str()).collect();
    assert_eq!(reports, ["later", "revised"]);

    // A canary: the same search finds the name before and not after.
    let bytes = || -> Vec<u8> {
        let files = std::fs::read_dir(&dir).unwrap();
        files
            .flat_map(|f| std::fs::read(f.unwrap().path()).unwrap())
            .collect()
    };
    let holds = |word: &[u8]| bytes().windows(word.len()).any(|w| w == word);
    assert!(holds(b"Ottoline") && holds(b"revised") && holds(b"Ivo"));
    store.erase(&id).unwrap();
    assert!(!holds(b"Ottoline") && !holds(b"revised") && !holds(id.as_bytes()));
    assert!(holds(b"Ivo"));
    assert!(store.swings(Which::All).unwrap().is_empty());
    assert!(store.damage().unwrap().is_empty());
    assert!(store.erase(&id).is_err());
}

#[test]
fn a_damaged_page_is_found() {
    let path = test_dir("damage").join("store.db");
    let mut store = Store::open(&path).unwrap();
    for n in 0..200 {
        let name = format!("student {n} of many, to fill some pages");
        store
            .enroll(&student(&name, 1965), (&["lesson"], None), NOW)
            .unwrap();
    }
    let copy = path.with_file_name("copy.db");
    store.copy_to(&copy).unwrap();
    let mut bytes = std::fs::read(&copy).unwrap();
    let at = bytes.len() - 4096;
    bytes[at..at + 64].fill(0xa5);
    std::fs::write(&copy, bytes).unwrap();
    let found = Store::open(&copy).map(|s| s.damage());
    let clean = matches!(found, Ok(Ok(found)) if found.is_empty());
    assert!(!clean, "64 bytes of a page are wrong");
}

#[test]
fn what_was_entered_is_undone_step_by_step_and_an_undoing_too() {
    let mut store = Store::open(&test_dir("undo").join("store.db")).unwrap();
    let id = store
        .enroll(&student("Ottoline Marsh", 1965), (&["lesson"], None), NOW)
        .unwrap();
    let about = About::Student(id.clone());
    let enter = |store: &mut Store, most| {
        let ask = Ask {
            about: about.clone(),
            said: Said::FullEffortMax(Some(most)),
            who: None,
        };
        store.enter(&ask, NOW).unwrap().n
    };
    let (first, second) = (enter(&mut store, 10), enter(&mut store, 20));
    let holds = |store: &Store| {
        let all = store.holds(&id).unwrap();
        all.into_iter()
            .find(|e| e.key == "full_effort_max")
            .unwrap()
            .said
    };
    let most = |n| Some(Said::FullEffortMax(Some(n)));
    assert!(
        store.undo(first, "coach", NOW).is_err(),
        "the second one holds"
    );
    let taken = store.undo(second, "coach", NOW).unwrap().n;
    assert_eq!(holds(&store), most(10));
    // Taken back and not: the second one again.
    let redone = store.undo(taken, "coach", NOW).unwrap().n;
    assert_eq!(holds(&store), most(20));
    store.undo(redone, "coach", NOW).unwrap();
    assert_eq!(holds(&store), most(10));
    store.undo(first, "coach", NOW).unwrap();
    assert_eq!(holds(&store), None);
}

/// Entries of a student under a key, newest first.
fn told(store: &Store, student: &str, key: &str) -> Vec<Entry> {
    let mut all = store.entries(student, (i64::MAX, 100)).unwrap();
    all.retain(|e| e.key == key);
    all
}

#[test]
fn what_is_told_of_a_student_is_entered_undone_and_goes_with_the_student() {
    let dir = test_dir("told");
    let mut store = Store::open(&dir.join("store.db")).unwrap();
    let first = student("Ottoline Marsh", 1965);
    let id = store.enroll(&first, (&["lesson"], None), NOW).unwrap();
    let renamed = Student {
        id: id.clone(),
        name: "Ottoline Winterbourne".into(),
        height_m: Some(1.72),
        ..first
    };
    let entry = store.tell(&renamed, at(1)).unwrap().unwrap();
    assert_eq!(
        store.tell(&renamed, at(2)).unwrap(),
        None,
        "nothing changed"
    );
    let names = |store: &Store| -> Vec<String> {
        let said = |e: Entry| match e.said {
            Some(Said::Student(told)) => told.name,
            odd => panic!("{odd:?}"),
        };
        told(store, &id, "student").into_iter().map(said).collect()
    };
    assert_eq!(names(&store), ["Ottoline Winterbourne", "Ottoline Marsh"]);
    let newest = &told(&store, &id, "student")[0];
    assert_eq!((newest.n, newest.at_utc_ns), (entry, at(1)));
    assert_eq!(newest.who, "coach");
    let taken = store.undo(entry, "coach", at(3)).unwrap().n;
    let now = store.student(&id).unwrap();
    assert_eq!(
        (now.name.as_str(), now.height_m),
        ("Ottoline Marsh", Some(1.7))
    );
    store.undo(taken, "coach", at(4)).unwrap();
    assert_eq!(store.student(&id).unwrap(), renamed);
    let enrolled = told(&store, &id, "student").last().unwrap().n;
    store.undo(entry, "coach", at(5)).unwrap();
    let refused = store.undo(enrolled, "coach", at(6)).unwrap_err();
    assert!(refused.to_string().contains("erasing"), "{refused}");
    assert_eq!(store.student(&id).unwrap().name, "Ottoline Marsh");

    let holds = |word: &[u8]| {
        let files = std::fs::read_dir(&dir).unwrap();
        let bytes: Vec<u8> = files
            .flat_map(|f| std::fs::read(f.unwrap().path()).unwrap())
            .collect();
        bytes.windows(word.len()).any(|w| w == word)
    };
    assert!(holds(b"Winterbourne"), "the log has the other name");
    store.erase(&id).unwrap();
    assert!(!holds(b"Winterbourne") && !holds(b"Marsh"));
}

#[test]
fn a_club_that_was_added_is_told_anew_and_goes_until_it_was_chosen() {
    let mut store = Store::open(&test_dir("told-club").join("store.db")).unwrap();
    let first = student("Ottoline Marsh", 1965);
    let id = store.enroll(&first, (&["lesson"], None), NOW).unwrap();
    let club = Club {
        name: "driver".into(),
        length_m: Some(1.14),
        ..Club::default()
    };
    let driver = store.add_club(&id, &club, at(7)).unwrap();
    let about = About::Club(driver.clone());
    let added = told(&store, &id, "club")[0].n;
    let longer = Club {
        id: driver.clone(),
        length_m: Some(1.16),
        ..club.clone()
    };
    let entry = store.tell_club(&longer, at(8)).unwrap().unwrap();
    assert_eq!(store.clubs(&id).unwrap(), [longer]);
    assert!(
        store.undo(added, "coach", at(9)).is_err(),
        "told anew since"
    );
    store.undo(entry, "coach", at(9)).unwrap();
    assert_eq!(store.club(&driver).unwrap().0.length_m, Some(1.14));
    // Added by mistake, and not: the same club again.
    let gone = store.undo(added, "coach", at(10)).unwrap().n;
    assert_eq!(store.clubs(&id).unwrap(), []);
    store.undo(gone, "coach", at(11)).unwrap();
    assert_eq!(store.club(&driver).unwrap().0.name, "driver");
    let focus = Ask {
        about,
        said: Said::Focus(Vec::new()),
        who: None,
    };
    store.enter(&focus, at(12)).unwrap();
    let refused = store.undo(added, "coach", at(13)).unwrap_err();
    assert!(refused.to_string().contains("chosen already"), "{refused}");
}

/// Minutes of the lesson.
fn at(minutes: u64) -> u64 {
    NOW + minutes * 60_000_000_000
}

#[test]
fn a_block_taken_back_leaves_its_shots_to_the_one_before() {
    let mut store = Store::open(&test_dir("blocks").join("store.db")).unwrap();
    let id = store
        .enroll(&student("Ivo Brandt", 1965), (&["lesson"], None), NOW)
        .unwrap();
    store.begin_session(&session(&id)).unwrap();
    let recording = store.add_recording("south-1", "south-1.mcap").unwrap();
    let told = |purpose| (purpose, None, 10);
    let (practice, _) = store
        .begin_block("south-1", told("practice"), at(0))
        .unwrap();
    let (check, begun) = store.begin_block("south-1", told("check"), at(10)).unwrap();
    for minutes in [5, 15] {
        let swing = Swing {
            id: format!("south-00000001-00000000{minutes:02}"),
            impact_utc_ns: at(minutes),
            ..swing(recording)
        };
        store
            .add_swing(&swing, &outcome("0.1.0", "{}"), None)
            .unwrap();
    }
    let shots = |store: &Store| -> Vec<(i64, u32, bool)> {
        let blocks = store.blocks("south-1").unwrap().into_iter();
        blocks
            .map(|b| (b.id, b.shots, b.ended_utc_ns.is_some()))
            .collect()
    };
    assert_eq!(shots(&store), [(practice, 1, true), (check, 1, false)]);
    let taken = store.undo(begun, "coach", at(20)).unwrap().n;
    assert_eq!(shots(&store), [(practice, 2, false)]);
    // A block of no time of its own ends none, and takes what is moved into it.
    let (aside, made) = store
        .block_aside("south-1", told("practice"), (at(5), at(21)))
        .unwrap();
    let ask = Ask {
        about: About::Swing("south-00000001-0000000005".into()),
        said: Said::Block(aside),
        who: None,
    };
    store.enter(&ask, at(22)).unwrap();
    assert_eq!(shots(&store), [(practice, 1, false), (aside, 1, true)]);
    // It is entered as one, comes again as one, and is not the one that is ended.
    assert_eq!(store.entry(made).unwrap().said, Some(Said::Begun(false)));
    let gone = store.undo(made, "coach", at(22)).unwrap().n;
    assert_eq!(shots(&store), [(practice, 2, false)]);
    store.undo(gone, "coach", at(22)).unwrap();
    assert_eq!(shots(&store), [(practice, 1, false), (aside, 1, true)]);
    let ended = store.end_block("south-1", at(22)).unwrap().unwrap();
    assert_eq!(shots(&store), [(practice, 1, true), (aside, 1, true)]);
    store.undo(ended, "coach", at(22)).unwrap();
    store.undo(taken, "coach", at(23)).unwrap();
    assert_eq!(
        shots(&store),
        [(practice, 0, true), (aside, 1, true), (check, 1, false)]
    );
    store.end_session("south-1", at(30)).unwrap();
    assert!(shots(&store).iter().all(|(_, _, ended)| *ended));
    store.reopen_session("south-1").unwrap();
    assert_eq!(
        shots(&store).iter().filter(|(_, _, ended)| !ended).count(),
        1
    );
}
