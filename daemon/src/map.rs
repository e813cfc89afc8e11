//! Marker maps: which label of a capture system is which landmark, and in which units and axes the
//! system speaks. TOML, one file a marker set; the ones in `maps/` are embedded.

use std::collections::BTreeMap;
use std::path::Path;

use analysis::frame::BayFromSource;
use analysis::handed::Handed;
use analysis::landmark::Landmark;
use nalgebra::{Matrix3, Point3, Vector3};
use serde::Deserialize;
use thiserror::Error;
use toml::Spanned;

/// Maps shipped with the program: name, text.
const SHIPPED: &[(&str, &str)] = &[
    ("whin_32", include_str!("../maps/whin_32.toml")),
    ("club_led", include_str!("../maps/club_led.toml")),
];

/// Version of the map format that this program reads.
const VERSION: u32 = 1;

/// A marker map, checked.
#[derive(Debug, Clone, PartialEq)]
pub struct MarkerMap {
    /// Name of the set.
    pub name: String,
    /// The set in a few words.
    pub description: String,
    /// The whole text, for recordings.
    pub text: String,
    labels: BTreeMap<String, Landmark>,
    /// Labels that only a calibration trial has.
    calibration_labels: BTreeMap<String, Landmark>,
    unused: Vec<String>,
    /// Landmarks that the points only approximate, with the map's words.
    pub approximate: Vec<(Landmark, String)>,
    /// Metres in one source unit, if the map says.
    pub metres_per_unit: Option<f64>,
    /// Rotation from source axes to bay axes, if the map says.
    pub rotation: Option<Matrix3<f64>>,
    /// The bay's origin in source coordinates, source units.
    pub origin: Option<Vector3<f64>>,
    /// Centre of the ball in the bay, metres.
    pub ball: Option<Point3<f64>>,
    /// The golfer's side, where the map fixes it.
    pub handed: Option<Handed>,
}

/// Why a map cannot be used.
#[derive(Debug, Error)]
pub enum MapError {
    /// Neither shipped nor a file.
    #[error("no marker map `{0}`: neither a shipped map ({shipped}) nor a readable file", shipped = shipped_names())]
    Unknown(String),
    /// TOML or type error.
    #[error("marker map {name}: {message}")]
    Syntax {
        /// Map name or path.
        name: String,
        /// What the parser says, with line and column.
        message: String,
    },
    /// A value that does not make sense.
    #[error("marker map {name}, line {line}: {message}")]
    Value {
        /// Map name or path.
        name: String,
        /// Line, from 1.
        line: usize,
        /// What is wrong and what to do.
        message: String,
    },
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    version: Spanned<u32>,
    name: String,
    #[serde(default)]
    description: String,
    #[serde(default)]
    frame: Frame,
    labels: BTreeMap<String, Spanned<String>>,
    #[serde(default)]
    calibration_labels: BTreeMap<String, Spanned<String>>,
    #[serde(default)]
    unused: Unused,
    #[serde(default)]
    approximate: BTreeMap<Spanned<String>, String>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct Frame {
    units: Option<Spanned<String>>,
    up: Option<Spanned<[f64; 3]>>,
    target: Option<Spanned<[f64; 3]>>,
    origin: Option<[f64; 3]>,
    ball: Option<[f64; 3]>,
    handed: Option<Spanned<String>>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct Unused {
    labels: Vec<String>,
}

impl MarkerMap {
    /// A shipped map by name, or a file.
    ///
    /// # Errors
    /// Names map, line and what to do.
    pub fn load(name: &str) -> Result<Self, MapError> {
        if let Some((name, text)) = SHIPPED.iter().find(|(n, _)| *n == name) {
            return Self::parse(text, name);
        }
        let text = std::fs::read_to_string(Path::new(name))
            .map_err(|_unreadable| MapError::Unknown(name.to_owned()))?;
        Self::parse(&text, name)
    }

    /// Reads a map from its text; `name` is for messages.
    ///
    /// # Errors
    /// Names map, line and what to do.
    pub fn parse(text: &str, name: &str) -> Result<Self, MapError> {
        let file: File = toml::from_str(text).map_err(|e| MapError::Syntax {
            name: name.to_owned(),
            message: e.to_string().trim_end().to_owned(),
        })?;
        let reader = Reader { text, name };
        if *file.version.get_ref() != VERSION {
            return Err(reader.value(
                &file.version,
                format!(
                    "version {} is not known, this program reads {VERSION}",
                    file.version.get_ref()
                ),
            ));
        }
        let mut taken = BTreeMap::new();
        let labels = reader.labels(file.labels, &mut taken)?;
        let calibration_labels = reader.labels(file.calibration_labels, &mut taken)?;
        if let Some(label) = calibration_labels.keys().find(|l| labels.contains_key(*l)) {
            return Err(MapError::Syntax {
                name: name.to_owned(),
                message: format!("`{label}` is in [labels] and in [calibration_labels]: keep one"),
            });
        }
        let approximate = file
            .approximate
            .into_iter()
            .map(|(l, words)| Ok((reader.landmark(&l)?, words)));
        Ok(Self {
            name: file.name,
            description: file.description,
            text: text.to_owned(),
            labels,
            calibration_labels,
            unused: file.unused.labels,
            approximate: approximate.collect::<Result<_, MapError>>()?,
            metres_per_unit: file
                .frame
                .units
                .as_ref()
                .map(|u| reader.units(u))
                .transpose()?,
            rotation: reader.rotation(&file.frame)?,
            origin: file.frame.origin.map(Vector3::from),
            ball: file.frame.ball.map(Point3::from),
            handed: reader.handed(file.frame.handed.as_ref())?,
        })
    }

    /// The landmark of a label. A subject prefix (`Name:C7`) does not matter.
    #[must_use]
    pub fn landmark(&self, label: &str) -> Option<Landmark> {
        [label, bare(label)]
            .iter()
            .find_map(|l| {
                self.labels
                    .get(*l)
                    .or_else(|| self.calibration_labels.get(*l))
            })
            .copied()
    }

    /// The label of a landmark, if the map has it.
    #[must_use]
    pub fn label(&self, landmark: Landmark) -> Option<&str> {
        self.labels
            .iter()
            .chain(&self.calibration_labels)
            .find(|(_, l)| **l == landmark)
            .map(|(label, _)| label.as_str())
    }

    /// Labels of a stream that the map does not know at all.
    #[must_use]
    pub fn unknown<'a>(&self, labels: &'a [String]) -> Vec<&'a str> {
        let known = |label: &str| {
            self.landmark(label).is_some() || self.unused.iter().any(|u| u == bare(label))
        };
        labels
            .iter()
            .map(String::as_str)
            .filter(|l| !known(l))
            .collect()
    }

