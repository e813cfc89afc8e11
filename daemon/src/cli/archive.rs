//! The command line of the archive.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};

use super::positive;
use crate::archive::date;

/// `whin archive`
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  whin archive enroll --archive DIR --name \"Ottoline Marsh\" --born 1965 --consent lesson\n  whin serve --archive DIR --student s-0123456789\n  whin archive list --archive DIR\n  whin archive verify --archive DIR"
)]
pub struct Archive {
    /// What to do.
    #[command(subcommand)]
    pub verb: ArchiveVerb,
}

/// What can be asked of an archive.
#[derive(Debug, Subcommand)]
pub enum ArchiveVerb {
    /// Add a student with what was consented to; prints the pseudonym.
    Enroll(Enroll),
    /// List students, sessions and swings.
    List(ArchiveList),
    /// Show a session with its swings, or a swing with its results.
    Show(ArchiveShow),
    /// Check that everything is there and undamaged.
    Verify(InArchive),
    /// Write what is left of a torn or damaged recording into a new file.
    Recover(Recover),
    /// Measure recorded swings again with this program; former results stay.
    Reanalyze(Reanalyze),
    /// Write swings as files for others, with a manifest of SHA-256.
    Export(Export),
    /// Take C3D files in as swings of a student.
    Import(Import),
    /// Erase a student with everything recorded and measured.
    Erase(Erase),
    /// Copy the archive to a new folder while bays go on.
    Backup(Backup),
}

/// Which archive, and how to answer.
#[derive(Debug, Args)]
pub struct InArchive {
    /// Folder of the archive.
    #[arg(long, value_name = "DIR")]
    pub archive: PathBuf,
    /// JSON instead of text.
    #[arg(long)]
    pub json: bool,
}

/// `whin archive enroll`
#[derive(Debug, Args)]
pub struct Enroll {
    /// Which archive.
    #[command(flatten)]
    pub at: InArchive,
    /// Name as people say it.
    #[arg(long)]
    pub name: String,
    /// Year of birth.
    #[arg(long, value_name = "YEAR", value_parser = clap::value_parser!(i64).range(1900..2200))]
    pub born: i64,
    /// What was consented to; may be given several times. Without `lesson` nothing is recorded.
    #[arg(long, value_name = "SCOPE", value_parser = ["lesson", "research", "publication"])]
    pub consent: Vec<String>,
    /// Who consented for a minor.
    #[arg(long)]
    pub guardian: Option<String>,
    /// The student's side.
    #[arg(long, value_parser = ["right", "left"])]
    pub side: Option<String>,
    /// For segment masses.
    #[arg(long, value_parser = ["female", "male"])]
    pub sex: Option<String>,
    /// Height, m.
    #[arg(long, value_parser = positive)]
    pub height: Option<f64>,
}

/// `whin archive list`
#[derive(Debug, Args)]
pub struct ArchiveList {
    /// Which archive.
    #[command(flatten)]
    pub at: InArchive,
    /// Only this student's, by pseudonym.
    #[arg(long)]
    pub student: Option<String>,
}

/// `whin archive show`
#[derive(Debug, Args)]
pub struct ArchiveShow {
    /// Which archive.
    #[command(flatten)]
    pub at: InArchive,
    /// Session.
    pub session: String,
    /// Swing of that session.
    pub swing: Option<String>,
}

/// `whin archive reanalyze`
#[derive(Debug, Args)]
pub struct Reanalyze {
    /// Which archive.
    #[command(flatten)]
    pub at: InArchive,
    /// Which sessions [default: all].
    #[command(flatten)]
    pub which: Sessions,
    /// Only this swing of the session.
    #[arg(long, requires = "session")]
    pub swing: Option<String>,
    /// Leave out how surely each value is known (which takes most of the time).
    #[arg(long)]
    pub no_uncertainty: bool,
}

/// Which sessions are meant; none named: all.
#[derive(Debug, Args)]
pub struct Sessions {
    /// Only those of this student, by pseudonym.
    #[arg(long, conflicts_with = "session")]
    pub student: Option<String>,
    /// Only this one.
    #[arg(long)]
    pub session: Option<String>,
}

/// `whin archive export`
#[derive(Debug, Args)]
pub struct Export {
    /// Which archive.
    #[command(flatten)]
    pub at: InArchive,
    /// Which sessions [default: all].
    #[command(flatten)]
    pub which: Sessions,
    /// Shape of the files.
    #[arg(long = "as", value_enum)]
    pub shape: ExportShape,
    /// What the files are for: students who did not consent to it are left out.
    #[arg(long, value_name = "SCOPE", default_value = "lesson", value_parser = ["lesson", "research", "publication"])]
    pub scope: String,
    /// Other pseudonyms, names and dates than the archive's: the same in each anonymous export, dates of
    /// a student moved by the same whole days, no way back without the archive.
    #[arg(long)]
    pub anonymous: bool,
    /// Folder to make.
    #[arg(long, value_name = "DIR")]
    pub to: PathBuf,
}

/// `whin archive import`
#[derive(Debug, Args)]
pub struct Import {
    /// Which archive.
    #[command(flatten)]
    pub at: InArchive,
    /// Whose swings they are, by pseudonym.
    #[arg(long)]
    pub student: String,
    /// Marker map that reads the files' labels: a shipped one or a file.
    #[arg(long, value_name = "MAP", default_value = "whin_32")]
    pub markers: String,
    /// What is known of the golfer and the club (a TOML file).
    #[arg(long, value_name = "FILE")]
    pub context: Option<PathBuf>,
    /// Day of the swings, 2026-03-01 [default: today]. A C3D file does not tell.
    #[arg(long, value_name = "DAY", value_parser = day)]
    pub date: Option<u64>,
    /// Leave out how surely each value is known (which takes most of the time).
    #[arg(long)]
    pub no_uncertainty: bool,
    /// The files.
    #[arg(required = true, value_name = "FILE")]
    pub files: Vec<PathBuf>,
}

fn day(text: &str) -> Result<u64, String> {
    date::noon(text).ok_or_else(|| format!("`{text}` is no day such as 2026-03-01"))
}

/// Shape of exported files.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ExportShape {
    /// One table, a line a value.
    Csv,
    /// One file a swing: its report.
    Json,
    /// The table as Parquet, a file a bay and month.
    Parquet,
    /// One file a swing: its markers, force plates and events.
    C3d,
}

/// `whin archive erase`
#[derive(Debug, Args)]
pub struct Erase {
    /// Which archive.
    #[command(flatten)]
    pub at: InArchive,
    /// The student, by pseudonym.
    pub student: String,
}

/// `whin archive backup`
#[derive(Debug, Args)]
pub struct Backup {
    /// Which archive.
    #[command(flatten)]
    pub at: InArchive,
    /// Folder to make.
    #[arg(long, value_name = "DIR")]
    pub to: PathBuf,
}

/// `whin archive recover`
#[derive(Debug, Args)]
pub struct Recover {
    /// The torn recording.
    pub file: PathBuf,
    /// The file to write.
    #[arg(long, value_name = "FILE")]
    pub to: PathBuf,
    /// JSON instead of text.
    #[arg(long)]
    pub json: bool,
}
