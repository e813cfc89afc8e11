//! Sessions: who is logged in and which displays are paired. Tokens are kept as hashes only, in a file, so that
//! a restart of the program throws nobody out.

use std::path::PathBuf;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};
use tracing::warn;

use super::secrets::Secrets;
use super::{AccessError, Pass, Role, hex, random};
use crate::errors::Code;
use crate::private;

/// Nanoseconds of an hour.
const HOUR_NS: u64 = 3_600_000_000_000;
/// Sessions of one kind at most; the one that was not used for the longest time makes room.
const SESSIONS_MAX: usize = 64;
/// Uses are written down at most this often.
const WRITTEN_NS: u64 = HOUR_NS / 4;

/// What the cookie holds: 256 random bits. Shown to whoever logs in, and kept nowhere.
pub struct Token(String);

/// A paired display.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Display {
    /// Its name.
    pub id: String,
    /// When it was paired, nanoseconds since 1970 in UTC.
    pub paired_utc_ns: u64,
    /// When it was last there.
    pub seen_utc_ns: u64,
    /// Whether it shows names of students.
    pub names: bool,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Session {
    /// SHA-256 of the token.
    token: String,
    role: Role,
    /// What [`Secrets::mark`] was when it began.
    mark: String,
    began_utc_ns: u64,
    seen_utc_ns: u64,
    names: bool,
}

#[derive(Debug, Default, Serialize, Deserialize)]
pub(super) struct Sessions {
    #[serde(default, rename = "session")]
    all: Vec<Session>,
    #[serde(skip)]
    file: Option<PathBuf>,
    #[serde(skip)]
    written_utc_ns: u64,
}

impl Token {
    /// The text for the cookie.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.0
    }
}

impl Session {
    /// A name for logs and screens: tells nothing of the token.
    fn id(&self) -> &str {
        self.token.get(..12).unwrap_or_default()
    }

    /// How long it lives unused, and in all. Common practice, no source: a lesson's tablet goes through a
    /// day, a display on the wall through a year.
    fn limits_ns(&self) -> (u64, u64) {
        match self.role {
            Role::Display => (30 * 24 * HOUR_NS, 365 * 24 * HOUR_NS),
            Role::Coach | Role::Owner => (HOUR_NS, 12 * HOUR_NS),
        }
    }

    fn alive(&self, secrets: &Secrets, now: u64) -> bool {
        let (idle, whole) = self.limits_ns();
        now.saturating_sub(self.seen_utc_ns) <= idle
            && now.saturating_sub(self.began_utc_ns) <= whole
            && self.mark == secrets.mark(self.role)
    }

    fn pass(&self) -> Pass {
        Pass {
            role: self.role,
            session: Some(self.id().to_owned()),
            names: self.names || self.role > Role::Display,
        }
    }
}

impl Sessions {
    /// Those in a file; none where there is no file or it is damaged, which only throws everybody out.
    pub(super) fn load(file: PathBuf, now: u64) -> Result<Self, AccessError> {
        let text = match private::read(&file) {
            Err(why) if why.kind() == std::io::ErrorKind::NotFound => String::new(),
            read => read.map_err(|why| AccessError::file(&file, why))?,
        };
        let mut sessions: Self = toml::from_str(&text).unwrap_or_else(|_damaged| {
            warn!(code = %Code::AccessUnusable, "the sessions cannot be read: everybody has to log in again");
            Self::default()
        });
        sessions.file = Some(file);
        sessions.written_utc_ns = now;
        Ok(sessions)
    }

    pub(super) fn begin(
        &mut self,
        role: Role,
        secrets: &Secrets,
        now: u64,
    ) -> Result<(Token, String), AccessError> {
        let token = hex(&random::<32>()?);
        self.all.retain(|s| s.alive(secrets, now));
        let display = |s: &Session| s.role == Role::Display;
        let alike = |s: &&Session| display(s) == (role == Role::Display);
        if self.all.iter().filter(alike).count() >= SESSIONS_MAX {
            let oldest = self.all.iter().filter(alike).min_by_key(|s| s.seen_utc_ns);
            let oldest = oldest.map(|s| s.token.clone());
            self.all.retain(|s| Some(&s.token) != oldest.as_ref());
        }
        let session = Session {
            token: hashed(&token),
            role,
            mark: secrets.mark(role),
            began_utc_ns: now,
            seen_utc_ns: now,
            names: false,
        };
        let id = session.id().to_owned();
        self.all.push(session);
        self.save(now);
        Ok((Token(token), id))
    }

    pub(super) fn find(&mut self, token: &str, secrets: &Secrets, now: u64) -> Option<Pass> {
        // Hashes are compared, so how far they agree tells nothing of a token.
        let hash = hashed(token);
        self.used(|s| s.token == hash, secrets, now)
    }

    pub(super) fn by_id(&mut self, id: &str, secrets: &Secrets, now: u64) -> Option<Pass> {
        self.used(|s| s.id() == id, secrets, now)
    }

    fn used(&mut self, is: impl Fn(&Session) -> bool, secrets: &Secrets, now: u64) -> Option<Pass> {
        let session = self.all.iter_mut().find(|s| is(s))?;
        if !session.alive(secrets, now) {
            return None;
        }
        session.seen_utc_ns = now;
        let pass = session.pass();
        if now.saturating_sub(self.written_utc_ns) > WRITTEN_NS {
            self.save(now);
        }
        Some(pass)
    }

    pub(super) fn end(&mut self, id: &str) {
        self.all.retain(|s| s.id() != id);
        self.save(self.written_utc_ns);
    }

    pub(super) fn displays(&self) -> Vec<Display> {
        let displays = self.all.iter().filter(|s| s.role == Role::Display);
        displays
            .map(|s| Display {
                id: s.id().to_owned(),
                paired_utc_ns: s.began_utc_ns,
                seen_utc_ns: s.seen_utc_ns,
                names: s.names,
            })
            .collect()
    }

    pub(super) fn show_names(&mut self, id: &str, names: bool) -> Result<(), AccessError> {
        let mut displays = self.all.iter_mut().filter(|s| s.role == Role::Display);
        let display = displays.find(|s| s.id() == id);
        let display = display.ok_or_else(|| AccessError::Unknown(id.to_owned()))?;
        display.names = names;
        self.save(self.written_utc_ns);
        Ok(())
    }

    /// A disk that refuses costs no session; a restart would.
    fn save(&mut self, now: u64) {
        self.written_utc_ns = now;
        let Some(file) = &self.file else { return };
        let text = toml::to_string(self).unwrap_or_default();
        if let Err(why) = private::write(file, &text) {
            warn!(code = %Code::AccessUnusable, "sessions cannot be kept over a restart: {why}");
        }
    }
}

fn hashed(token: &str) -> String {
    hex(&Sha256::digest(token))
}
