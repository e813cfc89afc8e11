//! `whin access`: passphrases and keys.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};

/// `whin access`
#[derive(Debug, Args)]
#[command(
    after_help = "A coach's passphrase is what lets screens elsewhere in. Displays are paired on the Rig page.\n\nExamples:\n  whin access set-passphrase --role coach --config bay.toml\n  whin access new-key udp.key"
)]
pub struct Access {
    /// What to do.
    #[command(subcommand)]
    pub verb: AccessVerb,
}

/// What can be done about access.
#[derive(Debug, Subcommand)]
pub enum AccessVerb {
    /// Set the passphrase of a role: asked for without showing it, or one line of standard input.
    SetPassphrase(SetPassphrase),
    /// Write a new key for datagrams into a file.
    NewKey(NewKey),
}

/// `whin access set-passphrase`
#[derive(Debug, Args)]
pub struct SetPassphrase {
    /// Whose.
    #[arg(long, value_enum)]
    pub role: Whose,
    /// Configuration file, which says where passphrases are.
    #[arg(long)]
    pub config: Option<PathBuf>,
    /// Folder of the archive; beats the file.
    #[arg(long, value_name = "DIR")]
    pub archive: Option<PathBuf>,
}

/// Who has a passphrase.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Whose {
    /// Gives lessons.
    Coach,
    /// Also sets passphrases and allows names on displays.
    Owner,
}

/// `whin access new-key`
#[derive(Debug, Args)]
pub struct NewKey {
    /// File to be made; one that exists is left alone.
    pub file: PathBuf,
}
