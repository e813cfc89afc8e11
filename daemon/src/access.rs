//! Who may use the bay over the network: roles, passphrases, sessions, displays that are paired by a code, and
//! what is counted and noted of all that. Requests and cookies are in `web`; nothing here knows HTTP.
//!
//! On this machine alone nobody logs in: whoever sits at it may do everything.

use std::collections::BTreeMap;
use std::net::IpAddr;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use thiserror::Error;
use tokio::sync::Semaphore;

use self::audit::Audit;
use self::pairing::Pairing;
use self::secrets::{Secrets, Stored};
use self::sessions::Sessions;
use self::throttle::Throttle;
use crate::clock::Clock;
use crate::config::{Config, Tls};
use crate::errors::Code;

pub mod secrets;

mod audit;
mod pairing;
mod sessions;
mod throttle;

pub use self::sessions::{Display, Token};

/// What somebody may do; the later ones may do what the earlier may.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Role {
    /// Looks at the bay's screen, without names unless allowed.
    Display,
    /// Gives lessons.
    Coach,
    /// Also sets passphrases and allows names on displays.
    Owner,
}

/// Who asks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pass {
    /// What they may do.
    pub role: Role,
    /// Their session; nobody's on this machine alone.
    pub session: Option<String>,
    /// Whether names of students are shown to them.
    pub names: bool,
}

/// How the bay is reached.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Policy {
    /// Everybody needs a session.
    pub login: bool,
    /// Whin itself speaks TLS.
    pub tls: bool,
    /// Browsers speak TLS, with Whin or with a proxy before it.
    pub https: bool,
    /// Names of this computer.
    pub names: Vec<String>,
}

/// Why something of access is refused.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum AccessError {
    /// Others could reach the address, and nothing keeps them out.
    #[error("{0}")]
    Open(String),
    /// A file cannot be used.
    #[error("{path}: {why}")]
    File {
        /// Which.
        path: String,
        /// What the system says.
        why: String,
    },
    /// Not a passphrase that is taken.
    #[error("{0}")]
    Weak(String),
    /// Not the right passphrase or code.
    #[error("{0}")]
    Wrong(&'static str),
    /// Too many attempts.
    #[error("too many attempts: wait {0} s")]
    Throttled(u64),
    /// No such display.
    #[error("there is no display `{0}`")]
    Unknown(String),
    /// The system gives no random numbers, or a hash failed.
    #[error("the system cannot do it: {0}")]
    System(String),
}

impl AccessError {
    /// The stable code.
    #[must_use]
    pub fn code(&self) -> Code {
        match self {
            Self::Open(_) => Code::HttpNotLoopback,
            Self::File { .. } => Code::AccessUnusable,
            Self::Weak(_) => Code::AccessWeak,
            Self::Wrong(_) => Code::AccessWrong,
            Self::Throttled(_) => Code::AccessThrottled,
            Self::Unknown(_) => Code::AccessUnknown,
            Self::System(_) => Code::Internal,
        }
    }

    fn file(path: &Path, why: impl ToString) -> Self {
        Self::File {
            path: path.display().to_string(),
            why: why.to_string(),
        }
    }
}

/// Access to one bay.
#[derive(Debug)]
pub struct Access {
    policy: Policy,
    file: Option<PathBuf>,
    clock: Clock,
    state: Mutex<State>,
    counts: Mutex<BTreeMap<Code, u64>>,
    /// Hashing takes memory and time on purpose: one at a time.
    hashing: Semaphore,
}

#[derive(Debug)]
struct State {
    secrets: Stored,
    sessions: Sessions,
    throttle: Throttle,
    pairing: Option<Pairing>,
    audit: Audit,
}

impl Policy {
    /// What a configuration asks for.
    #[must_use]
    pub fn of(config: &Config) -> Self {
        let http = &config.http;
        let here = http.listen.ip().to_canonical().is_loopback();
        let tls = match http.tls {
            Tls::Auto => !here,
            Tls::Always => true,
            Tls::Proxy => false,
        };
        Self {
            login: !here || http.tls != Tls::Auto || !http.names.is_empty(),
            tls,
            https: tls || http.tls == Tls::Proxy,
            names: http.names.clone(),
        }
    }
}

impl Access {
    /// Nobody logs in: for this machine alone.
    #[must_use]
    pub fn here(clock: Clock) -> Self {
        Self::with(Policy::default(), None, clock, Sessions::default())
    }

    /// The access that a configuration asks for.
    ///
    /// # Errors
    /// When others could reach the bay and no coach's passphrase is set, or a file cannot be used.
    pub fn new(config: &Config, clock: Clock) -> Result<Self, AccessError> {
        let policy = Policy::of(config);
        if !policy.login {
            return Ok(Self::here(clock));
        }
        let open = || AccessError::Open(open_words(config));
        let file = config.access_file().ok_or_else(open)?;
        let secrets = Secrets::load(&file)?;
        if secrets.coach.is_none() {
            return Err(open());
        }
        let sessions = Sessions::load(file.with_extension("sessions"), now_utc_ns(clock))?;
        let access = Self::with(policy, Some(file), clock, sessions);
        access.state().secrets.set(secrets);
        Ok(access)
    }

