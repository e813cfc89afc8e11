//! The log of what happened with access: one line of JSON an event, in a file of this user's and in the
//! program's log. Names, passphrases, codes, tokens and addresses are not in it: sessions have a short name,
//! sources one that goes for this run of the program.

use std::io::{self, Write as _};
use std::net::IpAddr;
use std::path::{Path, PathBuf};

use serde::Serialize;
use sha2::{Digest as _, Sha256};
use tracing::{info, warn};

use super::{Role, hex, random};
use crate::clock::Clock;
use crate::errors::Code;
use crate::private;

/// A longer file becomes the former one; the former one before it goes.
const BYTES_MAX: u64 = 1024 * 1024;

#[derive(Debug)]
pub(super) struct Audit {
    file: Option<PathBuf>,
    clock: Clock,
    salt: [u8; 16],
}

#[derive(Serialize)]
struct Line<'a> {
    at_utc_ns: u64,
    event: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    role: Option<Role>,
    #[serde(skip_serializing_if = "Option::is_none")]
    session: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    source: Option<String>,
}

impl Audit {
    pub(super) fn new(file: Option<PathBuf>, clock: Clock) -> Self {
        Self {
            file,
            clock,
            // Without random numbers there is no session either.
            salt: random().unwrap_or_default(),
        }
    }

    /// Notes an event.
    pub(super) fn note(&self, event: &str, who: Option<(Role, &str)>, from: Option<IpAddr>) {
        let line = Line {
            at_utc_ns: self.clock.utc_ns(),
            event,
            role: who.map(|(role, _)| role),
            session: who.map(|(_, session)| session),
            source: from.map(|from| self.source(from)),
        };
        // Our own type: cannot fail.
        let text = serde_json::to_string(&line).unwrap_or_default();
        info!(target: "access", "{text}");
        let Some(file) = &self.file else { return };
        if let Err(why) = append(file, &text) {
            warn!(code = %Code::FileUnwritable, "the log of access {}: {why}", file.display());
        }
    }

    fn source(&self, from: IpAddr) -> String {
        let mut hash = Sha256::new_with_prefix(self.salt);
        hash.update(from.to_canonical().to_string());
        hex(&hash.finalize()[..4])
    }
}

fn append(path: &Path, text: &str) -> io::Result<()> {
    let mut file = private::append(path)?;
    if file.metadata()?.len() > BYTES_MAX {
        std::fs::rename(path, path.with_added_extension("1"))?;
        file = private::append(path)?;
    }
    writeln!(file, "{text}")
}
