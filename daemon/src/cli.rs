//! The command line: what can be asked, and the translation of each question into a call. The work
//! is elsewhere.

use std::net::{SocketAddr, ToSocketAddrs as _};
use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};

mod access;
mod archive;

pub use access::*;
pub use archive::*;

/// Whin measures golf swings from live markers: it finds each swing by itself, computes its events
/// and metrics, and shows them on the bay's screen seconds after the shot.
#[derive(Debug, Parser)]
#[command(
    version,
    after_help = "Examples:\n  whin demo\n  whin serve --markers club_led\n  whin send take.c3d --to 127.0.0.1:47800 --markers club_led\n  whin analyze take.c3d --markers club_led --json"
)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
    /// How logs are written (standard error).
    #[arg(long, global = true, value_enum, default_value_t = LogFormat::Text)]
    pub log: LogFormat,
}

/// How logs are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum LogFormat {
    /// Lines for people.
    Text,
    /// One JSON object a line.
    Json,
}

/// What can be asked.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// The bay on this machine with a synthetic golfer: open the printed address.
    Demo(Demo),
    /// Receive, measure, show: the bay itself.
    Serve(Serve),
    /// Stream a C3D take or a recording as datagrams at its own pace.
    Send(Send),
    /// Measure every swing of a C3D take or a recording, without a network.
    Analyze(Analyze),
    /// Read a calibration trial: what it gave, or the table for a context file.
    Calibrate(Calibrate),
    /// Write a take of the synthetic golfer with its exact truth.
    Synthesize(Synthesize),
    /// List every metric with its unit, sign, definition and source.
    Metrics(Metrics),
    /// Keep, list, verify and measure again what bays have recorded.
    Archive(Archive),
    /// Passphrases for screens elsewhere, keys for datagrams.
    Access(Access),
    /// Check configuration and marker map, or print the defaults.
    Check(Check),
}

/// `whin demo`
#[derive(Debug, Args)]
pub struct Demo {
    /// Address of the screen [default: 127.0.0.1:8080, with --shots any free port].
    #[arg(long)]
    pub http: Option<SocketAddr>,
    /// Stop after this many shots, printing a report of each with the golfer's truth.
    #[arg(long, value_parser = clap::value_parser!(u32).range(1..))]
    pub shots: Option<u32>,
    /// Print reports as JSON, one line a shot.
    #[arg(long)]
    pub json: bool,
    /// Seed of the first swing.
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// Times faster than life.
    #[arg(long, default_value_t = 1.0, value_parser = positive)]
    pub pace: f64,
    /// Bays of the hall, a golfer in each.
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=32))]
    pub bays: u32,
    /// Folder of an archive that stays: lessons of invented students are kept there [default: one that is
    /// removed at the end].
    #[arg(long, value_name = "DIR")]
    pub archive: Option<PathBuf>,
    /// Serve this folder instead of the embedded page (for developing).
    #[arg(long = "static", value_name = "DIR")]
    pub statics: Option<PathBuf>,
}

/// `whin serve`
#[derive(Debug, Args)]
pub struct Serve {
    /// Configuration file; without one, defaults on this machine only.
    #[arg(long)]
    pub config: Option<PathBuf>,
    /// Address of the datagram socket; beats the file.
    #[arg(long)]
    pub udp: Option<SocketAddr>,
    /// Address of the screen; beats the file.
    #[arg(long)]
    pub http: Option<SocketAddr>,
    /// Marker map, by name or path; beats the file.
    #[arg(long)]
    pub markers: Option<String>,
    /// Context file (golfer and club); beats the file.
    #[arg(long, visible_alias = "golfer", value_name = "FILE")]
    pub context: Option<PathBuf>,
    /// Folder for a recording of every datagram; beats the file.
    #[arg(long, value_name = "DIR", conflicts_with = "archive")]
    pub record: Option<PathBuf>,
    /// Folder of an archive; beats the file.
    #[arg(long, value_name = "DIR")]
    pub archive: Option<PathBuf>,
    /// Pseudonym of the student whose session begins; beats the file.
    #[arg(long, value_name = "STUDENT")]
    pub student: Option<String>,
    /// Serve this folder instead of the embedded page (for developing).
    #[arg(long = "static", value_name = "DIR")]
    pub statics: Option<PathBuf>,
}

