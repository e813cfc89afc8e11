//! What the coach tells, checked, and as the text of a context.

use analysis::coaching::leaks::Leak;
use analysis::coaching::limits::Area;
use analysis::coaching::shot::Metric;
use protocol::lesson::{About, Ask, Club, Said};
use serde::Serialize;

use super::thresholds;
use crate::archive::store::Store;
use crate::archive::{ArchiveError, rows};

/// A limit that names no movement: coming back after an injury.
pub(super) const RETURNING: &str = "returning";

/// A context's text (`crate::context`) of a student, a club and a calibration table.
pub(super) fn text(
    student: &rows::Student,
    club: Option<&Club>,
    calibration: Option<&str>,
) -> String {
    #[derive(Serialize)]
    struct Text<'a> {
        version: u32,
        handed: &'a str,
        #[serde(skip_serializing_if = "Option::is_none")]
        sex: Option<&'a str>,
        #[serde(skip_serializing_if = "Option::is_none")]
        height_m: Option<f64>,
        #[serde(skip_serializing_if = "Option::is_none")]
        mass_kg: Option<f64>,
        #[serde(skip_serializing_if = "Option::is_none")]
        club: Option<Dimensions<'a>>,
    }
    #[derive(Serialize)]
    struct Dimensions<'a> {
        name: &'a str,
        #[serde(skip_serializing_if = "Option::is_none")]
        length_m: Option<f64>,
        #[serde(skip_serializing_if = "Option::is_none")]
        lie_deg: Option<f64>,
        #[serde(skip_serializing_if = "Option::is_none")]
        loft_deg: Option<f64>,
        #[serde(skip_serializing_if = "Option::is_none")]
        mass_kg: Option<f64>,
        #[serde(skip_serializing_if = "Option::is_none")]
        balance_m: Option<f64>,
        #[serde(skip_serializing_if = "Option::is_none")]
        inertia_kg_m2: Option<f64>,
    }
    let text = Text {
        version: 1,
        handed: student.side.as_deref().unwrap_or("auto"),
        sex: student.sex.as_deref(),
        height_m: student.height_m,
        mass_kg: student.mass_kg,
        club: club.map(|c| Dimensions {
            name: &c.name,
            length_m: c.length_m,
            lie_deg: c.lie_deg,
            loft_deg: c.loft_deg,
            mass_kg: c.mass_kg,
            balance_m: c.balance_m,
            inertia_kg_m2: c.inertia_kg_m2,
        }),
    };
    // Text and numbers only: it can always be written.
    let text = toml::to_string(&text).unwrap_or_default();
    match calibration {
        Some(table) => format!("{text}\n{table}"),
        None => text,
    }
}

/// Whether a student can be like that; what is wrong in words.
pub(super) fn plausible(student: &rows::Student) -> Result<(), String> {
    if student.name.is_empty() {
        return Err("a student has a name".into());
    }
    if !(1900..=2200).contains(&student.born) {
        return Err(format!("born is {}: expected a year", student.born));
    }
    for (what, value, known) in [
        ("side", &student.side, ["right", "left"]),
        ("sex", &student.sex, ["female", "male"]),
    ] {
        if let Some(value) = value
            && !known.contains(&value.as_str())
        {
            return Err(format!(
                "{what} is `{value}`: use {} or {}",
                known[0], known[1]
            ));
        }
    }
    match crate::context::parse(&text(student, None, None)) {
        Ok(_context) => Ok(()),
        Err(why) => Err(format!("{why:#}")),
    }
}

/// Whether a student's club can be like that; what is wrong in words.
pub(super) fn plausible_club(student: &rows::Student, club: &Club) -> Result<(), String> {
    if club.name.trim().is_empty() {
        return Err("a club has a name".into());
    }
    match crate::context::parse(&text(student, Some(club), None)) {
        Ok(_context) => Ok(()),
        Err(why) => Err(format!("{why:#}")),
    }
}

