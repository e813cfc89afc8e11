//! Messages from the daemon to its screens, over WebSocket as JSON text, one object a message.
//!
//! Every message names the bay. A client gets [`Message::Hello`] first, with a snapshot; fields
//! that it does not know it ignores; a different major [`VERSION`] it refuses.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::lesson::Lesson;
use crate::report::Report;
use crate::rig::ClockHealth;

/// Version of the screen messages: `major.minor`. Additive within a major.
pub const VERSION: &str = "1.0";

/// One message to a screen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "type", rename_all = "snake_case")]
pub enum Message {
    /// First message of a connection: versions and a snapshot.
    Hello(Hello),
    /// The bay changed state.
    Status(Status),
    /// The newest pose, at most 60 times a second; a slow client gets the newest only.
    Live(Live),
    /// A swing was measured.
    Swing(Swing),
    /// Streams, once a second.
    Health(Health),
    /// A swing is archived for good, or is not.
    Archived(Archived),
    /// The lesson changed: all of it.
    Lesson(Box<Lesson>),
}

/// What a new client needs to draw the screen at once.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Hello {
    /// [`VERSION`] of the messages that follow.
    pub version: String,
    /// Version of the program.
    pub program: String,
    /// Bay id.
    pub bay: String,
    /// Name of the bay as people say it.
    pub bay_name: String,
    /// What the screen says about recording (no student with consent: not recorded).
    pub recording: String,
    /// State now.
    pub state: BayState,
    /// Landmarks of the live points, in their order.
    pub landmarks: Vec<String>,
    /// The last swings, oldest first, at most 20; short form is the same form.
    pub swings: Vec<Report>,
    /// Last health, if any.
    pub health: Option<Health>,
    /// What became of `swings` in the archive, where that is known.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub archived: Vec<Archived>,
    /// The lesson, where there is an archive.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lesson: Option<Box<Lesson>>,
}

/// State of a bay as the screen words it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum BayState {
    /// No frames arrive.
    NoSignal,
    /// Frames arrive, nobody stands at address.
    Waiting,
    /// The club rests at address.
    AtAddress,
    /// The club moves from address.
    InMotion,
    /// A swing has passed impact and is being measured.
    Measuring,
    /// A result is shown.
    Result,
}

/// The bay changed state.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Status {
    /// Bay id.
    pub bay: String,
    /// New state.
    pub state: BayState,
    /// Device time of the change in seconds, if the state came from data.
    pub time_s: Option<f64>,
}

/// The newest pose.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Live {
    /// Bay id.
    pub bay: String,
    /// Device time in seconds.
    pub time_s: f64,
    /// Landmarks of `points`, in order. In every message, because a slow client misses some.
    pub landmarks: Vec<String>,
    /// One point a landmark in bay axes, metres (X target, Y up, Z); `null` when not seen.
    pub points: Vec<Option<[f32; 3]>>,
    /// Way of the pelvis toward the target since address, metres: at address and in motion only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pelvis_shift: Option<f64>,
    /// Turn of the pelvis since address, degrees, positive open: at address and in motion only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pelvis_rotation: Option<f64>,
}

/// A swing was measured.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Swing {
    /// Bay id.
    pub bay: String,
    /// The report.
    #[serde(flatten)]
    pub report: Report,
}

/// What became of a swing in the archive. Nothing is said of it where there is no archive.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Archived {
    /// Bay id.
    pub bay: String,
    /// Swing id.
    pub id: String,
    /// Whether recording and report are both on the disk.
    pub archived: bool,
    /// Why not, in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}

/// Streams and queues of a bay.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Health {
    /// Bay id.
    pub bay: String,
    /// One entry a stream, by stream id.
    pub streams: Vec<StreamHealth>,
    /// Plain findings with what to do, worst first; empty when all is well.
    pub findings: Vec<Finding>,
    /// Receive buffer of the socket in bytes: asked for and granted.
    pub receive_buffer: ReceiveBuffer,
    /// Datagrams dropped because the analysis could not keep up.
    pub dropped: u64,
    /// Datagrams that were refused, by reason.
    pub refused: Vec<Refused>,
    /// What waits before each thread of the bay.
    #[serde(default)]
    pub queues: Vec<Queue>,
}

