//! The context file: what is told about golfer and club. TOML, `version = 1`, every key optional.
//!
//! A calibration is either a trial's file (`calibration_trial`) or its numbers (`[calibration]`, in
//! `table`). What leaves `load` as text has the numbers, so that a recording needs no other file.

mod table;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use analysis::body::calibration::Calibration;
use analysis::body::inertia;
use analysis::context::{ClubGeometry, Context, Person};
use analysis::handed::Handed;
use anyhow::{Context as _, bail};
use serde::{Deserialize, Serialize};
use toml::Spanned;

use crate::errors::{Code, Wrong};
use crate::map::MarkerMap;
use crate::trial;
use table::Table;

const VERSION: u32 = 1;

/// A context file, read.
#[derive(Debug)]
pub struct Told {
    /// What it tells.
    pub context: Context,
    /// Its text with the numbers of the calibration trial in place of the trial's path.
    pub text: String,
    /// What the calibration trial gave and what not, in plain sentences.
    pub remarks: Vec<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    version: u32,
    handed: Option<String>,
    sex: Option<Sex>,
    height_m: Option<f64>,
    mass_kg: Option<f64>,
    club: Option<Club>,
    calibration_trial: Option<Spanned<PathBuf>>,
    calibration: Option<Table>,
}

/// A club by name alone (`club = "driver"`), or as a table with its dimensions.
#[derive(Debug, Deserialize)]
#[serde(
    untagged,
    expecting = "expected a name (club = \"driver\") or a table [club] with any of name, length_m, lie_deg, loft_deg, head_offset_m, mass_kg, balance_m, inertia_kg_m2"
)]
enum Club {
    Name(String),
    Dimensions(Dimensions),
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Dimensions {
    name: Option<String>,
    length_m: Option<f64>,
    lie_deg: Option<f64>,
    loft_deg: Option<f64>,
    head_offset_m: Option<f64>,
    mass_kg: Option<f64>,
    balance_m: Option<f64>,
    inertia_kg_m2: Option<f64>,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "lowercase")]
enum Sex {
    Female,
    Male,
}

/// Reads a context file; a calibration trial that it names is read with this marker map.
///
/// # Errors
/// Names file, line or key, and what would be right.
pub fn load(path: &Path, map: &MarkerMap) -> anyhow::Result<Told> {
    let text = std::fs::read_to_string(path)
        .with_context(|| format!("cannot read context {}", path.display()))?;
    let named = |error: anyhow::Error| Wrong {
        code: Code::ContextInvalid,
        message: format!("context {}: {error:#}", path.display()),
    };
    let (mut context, trial_file) = read(&text).map_err(named)?;
    let Some(trial_file) = trial_file else {
        return Ok(Told {
            context,
            text,
            remarks: Vec::new(),
        });
    };
    let beside = path.parent().unwrap_or(Path::new(""));
    let file = trial_file.get_ref();
    let found = trial::read(&beside.join(file), map)?;
    let text = with_numbers(&text, &trial_file, &found.trial.calibration)?;
    context.calibration = Some(found.trial.calibration);
    let said = found.trial.notes.iter().chain(&found.remarks);
    Ok(Told {
        context,
        text,
        remarks: said
            .map(|n| format!("calibration trial {}: {n}", file.display()))
            .collect(),
    })
}

/// Reads a context from its text alone.
///
/// # Errors
/// Names line or key, and what would be right.
pub fn parse(text: &str) -> anyhow::Result<Context> {
    match read(text)? {
        (context, None) => Ok(context),
        (_, Some(_)) => bail!(
            "calibration_trial names a file, which this text cannot bring: use the [calibration] table that `whin calibrate --toml` prints"
        ),
    }
}

/// The `[calibration]` table of a calibration.
///
/// # Errors
/// Never for numbers; the writer's signature has one.
pub fn calibration_table(calibration: &Calibration) -> anyhow::Result<String> {
    #[derive(Serialize)]
    struct Only {
        calibration: Table,
    }
    Ok(toml::to_string(&Only {
        calibration: Table::of(calibration),
    })?)
}

/// The text with the trial's line made a comment and its numbers at the end.
fn with_numbers(
    text: &str,
    trial: &Spanned<PathBuf>,
    calibration: &Calibration,
) -> anyhow::Result<String> {
    let span = trial.span();
    let start = text[..span.start].rfind('\n').map_or(0, |n| n + 1);
    let end = text[span.end..]
        .find('\n')
        .map_or(text.len(), |n| span.end + n);
    Ok(format!(
        "{}# calibration_trial {:?}: its numbers are in [calibration]{}\n\n{}",
        &text[..start],
        trial.get_ref(),
        text[end..].trim_end_matches('\n'),
        calibration_table(calibration)?
    ))
}

fn read(text: &str) -> anyhow::Result<(Context, Option<Spanned<PathBuf>>)> {
    let file: File = toml::from_str(text)?;
    if file.version != VERSION {
        bail!(
            "version {} is not known, this program reads {VERSION}",
            file.version
        );
    }
    if file.calibration_trial.is_some() && file.calibration.is_some() {
        bail!("calibration_trial and [calibration] both tell the calibration: keep one");
    }
    let handed = match file.handed.as_deref() {
        None | Some("auto") => None,
        Some(name) => match Handed::from_name(name) {
            None => bail!("handed is `{name}`: use right, left or auto"),
            found => found,
        },
    };
    let (club, club_geometry) = match file.club {
        None => (None, None),
        Some(Club::Name(name)) => (Some(name), None),
        Some(Club::Dimensions(d)) => (d.name.clone(), Some(geometry(&d)?)),
    };
    let calibration = file.calibration.as_ref().map(|table| {
        let told = table.calibration();
        told.map_err(|why| anyhow::anyhow!("[calibration]: {why}"))
    });
    let context = Context {
        handed,
        person: Person {
            sex: file.sex.map(|s| match s {
                Sex::Female => inertia::Sex::Female,
                Sex::Male => inertia::Sex::Male,
            }),
            height_m: within("height_m", file.height_m, 0.8..=2.5)?,
            mass_kg: within("mass_kg", file.mass_kg, 15.0..=300.0)?,
        },
        club,
        club_geometry,
        calibration: calibration.transpose()?,
        late_ns: BTreeMap::new(),
        approximate: Vec::new(),
    };
    Ok((context, file.calibration_trial))
}

fn geometry(told: &Dimensions) -> anyhow::Result<ClubGeometry> {
    let degrees = |v: Option<f64>| v.map(f64::to_radians);
    Ok(ClubGeometry {
        length_m: within("club.length_m", told.length_m, 0.5..=1.3)?,
        lie_rad: degrees(within("club.lie_deg", told.lie_deg, 40.0..=80.0)?),
        loft_rad: degrees(within("club.loft_deg", told.loft_deg, 0.0..=70.0)?),
        head_offset_m: within("club.head_offset_m", told.head_offset_m, 0.0..=0.15)?,
        mass_kg: within("club.mass_kg", told.mass_kg, 0.1..=1.0)?,
        balance_m: within("club.balance_m", told.balance_m, 0.3..=1.2)?,
        inertia_kg_m2: within("club.inertia_kg_m2", told.inertia_kg_m2, 0.005..=0.2)?,
    })
}

fn within(
    key: &str,
    value: Option<f64>,
    range: std::ops::RangeInclusive<f64>,
) -> anyhow::Result<Option<f64>> {
    match value {
        Some(v) if !range.contains(&v) => bail!(
            "{key} is {v}: expected {} to {}",
            range.start(),
            range.end()
        ),
        fine => Ok(fine),
    }
}

#[cfg(test)]
mod tests;
