//! The demo's invented people and bays.

use protocol::lesson::Club;

use crate::archive::rows::Student;
use crate::archive::store::Store;
use crate::config::{Config, Further};

/// What people in bays beyond the three students are called, before their number.
const VISITOR: &str = "Visitor ";

/// A student of the scenario.
struct Invented {
    name: &'static str,
    side: &'static str,
    sex: &'static str,
    born: i64,
    guardian: Option<&'static str>,
}

const STUDENTS: [Invented; 3] = [
    Invented {
        name: "Ottoline Marsh",
        side: "right",
        sex: "female",
        born: 1965,
        guardian: None,
    },
    Invented {
        name: "Ivo Brandt",
        side: "left",
        sex: "male",
        born: 2002,
        guardian: None,
    },
    Invented {
        name: "Tamsin Okafor-Lee",
        side: "right",
        sex: "female",
        born: 2011,
        guardian: Some("a guardian"),
    },
];

/// Clubs of everybody.
const CLUBS: [&str; 3] = ["7-iron", "5-wood", "driver"];

/// The bays of the hall, `config` being the first: each on a port of its own.
pub(super) fn hall(mut config: Config, bays: u32) -> anyhow::Result<Vec<Config>> {
    let named = |id: &str| id.to_owned().try_into().map_err(anyhow::Error::msg);
    config.bay.id = named("north")?;
    config.bay.name = "Whin Hollow Studio, bay North".into();
    config.udp.listen.set_port(0);
    for number in 2..=bays {
        let (id, name) = match number {
            2 => ("south".to_owned(), "South".to_owned()),
            _ => (format!("bay-{number}"), number.to_string()),
        };
        config.bays.push(Further {
            name: Some(format!("Whin Hollow Studio, bay {name}")),
            ..Further::new(named(&id)?, config.udp.listen)
        });
    }
    Ok(config.each())
}

/// Which golfer of the scenario a name is.
pub(super) fn number(name: &str) -> u64 {
    let known = STUDENTS.iter().position(|s| s.name == name);
    let visitor = name.strip_prefix(VISITOR).and_then(|n| n.parse().ok());
    known.map(|n| n as u64).or(visitor).unwrap_or(0)
}

/// The students of the scenario with their clubs, enrolled once, and a visitor for each bay beyond them. Gives
/// the identifiers of those who stand in the bays, in the bays' order.
pub(super) fn students(
    store: &mut Store,
    bays: u32,
    now_utc_ns: u64,
) -> anyhow::Result<Vec<String>> {
    let known = store.students()?;
    let invented = STUDENTS.iter().map(|s| (s.name.to_owned(), s));
    let beyond =
        (STUDENTS.len() as u32 + 1..=bays).map(|n| (format!("{VISITOR}{n}"), &STUDENTS[0]));
    let mut ids = Vec::new();
    for (name, invented) in invented.chain(beyond) {
        if let Some(known) = known.iter().find(|s| s.name == name) {
            ids.push(known.id.clone());
            continue;
        }
        let student = Student {
            id: String::new(),
            name,
            side: Some(invented.side.into()),
            sex: Some(invented.sex.into()),
            height_m: None,
            mass_kg: None,
            born: invented.born,
        };
        let consent = (&["lesson"][..], invented.guardian);
        let id = store.enroll(&student, consent, now_utc_ns)?;
        for club in CLUBS {
            let club = Club {
                name: club.into(),
                ..Club::default()
            };
            store.add_club(&id, &club, now_utc_ns)?;
        }
        ids.push(id);
    }
    ids.truncate(bays as usize);
    Ok(ids)
}