    fn with(policy: Policy, file: Option<PathBuf>, clock: Clock, sessions: Sessions) -> Self {
        let state = State {
            secrets: Stored::new(file.clone()),
            sessions,
            throttle: Throttle::default(),
            pairing: None,
            audit: Audit::new(file.as_ref().map(|f| f.with_extension("log")), clock),
        };
        Self {
            policy,
            file,
            clock,
            state: Mutex::new(state),
            counts: Mutex::default(),
            hashing: Semaphore::new(1),
        }
    }

    /// How the bay is reached.
    #[must_use]
    pub fn policy(&self) -> &Policy {
        &self.policy
    }

    /// Who comes with this token. On this machine alone everybody is its owner.
    #[must_use]
    pub fn pass(&self, token: Option<&str>) -> Option<Pass> {
        if !self.policy.login {
            return Some(Pass {
                role: Role::Owner,
                session: None,
                names: true,
            });
        }
        let now = self.now_utc_ns();
        let mut state = self.state();
        let State {
            secrets, sessions, ..
        } = &mut *state;
        let secrets = secrets.now(self.clock.now_ns());
        sessions.find(token?, secrets, now)
    }

    /// Whether a pass still holds; using it keeps it alive.
    #[must_use]
    pub fn holds(&self, pass: &Pass) -> bool {
        let Some(id) = &pass.session else {
            return true;
        };
        let now = self.now_utc_ns();
        let mut state = self.state();
        let State {
            secrets, sessions, ..
        } = &mut *state;
        let secrets = secrets.now(self.clock.now_ns());
        sessions.by_id(id, secrets, now).as_ref() == Some(pass)
    }

    /// Logs in by a passphrase: the new session's token and role.
    ///
    /// # Errors
    /// When it is wrong, or there were too many attempts.
    pub async fn log_in(
        &self,
        passphrase: String,
        from: IpAddr,
    ) -> Result<(Token, Role), AccessError> {
        self.ask(from)?;
        let secrets = self.state().secrets.now(self.clock.now_ns()).clone();
        // One at a time, and on a thread that may take its time.
        let _turn = self.hashing.acquire().await;
        let known = secrets.clone();
        let checked = tokio::task::spawn_blocking(move || known.role_of(&passphrase)).await;
        let role = checked.map_err(|why| AccessError::System(why.to_string()))?;
        let mut state = self.state();
        let Some(role) = role else {
            state.audit.note("login_failed", None, Some(from));
            return Err(AccessError::Wrong("this passphrase is wrong"));
        };
        state.throttle.succeeded(from);
        let now = self.now_utc_ns();
        let (token, id) = state.sessions.begin(role, &secrets, now)?;
        state.audit.note("login", Some((role, &id)), Some(from));
        Ok((token, role))
    }

    /// Ends a session.
    pub fn log_out(&self, pass: &Pass) {
        if let Some(id) = &pass.session {
            let mut state = self.state();
            state.sessions.end(id);
            state.audit.note("logout", Some((pass.role, id)), None);
        }
    }

    /// Opens the pairing of one display: the code, and for how many seconds it goes. The one before is void.
    ///
    /// # Errors
    /// When the system has no random numbers.
    pub fn open_pairing(&self, by: &Pass) -> Result<(String, u64), AccessError> {
        let pairing = Pairing::open(self.clock.now_ns())?;
        let told = pairing.told(self.clock.now_ns());
        let mut state = self.state();
        state.pairing = Some(pairing);
        let who = by.session.as_deref().unwrap_or("here");
        state.audit.note("pairing", Some((by.role, who)), None);
        Ok(told)
    }

    /// Pairs a display by a code.
    ///
    /// # Errors
    /// When the code is wrong or void, or there were too many attempts.
    pub fn pair(&self, code: &str, from: IpAddr) -> Result<Token, AccessError> {
        self.ask(from)?;
        let mut state = self.state();
        let now_ns = self.clock.now_ns();
        let good = state
            .pairing
            .as_mut()
            .is_some_and(|p| p.tried(code, now_ns));
        if !good {
            state.audit.note("pair_failed", None, Some(from));
            let words = "this code is wrong or has run out: ask for a new one on the Rig page";
            return Err(AccessError::Wrong(words));
        }
        state.pairing = None;
        state.throttle.succeeded(from);
        let now = self.now_utc_ns();
        let secrets = state.secrets.now(now_ns).clone();
        let (token, id) = state.sessions.begin(Role::Display, &secrets, now)?;
        state
            .audit
            .note("paired", Some((Role::Display, &id)), Some(from));
        Ok(token)
    }

