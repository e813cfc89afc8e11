//! The part of the configuration that says which bays there are beside the first: each with a socket of its own.

use std::net::SocketAddr;
use std::path::PathBuf;

use serde::Deserialize;

use super::{Bay, BayId, Config, Late, Network, Zone, quoted};

/// A bay of the same hall. What it does not say is as for the first one.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Further {
    /// Identifier in paths and messages.
    pub id: BayId,
    /// Name as people say it; else the identifier.
    pub name: Option<String>,
    /// Time zone of the place.
    pub zone: Option<Zone>,
    /// Address and port of the socket of its datagrams.
    pub listen: SocketAddr,
    /// Who may send to it.
    pub allow: Option<Vec<Network>>,
    /// File with the key that its senders share.
    pub key_file: Option<PathBuf>,
    /// Its marker map.
    pub map: Option<String>,
    /// File with side, body and club of who swings in it.
    pub context: Option<PathBuf>,
    /// Pseudonym of the student whose session begins in it.
    pub student: Option<String>,
    /// How much later than the markers its streams tell of things: what was found in one bay holds for no other.
    #[serde(default)]
    pub late_millis: Late,
}

impl Further {
    /// A bay that is as the first one, save for its place.
    #[must_use]
    pub fn new(id: BayId, listen: SocketAddr) -> Self {
        Self {
            id,
            name: None,
            zone: None,
            listen,
            allow: None,
            key_file: None,
            map: None,
            context: None,
            student: None,
            late_millis: Late::default(),
        }
    }

    /// The whole configuration of this bay, the hall's being `hall`.
    pub(super) fn in_hall(&self, hall: &Config) -> Config {
        let mut own = hall.clone();
        own.bays = Vec::new();
        own.bay = Bay {
            id: self.id.clone(),
            name: self.name.clone().unwrap_or_else(|| self.id.0.clone()),
            zone: self.zone.clone().unwrap_or_else(|| hall.bay.zone.clone()),
        };
        own.udp.listen = self.listen;
        own.udp.allow = self.allow.clone().unwrap_or(own.udp.allow);
        own.udp.key_file = self.key_file.clone().or(own.udp.key_file);
        own.markers.map = self.map.clone().unwrap_or(own.markers.map);
        own.context.file.clone_from(&self.context);
        own.archive.student.clone_from(&self.student);
        own.late_millis.clone_from(&self.late_millis);
        own
    }

    fn to_toml(&self) -> String {
        let text = |key: &str, value: Option<&str>| {
            value.map_or_else(String::new, |v| format!("{key} = {}\n", quoted(v)))
        };
        let path = |key: &str, value: &Option<PathBuf>| {
            let shown = value.as_ref().map(|p| p.display().to_string());
            text(key, shown.as_deref())
        };
        let allow = self.allow.as_ref().map_or_else(String::new, |networks| {
            let each = networks.iter().map(|n| quoted(&n.to_string()));
            format!("allow = [{}]\n", each.collect::<Vec<_>>().join(", "))
        });
        let late = match self.late_millis.0.is_empty() {
            true => String::new(),
            false => format!("[bays.late_millis]\n{}\n", self.late_millis.lines()),
        };
        [
            "[[bays]]\n".to_owned(),
            text("id", Some(&self.id.0)),
            text("name", self.name.as_deref()),
            text("zone", self.zone.as_ref().map(Zone::as_str)),
            format!("listen = \"{}\"\n", self.listen),
            allow,
            path("key_file", &self.key_file),
            text("map", self.map.as_deref()),
            path("context", &self.context),
            text("student", self.student.as_deref()),
            late,
        ]
        .concat()
    }
}

impl Config {
    /// The configuration of each bay of the hall, the first one's first.
    #[must_use]
    pub fn each(&self) -> Vec<Self> {
        let first = Self {
            bays: Vec::new(),
            ..self.clone()
        };
        let further = self.bays.iter().map(|bay| bay.in_hall(self));
        std::iter::once(first).chain(further).collect()
    }

    /// What two bays must not have in common, in words.
    pub(super) fn shared_by_two(&self) -> Option<String> {
        let mut seen = vec![(&self.bay.id, self.udp.listen)];
        for bay in &self.bays {
            if seen.iter().any(|(id, _)| **id == bay.id) {
                return Some(format!(
                    "two bays are called `{}`: give each an `id` of its own",
                    bay.id.0
                ));
            }
            let same = |at: &SocketAddr| *at == bay.listen && at.port() != 0;
            if let Some((other, _)) = seen.iter().find(|(_, at)| same(at)) {
                return Some(format!(
                    "bays `{}` and `{}` both listen on {}: give each a `listen` of its own",
                    other.0, bay.id.0, bay.listen
                ));
            }
            seen.push((&bay.id, bay.listen));
        }
        let students = self.bays.iter().map(|bay| &bay.student);
        let students = std::iter::once(&self.archive.student).chain(students);
        let mut told: Vec<&String> = students.flatten().collect();
        told.sort();
        let twice = told.windows(2).find(|pair| pair[0] == pair[1]);
        twice.map(|pair| {
            format!(
                "student `{}` stands in two bays: nobody has two lessons at once",
                pair[0]
            )
        })
    }
}

/// Their part of a configuration file.
pub(super) fn to_toml(bays: &[Further]) -> String {
    let head = "\
# More bays of the same hall, each with a socket of its own, on the same screens' address and in the same archive.
# What one does not say (zone, allow, key_file, map) is as above.
";
    if bays.is_empty() {
        let example = "\
# [[bays]]
# id = \"south\"
# name = \"Bay South\"
# listen = \"127.0.0.1:47801\"
# context = \"south.toml\"
";
        return format!("{head}{example}");
    }
    let each: Vec<String> = bays.iter().map(Further::to_toml).collect();
    format!("{head}{}", each.join("\n"))
}
