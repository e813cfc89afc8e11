//! Passphrases as Argon2id hashes in a file of this user's, and which role a passphrase is.
//!
//! Parameters: 19 MiB, two passes, one lane: the first of the settings that the OWASP Password Storage Cheat
//! Sheet calls equal (Argon2id, RFC 9106). Least length: 15 characters, as NIST SP 800-63B-4 (2025) asks of a
//! password that stands alone (from memory).

use std::fs;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher as _, PasswordVerifier as _};
use argon2::{Algorithm, Argon2, Params, Version};
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use super::{AccessError, Role, hex, random};
use crate::private;

/// Memory, KiB; passes; lanes.
const COST: (u32, u32, u32) = (19 * 1024, 2, 1);
/// Characters of a passphrase.
const LENGTH_LEAST: usize = 15;
/// Bytes of one, so that nobody makes us hash a book.
const BYTES_MOST: usize = 1024;
/// A changed file is looked for this often.
const LOOK_NS: u64 = 1_000_000_000;
/// What is compared with where a role has no passphrase, so that it takes as long.
const NOBODY: &str = "$argon2id$v=19$m=19456,t=2,p=1$bm9ib2R5IGhhcyB0aGlz$AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA";

/// The passphrases' hashes, in the PHC string format.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Secrets {
    version: u32,
    /// The owner's.
    #[serde(default)]
    pub owner: Option<String>,
    /// The coach's.
    #[serde(default)]
    pub coach: Option<String>,
}

impl Secrets {
    /// Those in a file; none where there is no file.
    ///
    /// # Errors
    /// When the file cannot be used.
    pub fn load(path: &Path) -> Result<Self, AccessError> {
        let text = match private::read(path) {
            Err(why) if why.kind() == std::io::ErrorKind::NotFound => return Ok(Self::default()),
            read => read.map_err(|why| AccessError::file(path, why))?,
        };
        // The text of the error would show the line, and with it a hash.
        let odd = |why: toml::de::Error| AccessError::file(path, why.message());
        let secrets: Self = toml::from_str(&text).map_err(odd)?;
        let known = [&secrets.owner, &secrets.coach];
        let good = |hash: &String| PasswordHash::new(hash).is_ok();
        if secrets.version != 1 || !known.into_iter().flatten().all(good) {
            let words = "not version 1 or a damaged hash: set the passphrases again";
            return Err(AccessError::file(path, words));
        }
        Ok(secrets)
    }

    /// Writes them.
    ///
    /// # Errors
    /// When the file cannot be written.
    pub fn save(&self, path: &Path) -> Result<(), AccessError> {
        let written = Self {
            version: 1,
            ..self.clone()
        };
        let text = toml::to_string(&written).map_err(|why| AccessError::file(path, why))?;
        private::write(path, &text).map_err(|why| AccessError::file(path, why))
    }

    /// Sets a role's passphrase.
    ///
    /// # Errors
    /// When it is too short or long, is another role's, or the role has none.
    pub fn set(&mut self, role: Role, passphrase: &str) -> Result<(), AccessError> {
        let weak = |words: &str| Err(AccessError::Weak(words.to_owned()));
        if passphrase.chars().count() < LENGTH_LEAST || passphrase.len() > BYTES_MOST {
            return weak(&format!(
                "a passphrase has at least {LENGTH_LEAST} characters: four or five words that nobody would guess"
            ));
        }
        if self.role_of(passphrase).is_some_and(|of| of != role) {
            return weak("owner and coach need different passphrases");
        }
        let hashed = argon2()
            .and_then(|argon2| argon2.hash_password(passphrase.as_bytes()).ok())
            .ok_or_else(|| AccessError::System("hashing failed".into()))?;
        let place = match role {
            Role::Owner => &mut self.owner,
            Role::Coach => &mut self.coach,
            Role::Display => return weak("a display has no passphrase: it is paired by a code"),
        };
        *place = Some(hashed.to_string());
        Ok(())
    }

    /// Whose passphrase this is. Takes as long whether it is somebody's or nobody's.
    #[must_use]
    pub fn role_of(&self, passphrase: &str) -> Option<Role> {
        let passphrase = &passphrase.as_bytes()[..passphrase.len().min(BYTES_MOST)];
        let is = |hash: &Option<String>| {
            let good = verified(hash.as_deref().unwrap_or(NOBODY), passphrase);
            good && hash.is_some()
        };
        let (owner, coach) = (is(&self.owner), is(&self.coach));
        match (owner, coach) {
            (true, _) => Some(Role::Owner),
            (_, true) => Some(Role::Coach),
            _ => None,
        }
    }

    /// What a session of a role remembers of its passphrase: it ends when another one is set.
    #[must_use]
    pub fn mark(&self, role: Role) -> String {
        let hash = match role {
            Role::Owner => self.owner.as_deref(),
            Role::Coach => self.coach.as_deref(),
            Role::Display => None,
        };
        hash.map_or_else(String::new, |hash| hex(&Sha256::digest(hash)[..8]))
    }
}

fn argon2() -> Option<Argon2<'static>> {
    let (memory, passes, lanes) = COST;
    let params = Params::new(memory, passes, lanes, None).ok()?;
    Some(Argon2::new(Algorithm::Argon2id, Version::V0x13, params))
}

fn verified(hash: &str, passphrase: &[u8]) -> bool {
    let parsed = PasswordHash::new(hash).ok();
    // The cost is that of the hash.
    parsed.is_some_and(|hash| Argon2::default().verify_password(passphrase, &hash).is_ok())
}

/// The secrets of the file, read again when it was changed: `whin access` may set a passphrase meanwhile.
#[derive(Debug)]
pub(super) struct Stored {
    file: Option<PathBuf>,
    secrets: Secrets,
    changed: Option<SystemTime>,
    looked_ns: u64,
}

impl Stored {
    pub(super) fn new(file: Option<PathBuf>) -> Self {
        Self {
            file,
            secrets: Secrets::default(),
            changed: None,
            looked_ns: 0,
        }
    }

    pub(super) fn set(&mut self, secrets: Secrets) {
        self.secrets = secrets;
        self.changed = self.modified();
    }

    pub(super) fn now(&mut self, now_ns: u64) -> &Secrets {
        let due = now_ns.saturating_sub(self.looked_ns) >= LOOK_NS;
        if due && let Some(file) = &self.file {
            self.looked_ns = now_ns;
            let modified = self.modified();
            // A file that cannot be used now changes nothing: what was read before goes on.
            if modified != self.changed
                && let Ok(secrets) = Secrets::load(file)
            {
                self.secrets = secrets;
                self.changed = modified;
            }
        }
        &self.secrets
    }

    fn modified(&self) -> Option<SystemTime> {
        fs::metadata(self.file.as_ref()?).ok()?.modified().ok()
    }
}

/// The text of a new key file for datagrams.
///
/// # Errors
/// When the system has no random numbers.
pub fn new_key() -> Result<String, AccessError> {
    Ok(format!(
        "{}\n",
        hex(&random::<{ protocol::wire::KEY_BYTES }>()?)
    ))
}
