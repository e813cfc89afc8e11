//! `whin access`: a passphrase is read without showing it, a key is made.

use std::io::{IsTerminal as _, Write as _, stderr, stdin};
use std::path::Path;

use anyhow::Context as _;
use nix::sys::termios::{LocalFlags, SetArg, tcgetattr, tcsetattr};

use super::{config, print};
use crate::access::Role;
use crate::access::secrets::{Secrets, new_key};
use crate::cli::{AccessVerb, NewKey, SetPassphrase, Whose};
use crate::config::Flags;
use crate::errors::{Code, wrong};
use crate::private;

pub(super) fn run(verb: &AccessVerb) -> anyhow::Result<()> {
    private::by_default();
    match verb {
        AccessVerb::SetPassphrase(args) => set_passphrase(args),
        AccessVerb::NewKey(args) => make_key(args),
    }
}

fn set_passphrase(args: &SetPassphrase) -> anyhow::Result<()> {
    let flags = Flags {
        archive: args.archive.clone(),
        ..Flags::default()
    };
    let config = config(args.config.as_deref(), flags)?;
    let Some(file) = config.access_file() else {
        wrong!(
            Code::CommandValue,
            "where is it to be kept? Give --archive DIR, or --config FILE with `file` under [access]"
        );
    };
    let mut secrets = Secrets::load(&file)?;
    let (role, whose) = match args.role {
        Whose::Coach => (Role::Coach, "coach"),
        Whose::Owner => (Role::Owner, "owner"),
    };
    secrets.set(role, &passphrase(whose)?)?;
    if let Some(dir) = file
        .parent()
        .filter(|dir| *dir != Path::new("") && !dir.exists())
    {
        private::folder(dir).with_context(|| format!("cannot make {}", dir.display()))?;
    }
    secrets.save(&file)?;
    print(&format!(
        "the {whose}'s passphrase is set in {}; whoever was logged in by the former one has to log in again",
        file.display()
    ))
}

fn make_key(args: &NewKey) -> anyhow::Result<()> {
    let text = new_key()?;
    let made = private::create(&args.file, false).and_then(|mut file| {
        file.write_all(text.as_bytes())?;
        file.sync_all()
    });
    made.with_context(|| format!("cannot make the key file {}", args.file.display()))?;
    print(&format!(
        "key written: set key_file under [udp] to {}, and give the senders a copy by a safe way",
        args.file.display()
    ))
}

/// Twice from a terminal, without showing it; once from a pipe.
fn passphrase(whose: &str) -> anyhow::Result<String> {
    if !stdin().is_terminal() {
        return line();
    }
    let first = hidden(&format!("New passphrase of the {whose}: "))?;
    if hidden("The same again: ")? != first {
        wrong!(
            Code::CommandValue,
            "the two are not the same: nothing was set"
        );
    }
    Ok(first)
}

fn hidden(question: &str) -> anyhow::Result<String> {
    write!(stderr(), "{question}")?;
    stderr().flush()?;
    let before = tcgetattr(stdin())?;
    let mut silent = before.clone();
    silent.local_flags.remove(LocalFlags::ECHO);
    tcsetattr(stdin(), SetArg::TCSAFLUSH, &silent)?;
    let read = line();
    tcsetattr(stdin(), SetArg::TCSAFLUSH, &before)?;
    writeln!(stderr())?;
    read
}

fn line() -> anyhow::Result<String> {
    let mut text = String::new();
    stdin().read_line(&mut text)?;
    Ok(text.trim_end_matches(['\n', '\r']).to_owned())
}