    /// The displays that are paired.
    #[must_use]
    pub fn displays(&self) -> Vec<Display> {
        self.state().sessions.displays()
    }

    /// Whether a display shows names from now on.
    ///
    /// # Errors
    /// When there is none of this name.
    pub fn show_names(&self, id: &str, names: bool, by: &Pass) -> Result<(), AccessError> {
        let mut state = self.state();
        state.sessions.show_names(id, names)?;
        let event = if names { "names_shown" } else { "names_hidden" };
        let who = by.session.as_deref().unwrap_or("here");
        state.audit.note(event, Some((by.role, who)), None);
        Ok(())
    }

    /// Lets a display go.
    ///
    /// # Errors
    /// When there is none of this name.
    pub fn remove_display(&self, id: &str, by: &Pass) -> Result<(), AccessError> {
        let mut state = self.state();
        if !state.sessions.displays().iter().any(|d| d.id == id) {
            return Err(AccessError::Unknown(id.to_owned()));
        }
        state.sessions.end(id);
        let who = by.session.as_deref().unwrap_or("here");
        state
            .audit
            .note("display_removed", Some((by.role, who)), None);
        Ok(())
    }

    /// Sets the passphrase of a role; all its sessions end. Who asks shows their own again.
    ///
    /// # Errors
    /// When their own is wrong, the new one is too short or another role's, or there is no file for it.
    pub async fn set_passphrase(
        &self,
        (role, passphrase): (Role, String),
        own: String,
        (by, from): (&Pass, IpAddr),
    ) -> Result<(), AccessError> {
        let file = self.file.clone().ok_or_else(|| {
            AccessError::Weak("on this machine alone use `whin access set-passphrase`".into())
        })?;
        self.ask(from)?;
        let _turn = self.hashing.acquire().await;
        let secrets = self.state().secrets.now(self.clock.now_ns()).clone();
        let needed = by.role;
        let set = tokio::task::spawn_blocking(move || {
            if secrets.role_of(&own) != Some(needed) {
                return Err(AccessError::Wrong("your own passphrase is wrong"));
            }
            let mut secrets = secrets;
            secrets.set(role, &passphrase)?;
            secrets.save(&file)?;
            Ok(secrets)
        });
        let set = set
            .await
            .map_err(|why| AccessError::System(why.to_string()))?;
        let mut state = self.state();
        let who = by.session.as_deref().unwrap_or("here");
        let event = if set.is_ok() {
            state.throttle.succeeded(from);
            "passphrase_set"
        } else {
            "passphrase_refused"
        };
        state.audit.note(event, Some((by.role, who)), Some(from));
        state.secrets.set(set?);
        Ok(())
    }

    /// Counts a refusal.
    pub fn count(&self, code: Code) {
        let mut counts = self.counts.lock().unwrap_or_else(PoisonError::into_inner);
        *counts.entry(code).or_default() += 1;
    }

    /// What was refused since the start, by code.
    #[must_use]
    pub fn counts(&self) -> BTreeMap<Code, u64> {
        let counts = self.counts.lock().unwrap_or_else(PoisonError::into_inner);
        counts.clone()
    }

    /// Whether this source may try a passphrase or code now.
    fn ask(&self, from: IpAddr) -> Result<(), AccessError> {
        let mut state = self.state();
        let asked = state.throttle.ask(from, self.clock.now_ns());
        asked.map_err(AccessError::Throttled)
    }

    fn now_utc_ns(&self) -> u64 {
        now_utc_ns(self.clock)
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Sessions count from the date of the start: a date that is set while the program runs ends none.
fn now_utc_ns(clock: Clock) -> u64 {
    clock.zero_utc_ns().saturating_add(clock.now_ns())
}

fn open_words(config: &Config) -> String {
    let listen = config.http.listen;
    let file = config.access_file().map_or_else(
        || "an archive, or `file` under [access] in the configuration, says where".to_owned(),
        |file| format!("it will be in {}", file.display()),
    );
    format!(
        "other machines could reach http.listen {listen} and no coach's passphrase is set: run \
         `whin access set-passphrase --role coach` with the same --config or --archive ({file}), or use \
         127.0.0.1:{port} and, for a screen elsewhere, a tunnel such as `ssh -L {port}:127.0.0.1:{port}`",
        port = listen.port()
    )
}

/// Random bytes of the system.
fn random<const N: usize>() -> Result<[u8; N], AccessError> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).map_err(|why| AccessError::System(why.to_string()))?;
    Ok(bytes)
}

fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::new(), |mut text, byte| {
        // Writing into a text cannot fail.
        write!(text, "{byte:02x}").unwrap_or_default();
        text
    })
}

#[cfg(test)]
mod tests;
