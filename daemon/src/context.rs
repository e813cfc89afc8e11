//! The context file: what is told about golfer and club. TOML, `version = 1`, every key optional.

use std::path::Path;

use analysis::context::Context;
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
    club: Option<String>,
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
        club: file.club,
        calibration: None,
        approximate: Vec::new(),
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
        let error = |text: &str| format!("{:#}", parse(text).unwrap_err());
        assert!(error("version = 1\nhanded = \"both\"").contains("right, left or auto"));
        assert!(error("version = 1\nheight_m = 180").contains("0.8 to 2.5"));
        assert!(error("version = 2").contains("reads 1"));
        assert!(error("version = 1\nheigth_m = 1.8").contains("heigth_m"));
    }
}
