//! The context file: what is told about golfer and club. TOML, `version = 1`, every key optional.

use std::path::Path;

use analysis::context::{ClubGeometry, Context};
use analysis::handed::Handed;
use anyhow::{Context as _, bail};
use serde::Deserialize;

const VERSION: u32 = 1;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    version: u32,
    handed: Option<String>,
    sex: Option<Sex>,
    height_m: Option<f64>,
    mass_kg: Option<f64>,
    club: Option<Club>,
}

/// A club by name alone (`club = "driver"`), or as a table with its dimensions.
#[derive(Debug, Deserialize)]
#[serde(
    untagged,
    expecting = "expected a name (club = \"driver\") or a table [club] with any of name, length_m, lie_deg, loft_deg, head_offset_m"
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
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "lowercase")]
enum Sex {
    Female,
    Male,
}

/// Reads a context file.
///
/// # Errors
/// Names file, line or key, and what would be right.
pub fn load(path: &Path) -> anyhow::Result<(Context, String)> {
    let text = std::fs::read_to_string(path)
        .with_context(|| format!("cannot read context {}", path.display()))?;
    let context = parse(&text).with_context(|| format!("context {}", path.display()))?;
    Ok((context, text))
}

/// Reads a context from its text.
///
/// # Errors
/// Names line or key, and what would be right.
pub fn parse(text: &str) -> anyhow::Result<Context> {
    let file: File = toml::from_str(text)?;
    if file.version != VERSION {
        bail!(
            "version {} is not known, this program reads {VERSION}",
            file.version
        );
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
    Ok(Context {
        handed,
        sex: file.sex.map(|s| {
            if matches!(s, Sex::Female) {
                "female"
            } else {
                "male"
            }
            .to_owned()
        }),
        height_m: within("height_m", file.height_m, 0.8..=2.5)?,
        mass_kg: within("mass_kg", file.mass_kg, 15.0..=300.0)?,
        club,
        club_geometry,
        calibration: None,
        approximate: Vec::new(),
    })
}

fn geometry(told: &Dimensions) -> anyhow::Result<ClubGeometry> {
    let degrees = |v: Option<f64>| v.map(f64::to_radians);
    Ok(ClubGeometry {
        length_m: within("club.length_m", told.length_m, 0.5..=1.3)?,
        lie_rad: degrees(within("club.lie_deg", told.lie_deg, 40.0..=80.0)?),
        loft_rad: degrees(within("club.loft_deg", told.loft_deg, 0.0..=70.0)?),
        head_offset_m: within("club.head_offset_m", told.head_offset_m, 0.0..=0.15)?,
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
mod tests {
    use super::*;

    #[test]
    fn a_context_is_read_and_mistakes_are_named() {
        let context = parse("version = 1\nhanded = \"left\"\nheight_m = 1.8\n").unwrap();
        assert_eq!(
            (context.handed, context.height_m),
            (Some(Handed::Left), Some(1.8))
        );
        assert_eq!(
            parse("version = 1\nclub = \"driver\"")
                .unwrap()
                .club
                .as_deref(),
            Some("driver")
        );
        let told = parse("version = 1\n[club]\nname = \"7-iron\"\nlength_m = 0.94\nlie_deg = 60\n")
            .unwrap();
        let shape = told.club_geometry.unwrap();
        assert_eq!(
            (told.club.as_deref(), shape.length_m),
            (Some("7-iron"), Some(0.94))
        );
        assert!(
            (shape.lie_rad.unwrap() - 60_f64.to_radians()).abs() < 1e-12
                && shape.loft_rad.is_none()
        );
        let error = |text: &str| format!("{:#}", parse(text).unwrap_err());
        assert!(error("version = 1\nhanded = \"both\"").contains("right, left or auto"));
        assert!(error("version = 1\nheight_m = 180").contains("0.8 to 2.5"));
        assert!(error("version = 1\n[club]\nlenght_m = 0.9").contains("length_m"));
        assert!(error("version = 1\n[club]\nlength_m = 94").contains("0.5 to 1.3"));
        assert!(error("version = 2").contains("reads 1"));
        assert!(error("version = 1\nheigth_m = 1.8").contains("heigth_m"));
    }
}
