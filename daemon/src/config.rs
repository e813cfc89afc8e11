//! The configuration of a bay: TOML, `version = 1`. Unknown keys are refused with file, line and
//! key; a flag of the command line beats the file, the file beats the default. What the values do
//! is for the parts that get them; whether a marker map exists is for `map`.
//!
//! Relative paths in a file are meant from the file's own folder.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::ops::Range;
use std::path::{Path, PathBuf};

use protocol::rig::ConfigShown;
use serde::Deserialize;
use thiserror::Error;

pub use self::further::Further;
pub use self::keep::{Archive, Recorded, Recording};
pub use self::network::Network;
pub use self::reach::{Access, Http, Tls, Udp};
use self::source::Source;
use crate::errors::Code;

mod further;
mod network;
mod keep;
mod reach;
mod source;

/// Version of the configuration that this program reads.
const VERSION: i64 = 1;
/// A stream later than this has a clock that is wrong, milliseconds.
const LATE_MILLIS_MAX: f64 = 500.0;
/// Reorder windows that make sense, milliseconds: more would delay every result.
const REORDER_WINDOW_MILLIS: Range<u32> = 0..1001;

/// Everything that can be configured, checked.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Config {
    version: i64,
    /// The bay itself.
    pub bay: Bay,
    /// Where datagrams come in.
    pub udp: Udp,
    /// Where screens come in.
    pub http: Http,
    /// Where passphrases are kept.
    pub access: Access,
    /// What the sender's labels mean.
    pub markers: Markers,
    /// Who swings, with what.
    pub context: Context,
    /// What is kept of the datagrams.
    pub recording: Recording,
    /// Where sessions of students are kept.
    pub archive: Archive,
    /// How much later than the markers a stream tells of things.
    pub late_millis: Late,
    /// More bays, each with a socket of its own.
    pub bays: Vec<Further>,
}

/// The bay itself.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Bay {
    /// Identifier in paths and messages.
    pub id: BayId,
    /// Name as people say it.
    pub name: String,
    /// Time zone of the place; times are stored in UTC and shown in this zone.
    pub zone: Zone,
}

/// What the sender's labels mean.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Markers {
    /// A shipped marker map by name, or the path of one.
    pub map: String,
    /// How long a datagram may be overtaken by later ones, milliseconds of device time.
    #[serde(deserialize_with = "reorder_window")]
    pub reorder_window_millis: u32,
}

/// Who swings, with what.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Context {
    /// File with side, body and club.
    pub file: Option<PathBuf>,
}

/// How much later than the markers each stream tells of things, milliseconds by stream number.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(try_from = "BTreeMap<String, f64>")]
pub struct Late(BTreeMap<u32, f64>);

/// Identifier of a bay: 1 to 32 of `a`–`z`, `0`–`9` and `-`.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(try_from = "String")]
pub struct BayId(String);

/// IANA name of a time zone. Only its form is checked: the names are the system's.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(try_from = "String")]
pub struct Zone(String);

/// Values of the command line, where given.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Flags {
    /// Beats `udp.listen`.
    pub udp: Option<SocketAddr>,
    /// Beats `http.listen`.
    pub http: Option<SocketAddr>,
    /// Beats `markers.map`; a path is meant from the working folder.
    pub markers: Option<String>,
    /// Beats `context.file`.
    pub context: Option<PathBuf>,
    /// Beats `recording.dir`.
    pub recording: Option<PathBuf>,
    /// Beats `archive.dir`.
    pub archive: Option<PathBuf>,
    /// Beats `archive.student`.
    pub student: Option<String>,
}

/// Why a configuration cannot be used: file, line, and what to do.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("{path}{at}: {message}", at = line.map(|l| format!(", line {l}")).unwrap_or_default())]
pub struct ConfigError {
    /// Stable code.
    pub code: Code,
    /// The file.
    pub path: String,
    /// Line of the file, from 1, if the mistake has one.
    pub line: Option<usize>,
    /// What is wrong and what to do.
    pub message: String,
}

impl Default for Config {
    fn default() -> Self {
        Self::defaults()
    }
}