    /// Labels of the map that a stream does not have; those of calibration trials may be absent.
    #[must_use]
    pub fn absent(&self, labels: &[String]) -> Vec<&str> {
        let sent: Vec<&str> = labels.iter().map(|l| bare(l)).collect();
        self.labels
            .keys()
            .map(String::as_str)
            .filter(|l| !sent.contains(l) && !labels.iter().any(|s| s == l))
            .collect()
    }

    /// Source coordinates to bay: the map decides where it speaks, the sender where it does not.
    ///
    /// # Errors
    /// Says which of units and axes neither of them told.
    pub fn bay_from_source(&self, told: Told) -> Result<BayFromSource, String> {
        let metres_per_unit = self.metres_per_unit_with(told)?;
        let rotation = self.rotation.or(told.rotation).ok_or_else(|| {
            format!("neither the sender nor marker map “{}” says which way is up and where the target is: add “up” and “target” to its [frame]", self.name)
        })?;
        Ok(BayFromSource {
            metres_per_unit,
            rotation,
            origin: self.origin.unwrap_or(told.origin),
        })
    }

    /// How a plates' source speaks: as its sender says; where it does not, as the map says of the
    /// markers, which the same system mostly sends.
    ///
    /// # Errors
    /// Says what is missing when neither does.
    pub fn bay_from_plates(&self, told: Told) -> Result<BayFromSource, String> {
        match told.rotation {
            None => self.bay_from_source(told),
            Some(rotation) => Ok(BayFromSource {
                metres_per_unit: self.metres_per_unit_with(told)?,
                rotation,
                origin: told.origin,
            }),
        }
    }

    /// A plain word where sender and map contradict each other.
    #[must_use]
    pub fn contradiction(&self, told: Told) -> Option<String> {
        let (map, sender) = (self.rotation?, told.rotation?);
        let apart = (map - sender).norm();
        (apart > 0.01).then(|| {
            format!(
                "sender and marker map “{}” disagree about the axes: the map is used",
                self.name
            )
        })
    }

    /// The sender's unit wins over the map's: a file says `mm` and means it.
    fn metres_per_unit_with(&self, told: Told) -> Result<f64, String> {
        told.metres_per_unit.or(self.metres_per_unit).ok_or_else(|| {
            format!("neither the sender nor marker map “{}” says the unit of length: add “units” to its [frame]", self.name)
        })
    }
}

/// What a sender says of its units and axes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Told {
    /// Metres in one unit.
    pub metres_per_unit: Option<f64>,
    /// Rotation from source axes to bay axes.
    pub rotation: Option<Matrix3<f64>>,
    /// The bay's origin in source coordinates, source units.
    pub origin: Vector3<f64>,
}