/// A queue between two threads.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Queue {
    /// Its name.
    pub name: String,
    /// What is in it.
    pub waiting: u64,
    /// What fits.
    pub room: u64,
}

/// Counters of one stream since its sender (re)started.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StreamHealth {
    /// Stream id.
    pub stream: u32,
    /// What it carries: `markers`, `forces`, `trigger`, `unknown`.
    pub content: String,
    /// Frames, blocks or pulses a second, by the described rate (device) …
    pub rate_hz: Option<f64>,
    /// … and as seen over the last second of arrivals.
    pub seen_hz: f64,
    /// Datagrams received.
    pub received: u64,
    /// Sequence numbers that never came.
    pub lost: u64,
    /// Datagrams that came twice.
    pub duplicate: u64,
    /// Datagrams that came after their place was given up.
    pub late: u64,
    /// Datagrams that came out of order but in time.
    pub reordered: u64,
    /// Lost ÷ (received + lost) over the last ten seconds of device time, percent.
    pub loss_percent: f64,
    /// Landmarks not seen in the newest frame, of how many.
    pub hidden: Vec<String>,
    /// Landmarks described.
    pub landmarks: u32,
    /// Its clock, once something of it came by the network.
    #[serde(default)]
    pub clock: Option<ClockHealth>,
    /// How much later than the markers the configuration says it is, milliseconds; negative: earlier.
    #[serde(default)]
    pub told_late_ms: f64,
}

/// A finding with what to do.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Finding {
    /// Stable code.
    pub code: String,
    /// `info`, `warning` or `error`.
    pub severity: String,
    /// What is wrong and what to do.
    pub text: String,
}

/// Receive buffer of the UDP socket, bytes.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ReceiveBuffer {
    /// Asked for.
    pub asked: u64,
    /// Granted by the kernel.
    pub granted: u64,
}

/// Datagrams that were refused for one reason.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Refused {
    /// Why, in words.
    pub reason: String,
    /// How many since the start.
    pub count: u64,
}

/// The body of `GET /api/v1/bays/{bay}/swings/{id}/replay`: the pose of a swing's window.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Replay {
    /// Swing id.
    pub id: String,
    /// `right` or `left`.
    pub handed: String,
    /// Frames a second in `frames`, at most 120.
    pub rate_hz: f64,
    /// Device time of the first frame, seconds.
    pub start_s: f64,
    /// Landmarks in the order of the points.
    pub landmarks: Vec<String>,
    /// One list of points a frame, in bay axes, metres; `null` when not known.
    pub frames: Vec<Vec<Option<[f32; 3]>>>,
    /// The ground under the golfer, where there are force plates.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ground: Option<ReplayGround>,
}

/// Force plates during a replay, at the times of its frames.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReplayGround {
    /// The golfer's weight, newtons: what 100 % of body weight is; `null` when not known.
    pub body_weight_n: Option<f64>,
    /// One entry a plate.
    pub plates: Vec<ReplayPlate>,
}

/// One force plate during a replay, in bay axes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReplayPlate {
    /// Its name in sentences: `plate 1`.
    pub name: String,
    /// Whose it is: `lead` or `trail`; `null` when no foot or both stand on it.
    pub foot: Option<String>,
    /// Its corners around the surface, metres; `null` when its place is not known.
    pub corners: Option<[[f32; 3]; 4]>,
    /// Force of the ground on the golfer, newtons, one a frame; `null` when not measured. Empty when
    /// the plate gives nothing.
    pub forces: Vec<Option<[f32; 3]>>,
    /// Center of pressure, metres, one a frame; `null` without load.
    pub centers: Vec<Option<[f32; 3]>>,
    /// Why it gives nothing, in plain words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}