/// `whin send`
#[derive(Debug, Args)]
pub struct Send {
    /// C3D take or recording.
    pub file: PathBuf,
    /// Receiver, host and port.
    #[arg(long, value_name = "HOST:PORT", value_parser = address)]
    pub to: SocketAddr,
    /// Marker map whose axes travel with the description.
    #[arg(long)]
    pub markers: Option<String>,
    /// Times faster than life.
    #[arg(long, default_value_t = 1.0, value_parser = positive)]
    pub pace: f64,
    /// Key that the receiver has too (`whin access new-key`).
    #[arg(long, value_name = "FILE")]
    pub key_file: Option<PathBuf>,
}

/// `whin analyze`
#[derive(Debug, Args)]
pub struct Analyze {
    /// C3D take or recording.
    pub file: PathBuf,
    /// Marker map, by name or path; a recording brings its own.
    #[arg(long)]
    pub markers: Option<String>,
    /// JSON instead of a table.
    #[arg(long)]
    pub json: bool,
    /// Leave out how surely each value is known (which takes most of the time).
    #[arg(long)]
    pub no_uncertainty: bool,
    /// The golfer's side.
    #[arg(long, value_enum, default_value_t = Side::Auto)]
    pub handed: Side,
    /// Context file (golfer and club).
    #[arg(long, visible_alias = "golfer", value_name = "FILE")]
    pub context: Option<PathBuf>,
}

/// `whin calibrate`
#[derive(Debug, Args)]
#[command(
    after_help = "The golfer stands still for two seconds with the medial markers of knees, ankles and elbows on, then\nmoves each leg forward, back and to the side. A context file names the trial by\n`calibration_trial = \"trial.c3d\"`, or holds the table that --toml prints.\n\nExamples:\n  whin calibrate trial.c3d\n  whin calibrate trial.c3d --toml >> golfer.toml\n  whin analyze take.c3d --context golfer.toml"
)]
pub struct Calibrate {
    /// C3D take or recording of the trial.
    #[arg(value_name = "TRIAL")]
    pub file: PathBuf,
    /// Marker map, by name or path; a recording brings its own.
    #[arg(long)]
    pub markers: Option<String>,
    /// Print the `calibration` table of a context file instead of words.
    #[arg(long)]
    pub toml: bool,
}

/// `whin synthesize`
#[derive(Debug, Args)]
pub struct Synthesize {
    /// Seed: the same seed gives the same take.
    #[arg(long)]
    pub seed: u64,
    /// How the golfer moves.
    #[arg(long, default_value = "balanced", value_parser = style, help = styles())]
    pub style: analysis::forward::Style,
    /// The golfer's side, right or left.
    #[arg(long, default_value = "right", value_parser = side)]
    pub side: analysis::handed::Handed,
    /// Club.
    #[arg(long, value_parser = club, help = clubs())]
    pub club: Option<analysis::forward::Club>,
    /// How the ball is met.
    #[arg(long, value_enum, default_value_t = Strike::Centered)]
    pub ball: Strike,
    /// Club head speed at impact, m/s.
    #[arg(long, value_parser = positive)]
    pub speed: Option<f64>,
    /// Frames a second.
    #[arg(long, default_value_t = 360.0, value_parser = positive)]
    pub rate: f64,
    /// Marker noise, standard deviation a coordinate, mm.
    #[arg(long, default_value_t = 0.5)]
    pub noise_mm: f64,
    /// Share of marker samples missing, percent.
    #[arg(long, default_value_t = 0.0)]
    pub dropouts: f64,
    /// Also write `calibration.c3d` and `calibration.json`: the same golfer stands, moves each leg
    /// about its hip, stands again; medial markers on.
    #[arg(long)]
    pub calibration: bool,
    /// Leave out the force plates under the golfer's feet.
    #[arg(long)]
    pub no_plates: bool,
    /// A lesson of so many minutes instead of one swing: shots and everything between them, as `lesson.mcap` and `labels.json`. Style, club, ball and speed are drawn by the seed.
    #[arg(long, value_name = "MINUTES", value_parser = positive)]
    pub lesson: Option<f64>,
    /// In a lesson: markers get lost, are exchanged and belong to others.
    #[arg(long, requires = "lesson")]
    pub faults: bool,
    /// In a lesson: the sender restarts, jumps in time, changes its rate.
    #[arg(long, requires = "lesson")]
    pub upsets: bool,
    /// In a lesson: two force plates lie under the golfer's address.
    #[arg(long, requires = "lesson")]
    pub plates: bool,
    /// In a lesson: skin markers swing behind the bones.
    #[arg(long, requires = "lesson")]
    pub wobble: bool,
    /// In a lesson: the club has no markers.
    #[arg(long, requires = "lesson")]
    pub no_club: bool,
    /// In a lesson: a microphone beside the ball sends a pulse when it is struck.
    #[arg(long, requires = "lesson")]
    pub trigger: bool,
    /// In a lesson: the place of the ball is not told.
    #[arg(long, requires = "lesson")]
    pub ball_unknown: bool,
    /// Folder to write `take.c3d` and `truth.json` to.
    #[arg(long)]
    pub out: PathBuf,
}