impl Config {
    /// What holds without file and flags: everything on this machine.
    #[must_use]
    pub fn defaults() -> Self {
        Self {
            version: VERSION,
            bay: Bay::default(),
            udp: Udp::default(),
            http: Http::default(),
            access: Access::default(),
            markers: Markers::default(),
            context: Context::default(),
            recording: Recording::default(),
            archive: Archive::default(),
            late_millis: Late::default(),
            bays: Vec::new(),
        }
    }

    /// Reads a file.
    ///
    /// # Errors
    /// When it cannot be read, and as [`Config::from_toml`].
    pub fn load(path: &Path) -> Result<Self, ConfigError> {
        let text = std::fs::read_to_string(path).map_err(|e| ConfigError {
            code: Code::ConfigUnreadable,
            path: path.display().to_string(),
            line: None,
            message: e.to_string(),
        })?;
        Self::from_toml(&text, path)
    }

    /// Reads the text of the file at `path`; the path is for messages and relative paths.
    ///
    /// # Errors
    /// Names file, line and key, and lists what is allowed.
    pub fn from_toml(text: &str, path: &Path) -> Result<Self, ConfigError> {
        let source = Source { text, path };
        source.check_version()?;
        let mut config: Self = toml::from_str(text).map_err(|e| source.refused(&e))?;
        if let Some(why) = config.shared_by_two() {
            return Err(source.mistaken_bays(why));
        }
        let folder = path.parent().unwrap_or(Path::new(""));
        let maps = config.bays.iter_mut().filter_map(|bay| bay.map.as_mut());
        for map in maps.chain([&mut config.markers.map]) {
            if is_path(map) {
                *map = folder.join(&*map).display().to_string();
            }
        }
        let files = config.bays.iter_mut();
        let files = files.flat_map(|bay| [&mut bay.key_file, &mut bay.context]);
        for named in files.chain([
            &mut config.udp.key_file,
            &mut config.http.certificate,
            &mut config.http.key,
            &mut config.access.file,
            &mut config.context.file,
            &mut config.recording.dir,
            &mut config.archive.dir,
        ]) {
            *named = named.take().map(|p| folder.join(p));
        }
        Ok(config)
    }

    /// The same with the values of the command line where it has some.
    #[must_use]
    pub fn with(mut self, flags: Flags) -> Self {
        self.udp.listen = flags.udp.unwrap_or(self.udp.listen);
        self.http.listen = flags.http.unwrap_or(self.http.listen);
        self.markers.map = flags.markers.unwrap_or(self.markers.map);
        self.context.file = flags.context.or(self.context.file);
        self.recording.dir = flags.recording.or(self.recording.dir);
        self.archive.dir = flags.archive.or(self.archive.dir);
        self.archive.student = flags.student.or(self.archive.student);
        self
    }

    /// As the Rig page shows it; `file` is the one that it was read from.
    #[must_use]
    pub fn shown(&self, file: Option<&Path>) -> ConfigShown {
        let absolute = |path: &Path| std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
        ConfigShown {
            path: file.map(|path| absolute(path).display().to_string()),
            text: self.to_toml(),
        }
    }

    /// The text of a file with these values and a word on each.
    #[must_use]
    pub fn to_toml(&self) -> String {
        let Self {
            version,
            bay,
            udp,
            http,
            access,
            markers,
            context,
            recording,
            archive,
            late_millis,
            bays,
        } = self;
        format!(
            "\
version = {version}

[bay]
# In paths and messages: 1 to 32 of a-z, 0-9 and -.
id = {id}
# As people say it.
name = {name}
# IANA time zone of the place, such as \"Europe/Berlin\".
zone = {zone}

{reach}
[markers]
# A shipped marker map by name, or the path of one.
map = {map}
# How long a datagram may be overtaken by later ones.
reorder_window_millis = {reorder}

[context]
# Side, body and club of who swings; optional.
{context_file}

{keep}
[late_millis]
# How much later than the markers a stream tells of things, by stream number: what `whin check --tap`
# found beyond the clocks. Negative: earlier.
{late}

{further}",
            id = quoted(&bay.id.0),
            name = quoted(&bay.name),
            zone = quoted(&bay.zone.0),
            reach = reach::to_toml(udp, http, access),
            map = quoted(&markers.map),
            reorder = markers.reorder_window_millis,
            context_file = optional("file", context.file.as_deref(), "context.toml"),
            late = late_millis.lines(),
            keep = keep::to_toml(recording, archive),
            further = further::to_toml(bays),
        )
    }
}