/// Whether an entry makes sense; what is wrong in words.
pub fn check(said: &Said) -> Result<(), String> {
    let known = |id: &str| match Metric::by_id(id) {
        Some(_) => Ok(()),
        None => Err(format!("there is no metric `{id}`: see `whin metrics`")),
    };
    match said {
        Said::Focus(metrics) if metrics.len() > 3 => Err(format!(
            "{} metrics: at most three are in focus",
            metrics.len()
        )),
        Said::Focus(metrics) => metrics.iter().try_for_each(|id| known(id)),
        Said::Keep(things) if things.len() > 2 => {
            Err(format!("{} things to keep: at most two", things.len()))
        }
        Said::Band(band) => {
            known(&band.metric)?;
            let edges: Vec<f64> = [band.low, band.aim, band.high]
                .into_iter()
                .flatten()
                .collect();
            if band.default && !edges.is_empty() {
                return Err("the default again has no edges of its own".into());
            }
            if edges.iter().any(|e| !e.is_finite()) || !edges.is_sorted() {
                return Err("a band has low, aim and high in rising order".into());
            }
            Ok(())
        }
        Said::Threshold(told) => thresholds::check(told),
        Said::Cue(cue) if Leak::from_name(&cue.leak).is_none() => {
            Err(format!("there is no leak `{}`", cue.leak))
        }
        Said::Limits(limits) => limits.iter().try_for_each(|l| {
            // What is not known would spare nobody anything.
            let known = l.movement == RETURNING || Area::from_name(&l.movement).is_some();
            let odd = || format!("there is no movement `{}` to be spared", l.movement);
            known.then_some(()).ok_or_else(odd)
        }),
        made if !made.is_entered_by_hand() => {
            Err(format!("`{}` is entered by its own verb only", made.key()))
        }
        _ => Ok(()),
    }
}

/// Whether an entry goes together with what is on file.
pub(super) fn fits(store: &Store, ask: &Ask) -> Result<(), ArchiveError> {
    let refused = |why: String| Err(ArchiveError::Unfitting(why));
    match (&ask.about, &ask.said) {
        (About::Swing(swing), Said::Block(block)) => {
            let (swing, block) = (store.swing(swing)?, store.block(*block)?);
            if swing.session != block.session {
                return refused(format!(
                    "block {} is of another lesson than {}: move it with the verb for that",
                    block.id, swing.id
                ));
            }
        }
        (About::Student(student), Said::Calibration(Some(number))) => {
            let all = store.calibrations(student)?;
            if !all.iter().any(|c| c.number == *number) {
                return refused(format!("{student} has no calibration {number}"));
            }
        }
        _ => {}
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn student() -> rows::Student {
        rows::Student {
            id: "s-1".into(),
            name: "Ivo Brandt".into(),
            side: Some("left".into()),
            sex: Some("male".into()),
            height_m: Some(1.83),
            mass_kg: Some(78.0),
            born: 2002,
        }
    }

    #[test]
    fn what_is_told_is_read_back_as_a_context() {
        let club = Club {
            name: "driver".into(),
            length_m: Some(1.14),
            mass_kg: Some(0.31),
            loft_deg: Some(10.5),
            ..Club::default()
        };
        let context = crate::context::parse(&text(&student(), Some(&club), None)).unwrap();
        assert_eq!(context.handed, analysis::handed::Handed::from_name("left"));
        assert_eq!(context.person.mass_kg, Some(78.0));
        assert_eq!(context.club.as_deref(), Some("driver"));
        assert_eq!(context.club_geometry.unwrap().mass_kg, Some(0.31));
    }

    #[test]
    fn what_cannot_be_is_refused_with_what_would() {
        plausible(&student()).unwrap();
        let tall = rows::Student {
            height_m: Some(183.0),
            ..student()
        };
        assert!(plausible(&tall).unwrap_err().contains("0.8 to 2.5"));
        let odd = rows::Student {
            side: Some("both".into()),
            ..student()
        };
        assert!(plausible(&odd).unwrap_err().contains("right or left"));
        assert!(check(&Said::Focus(vec!["speed".into()])).is_err());
        check(&Said::Focus(vec!["head_speed@impact".into()])).unwrap();
    }
}