/// `whin metrics`
#[derive(Debug, Args)]
pub struct Metrics {
    /// JSON instead of a table.
    #[arg(long)]
    pub json: bool,
}

/// `whin check`
#[derive(Debug, Args)]
pub struct Check {
    /// Configuration file.
    #[arg(long)]
    pub config: Option<PathBuf>,
    /// Print the default configuration, commented, and stop.
    #[arg(long)]
    pub print_defaults: bool,
    /// Read a sync tap from this take or recording: how late the plates are against the markers. Strike
    /// each plate five times with the club's marked head, from a hand's width above, and lift it at once;
    /// nobody stands on the plates. Record it by `whin serve --record DIR`.
    #[arg(long, value_name = "FILE")]
    pub tap: Option<PathBuf>,
    /// Marker map for --tap [default: that of the recording, else whin_32].
    #[arg(long, requires = "tap")]
    pub markers: Option<String>,
}

/// The golfer's side as an option.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Side {
    /// Right-handed.
    Right,
    /// Left-handed.
    Left,
    /// Found from the motion.
    Auto,
}

impl Side {
    /// The side, if one was named.
    #[must_use]
    pub fn handed(self) -> Option<analysis::handed::Handed> {
        match self {
            Self::Right => Some(analysis::handed::Handed::Right),
            Self::Left => Some(analysis::handed::Handed::Left),
            Self::Auto => None,
        }
    }
}

/// How the ball is met, as an option.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Strike {
    /// In the middle of the face.
    Centered,
    /// Toward heel or toe.
    OffCenter,
    /// Not at all.
    Missed,
}

impl Strike {
    /// The golfer's parameter.
    #[must_use]
    pub fn ball(self) -> analysis::forward::Ball {
        match self {
            Self::Centered => analysis::forward::Ball::Centered,
            Self::OffCenter => analysis::forward::Ball::OffCenter,
            Self::Missed => analysis::forward::Ball::Missed,
        }
    }
}

fn positive(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(v) if v.is_finite() && v > 0.0 => Ok(v),
        _ => Err("a number above 0 is needed".into()),
    }
}

fn address(text: &str) -> Result<SocketAddr, String> {
    let mut found = text
        .to_socket_addrs()
        .map_err(|e| format!("host and port are needed, like 127.0.0.1:47800 ({e})"))?;
    found
        .next()
        .ok_or_else(|| format!("`{text}` has no address"))
}

/// A value by its name, or a message that lists the names.
fn by_name<T: Copy>(all: &[T], name: impl Fn(T) -> &'static str, text: &str) -> Result<T, String> {
    let names = || all.iter().map(|&v| name(v)).collect::<Vec<_>>().join(", ");
    all.iter()
        .copied()
        .find(|&v| name(v) == text)
        .ok_or_else(|| format!("one of {} is needed", names()))
}

fn side(text: &str) -> Result<analysis::handed::Handed, String> {
    analysis::handed::Handed::from_name(text).ok_or_else(|| "right or left is needed".to_owned())
}

fn styles() -> String {
    format!(
        "How the golfer moves: {}",
        analysis::forward::Style::ALL.map(|s| s.name()).join(", ")
    )
}

fn clubs() -> String {
    format!(
        "Club: {} [default: drawn by the seed]",
        analysis::forward::Club::ALL.map(|c| c.name()).join(", ")
    )
}

fn style(text: &str) -> Result<analysis::forward::Style, String> {
    by_name(
        &analysis::forward::Style::ALL,
        analysis::forward::Style::name,
        text,
    )
}

fn club(text: &str) -> Result<analysis::forward::Club, String> {
    by_name(
        &analysis::forward::Club::ALL,
        analysis::forward::Club::name,
        text,
    )
}