impl Default for Bay {
    fn default() -> Self {
        Self {
            id: BayId("bay".into()),
            name: "Bay".into(),
            zone: Zone("UTC".into()),
        }
    }
}

impl Config {
    /// Where the passphrases are, if that is told.
    #[must_use]
    pub fn access_file(&self) -> Option<PathBuf> {
        let beside = || Some(self.archive.dir.as_ref()?.join("access.toml"));
        self.access.file.clone().or_else(beside)
    }
}

impl Default for Markers {
    fn default() -> Self {
        Self {
            map: "whin_32".into(),
            reorder_window_millis: 50,
        }
    }
}

impl BayId {
    /// The text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl Late {
    /// The same in nanoseconds.
    #[must_use]
    pub fn nanoseconds(&self) -> BTreeMap<u32, i64> {
        let each = self.0.iter();
        each.map(|(stream, ms)| (*stream, (ms * 1e6).round() as i64))
            .collect()
    }

    fn lines(&self) -> String {
        if self.0.is_empty() {
            return "# 2 = 3.7".into();
        }
        let lines = self.0.iter().map(|(stream, ms)| format!("{stream} = {ms}"));
        lines.collect::<Vec<_>>().join("\n")
    }
}

impl TryFrom<BTreeMap<String, f64>> for Late {
    type Error = String;

    fn try_from(told: BTreeMap<String, f64>) -> Result<Self, String> {
        let each = told.into_iter().map(|(stream, ms)| {
            let number = stream.parse();
            let number = number.map_err(|_not| format!("`{stream}` is no stream number"))?;
            if ms.abs() > LATE_MILLIS_MAX {
                return Err(format!(
                    "stream {stream}: {ms} ms is outside ±{LATE_MILLIS_MAX}"
                ));
            }
            Ok((number, ms))
        });
        Ok(Self(each.collect::<Result<_, String>>()?))
    }
}

impl TryFrom<String> for BayId {
    type Error = String;

    fn try_from(id: String) -> Result<Self, String> {
        let allowed = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        let good = (1..=32).contains(&id.len()) && id.chars().all(allowed);
        let wrong = format!("`{id}` cannot name a bay: use 1 to 32 of a-z, 0-9 and -");
        good.then_some(Self(id)).ok_or(wrong)
    }
}

impl Zone {
    /// The name.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl TryFrom<String> for Zone {
    type Error = String;

    fn try_from(zone: String) -> Result<Self, String> {
        let allowed = |c: char| c.is_ascii_alphanumeric() || "_+-".contains(c);
        let word = |w: &str| !w.is_empty() && w.chars().all(allowed);
        let good = zone.len() <= 64 && zone.split('/').all(word);
        let wrong =
            format!("`{zone}` is no time zone: use an IANA name such as Europe/Berlin or UTC");
        good.then_some(Self(zone)).ok_or(wrong)
    }
}

fn reorder_window<'de, D: serde::Deserializer<'de>>(from: D) -> Result<u32, D::Error> {
    within(u32::deserialize(from)?, &REORDER_WINDOW_MILLIS)
}

fn within<E: serde::de::Error>(value: u32, range: &Range<u32>) -> Result<u32, E> {
    let (least, most) = (range.start, range.end - 1);
    let wrong = || E::custom(format!("{value} is outside {least} to {most}"));
    range.contains(&value).then_some(value).ok_or_else(wrong)
}

fn is_path(map: &str) -> bool {
    map.contains(['/', '\\']) || map.ends_with(".toml")
}

fn quoted(text: &str) -> String {
    toml::Value::from(text).to_string()
}

/// A key with its value, or as a comment with an example.
fn optional(key: &str, value: Option<&Path>, example: &str) -> String {
    value.map_or_else(
        || format!("# {key} = {}", quoted(example)),
        |path| format!("{key} = {}", quoted(&path.display().to_string())),
    )
}

#[cfg(test)]
mod tests;