/// Metres in one unit of this name (`mm`, `cm`, `m`).
#[must_use]
pub fn metres_in(unit: &str) -> Option<f64> {
    match unit.trim().to_ascii_lowercase().as_str() {
        "mm" => Some(1e-3),
        "cm" => Some(1e-2),
        "m" => Some(1.0),
        _ => None,
    }
}

struct Reader<'a> {
    text: &'a str,
    name: &'a str,
}

impl Reader<'_> {
    fn value<T>(&self, at: &Spanned<T>, message: String) -> MapError {
        let before = self.text.get(..at.span().start).unwrap_or_default();
        MapError::Value {
            name: self.name.to_owned(),
            line: before.matches('\n').count() + 1,
            message,
        }
    }

    /// A section of labels; `taken` has the landmarks of the sections before and gets its own.
    fn labels(
        &self,
        section: BTreeMap<String, Spanned<String>>,
        taken: &mut BTreeMap<Landmark, String>,
    ) -> Result<BTreeMap<String, Landmark>, MapError> {
        let mut labels = BTreeMap::new();
        for (label, landmark) in section {
            let found = self.landmark(&landmark)?;
            if let Some(other) = taken.insert(found, label.clone()) {
                return Err(self.value(
                    &landmark,
                    format!("`{other}` and `{label}` are both `{}`", found.name()),
                ));
            }
            labels.insert(label, found);
        }
        Ok(labels)
    }

    fn landmark(&self, name: &Spanned<String>) -> Result<Landmark, MapError> {
        Landmark::from_name(name.get_ref()).ok_or_else(|| {
            let nearest = nearest(name.get_ref());
            self.value(
                name,
                format!(
                    "`{}` is no landmark; did you mean `{nearest}`?",
                    name.get_ref()
                ),
            )
        })
    }

    fn units(&self, unit: &Spanned<String>) -> Result<f64, MapError> {
        metres_in(unit.get_ref()).ok_or_else(|| {
            self.value(
                unit,
                format!("unit `{}` is not known: use mm, cm or m", unit.get_ref()),
            )
        })
    }

    /// X from the target (made level), Y from up.
    fn rotation(&self, frame: &Frame) -> Result<Option<Matrix3<f64>>, MapError> {
        let (up, target) = match (&frame.up, &frame.target) {
            (None, None) => return Ok(None),
            (Some(up), Some(target)) => (up, target),
            (Some(one), None) | (None, Some(one)) => {
                return Err(self.value(
                    one,
                    "`up` and `target` belong together: give both or neither".into(),
                ));
            }
        };
        let y = Vector3::from(*up.get_ref())
            .try_normalize(1e-9)
            .ok_or_else(|| self.value(up, "`up` has no length".into()))?;
        let toward = Vector3::from(*target.get_ref());
        let x = (toward - y * toward.dot(&y))
            .try_normalize(1e-6)
            .ok_or_else(|| self.value(target, "`target` has no length across `up`".into()))?;
        let z = x.cross(&y);
        Ok(Some(Matrix3::from_rows(&[
            x.transpose(),
            y.transpose(),
            z.transpose(),
        ])))
    }

    fn handed(&self, handed: Option<&Spanned<String>>) -> Result<Option<Handed>, MapError> {
        match handed.map(|h| (h, h.get_ref().as_str())) {
            None | Some((_, "auto")) => Ok(None),
            Some((at, name)) => Handed::from_name(name).map(Some).ok_or_else(|| {
                self.value(at, format!("handed is `{name}`: use right, left or auto"))
            }),
        }
    }
}

/// A label without its subject prefix.
pub(crate) fn bare(label: &str) -> &str {
    label.rsplit(':').next().unwrap_or(label)
}

fn shipped_names() -> String {
    SHIPPED.iter().map(|s| s.0).collect::<Vec<_>>().join(", ")
}

/// The landmark whose name shares most letter pairs with `name`.
fn nearest(name: &str) -> &'static str {
    let pairs = |s: &str| {
        s.as_bytes()
            .windows(2)
            .map(<[u8]>::to_vec)
            .collect::<Vec<_>>()
    };
    let wanted = pairs(name);
    let alike = |l: &Landmark| {
        let own = pairs(l.name());
        let shared = wanted.iter().filter(|p| own.contains(p)).count();
        // In thousandths, so that it orders: share of both names' pairs.
        2000 * shared / (wanted.len() + own.len()).max(1)
    };
    Landmark::ALL
        .iter()
        .max_by_key(|l| alike(l))
        .map_or("", |l| l.name())
}

#[cfg(test)]
mod tests;
