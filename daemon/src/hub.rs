//! Where the pipeline hands over to the screens: the latest picture of a bay, and a bounded queue
//! to each screen. Nothing here waits for a screen. Sockets and HTTP are for `web`.
//!
//! Two kinds of messages: *reliable* ones (status, swing, health) reach every screen, in order and
//! once, or the screen is let go and comes back for a snapshot; *poses* are newest-wins, at most 60
//! a second.

use std::collections::{BTreeMap, VecDeque};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use axum::extract::ws::Utf8Bytes;
use protocol::lesson::Lesson;
use protocol::report::{REFINED, Report, WHOLE};
use protocol::rig::PlateHealth;
use protocol::screen::{Archived, BayState, Health, Hello, Live, Message, Replay, VERSION};
use serde::Serialize;
use tokio::sync::{Notify, mpsc, watch};
use tokio::time::{MissedTickBehavior, interval};
use tracing::{debug, error};

use self::anonymous::anonymous;
pub use self::subscription::Subscription;
use self::subscription::{Pose, Shown};
use crate::errors::Code;

mod anonymous;
mod subscription;

/// Reliable messages that a screen may be behind, half a minute of health: more and it is let go.
const QUEUE: usize = 32;
/// Swings and replays kept in memory.
const SWINGS_KEPT: usize = 20;
/// Bytes of reports in a snapshot; older ones are left to HTTP.
const SNAPSHOT_BYTES: usize = 200 * 1024;
/// Poses go out at most 60 times a second.
const POSE_PERIOD: Duration = Duration::from_micros(16_667);

/// What stays the same of a bay while the program runs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Bay {
    /// Identifier in paths and messages.
    pub id: String,
    /// Name as people say it.
    pub name: String,
    /// IANA time zone of the place.
    pub zone: String,
    /// Version of the program.
    pub program: String,
    /// What the screen says about recording.
    pub recording: String,
}

/// The hand-over of one bay. Shared: the pipeline publishes, the server subscribes.
pub struct Hub {
    bay: Bay,
    picture: Mutex<Picture>,
    plates: Mutex<Vec<PlateHealth>>,
    /// Newest pose of the pipeline, at its rate.
    newest: watch::Sender<Option<Arc<Pose>>>,
    /// Newest pose for the screens, written once, at theirs.
    shown: watch::Sender<Option<Arc<Shown>>>,
}

/// The latest of everything, and who is told.
struct Picture {
    state: BayState,
    health: Option<Health>,
    lesson: Option<Box<Lesson>>,
    landmarks: Arc<Vec<String>>,
    /// Counts changes of `landmarks`.
    landmarks_version: u64,
    /// Oldest first.
    swings: VecDeque<Held>,
    replays: VecDeque<Arc<Replay>>,
    screens: Vec<Screen>,
    counts: Counts,
}

/// What was published since the start.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Counts {
    /// Whole swings by kind.
    pub swings: BTreeMap<String, u64>,
    /// Swings that are in the archive.
    pub archived: u64,
    /// Swings that could not be archived.
    pub unarchived: u64,
}

#[derive(Clone)]
struct Held {
    report: Arc<Report>,
    /// Of its message.
    bytes: usize,
    /// What became of it in the archive, once known.
    archived: Option<Archived>,
}

struct Screen {
    /// Whether names of students are for it.
    names: bool,
    queue: mpsc::Sender<Utf8Bytes>,
    fell_behind: Arc<Notify>,
}

/// What the API tells of a bay at this moment.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BayNow {
    /// What stays the same.
    #[serde(flatten)]
    pub bay: Bay,
    /// State now.
    pub state: BayState,
    /// Landmarks of the live points, in their order.
    pub landmarks: Vec<String>,
    /// Last health, if any.
    pub health: Option<Health>,
}

impl Hub {
    /// A bay without signal.
    #[must_use]
    pub fn new(bay: Bay) -> Self {
        let picture = Picture {
            state: BayState::NoSignal,
            health: None,
            lesson: None,
            landmarks: Arc::default(),
            landmarks_version: 0,
            swings: VecDeque::new(),
            replays: VecDeque::new(),
            screens: Vec::new(),
            counts: Counts::default(),
        };
        Self {
            bay,
            picture: Mutex::new(picture),
            plates: Mutex::default(),
            newest: watch::Sender::default(),
            shown: watch::Sender::default(),
        }
    }

    /// What stays the same of the bay.
    #[must_use]
    pub fn bay(&self) -> &Bay {
        &self.bay
    }

    /// Takes a message into the picture and queues it to every screen. Never waits: a screen whose
    /// queue is full is let go. `Live` goes by [`Hub::live`]; `Hello` is made here and refused.
    pub fn publish(&self, message: Message) {
        if let Message::Live(live) = message {
            return self.live(live);
        }
        let Some(text) = text(&message) else { return };
        let hidden = match &message {
            Message::Lesson(lesson) => Some(Message::Lesson(Box::new(anonymous(lesson)))),
            _ => None,
        };
        let hidden = hidden.as_ref().and_then(self::text);
        let mut picture = self.picture();
        match message {
            Message::Status(status) => picture.state = status.state,
            Message::Health(health) => picture.health = Some(health),
            Message::Swing(swing) => {
                if swing.report.revision == WHOLE {
                    let kind = swing.report.measurement.kind.clone();
                    *picture.counts.swings.entry(kind).or_default() += 1;
                }
                let held = Held {
                    report: Arc::new(swing.report),
                    bytes: text.len(),
                    archived: None,
                };
                if !picture.take_swing(held) {
                    return debug!("an older revision came after a newer one: not shown");
                }
            }
            Message::Archived(said) => picture.note_archived(said),
            Message::Lesson(lesson) => picture.lesson = Some(lesson),
            Message::Hello(_) | Message::Live(_) => return debug!("a hello is not for publishing"),
        }
        picture.tell(&text, hidden.as_ref());
    }

    /// Keeps the replay of a swing for `GET …/replay`; call it before the swing is published.
    /// A replay of the same swing takes the place of the one before.
    pub fn keep_replay(&self, replay: Replay) {
        let mut picture = self.picture();
        picture.replays.retain(|r| r.id != replay.id);
        picture.replays.push_back(Arc::new(replay));
        if picture.replays.len() > SWINGS_KEPT {
            picture.replays.pop_front();
        }
    }

    /// Shows a pose. May be called at the rate of the frames: only the newest goes out. Landmarks
    /// are taken over where they are given; a pose with another number of points than there are
    /// landmarks is not shown.
    pub fn live(&self, mut live: Live) {
        let landmarks = std::mem::take(&mut live.landmarks);
        let mut picture = self.picture();
        if !landmarks.is_empty() && landmarks != *picture.landmarks {
            picture.landmarks = Arc::new(landmarks);
            picture.landmarks_version += 1;
        }
        if live.points.len() != picture.landmarks.len() {
            return debug!(
                points = live.points.len(),
                landmarks = picture.landmarks.len(),
                "pose does not fit its landmarks"
            );
        }
        let (landmarks, landmarks_version) = (picture.landmarks.clone(), picture.landmarks_version);
        drop(picture);
        self.newest.send_replace(Some(Arc::new(Pose {
            live,
            landmarks,
            landmarks_version,
        })));
    }

    /// Screens that are connected and keep up.
    #[must_use]
    pub fn screens(&self) -> usize {
        self.picture()
            .screens
            .iter()
            .filter(|s| !s.queue.is_closed())
            .count()
    }

    /// What was published since the start.
    #[must_use]
    pub fn counts(&self) -> Counts {
        self.picture().counts.clone()
    }

    /// Its state at this moment.
    #[must_use]
    pub fn state(&self) -> BayState {
        self.picture().state
    }

    /// The bay at this moment.
    #[must_use]
    pub fn now(&self) -> BayNow {
        let picture = self.picture();
        BayNow {
            bay: self.bay.clone(),
            state: picture.state,
            landmarks: picture.landmarks.to_vec(),
            health: picture.health.clone(),
        }
    }

    /// Keeps what the plates read now: whoever looks after the rig asks for it. No screen is told, as a
    /// golfer's weight is for nobody's eyes.
    pub fn keep_plates(&self, plates: Vec<PlateHealth>) {
        *self.plates.lock().unwrap_or_else(PoisonError::into_inner) = plates;
    }

    /// What the plates read now, at most half a second old.
    #[must_use]
    pub fn plates(&self) -> Vec<PlateHealth> {
        let plates = self.plates.lock();
        plates.unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// The swings in memory, newest first, at most 20.
    #[must_use]
    pub fn swings(&self) -> Vec<Arc<Report>> {
        self.picture()
            .swings
            .iter()
            .rev()
            .map(|held| held.report.clone())
            .collect()
    }

    /// A swing in memory.
    #[must_use]
    pub fn swing(&self, id: &str) -> Option<Arc<Report>> {
        self.held(id).map(|held| held.report)
    }

    /// What became of a swing in the archive, if that is known and it is in memory.
    #[must_use]
    pub fn archived(&self, id: &str) -> Option<Archived> {
        self.held(id)?.archived
    }

    fn held(&self, id: &str) -> Option<Held> {
        let picture = self.picture();
        let held = picture.swings.iter().find(|held| held.report.id == id);
        held.cloned()
    }

    /// The replay of a swing, if it is in memory.
    #[must_use]
    pub fn replay(&self, id: &str) -> Option<Arc<Replay>> {
        self.picture().replays.iter().find(|r| r.id == id).cloned()
    }

    /// Joins a screen: its first message is a hello with all that was published so far, the next
    /// ones are all that is published from then on. Nothing falls between, nothing comes twice.
    #[must_use]
    pub fn subscribe(&self) -> Subscription {
        self.subscribe_as(true)
    }

    /// The same; without `names` lessons come without those, for a display that everybody sees.
    #[must_use]
    pub fn subscribe_as(&self, names: bool) -> Subscription {
        let (sender, queue) = mpsc::channel(QUEUE);
        let fell_behind = Arc::new(Notify::new());
        let mut picture = self.picture();
        picture.screens.push(Screen {
            names,
            queue: sender,
            fell_behind: fell_behind.clone(),
        });
        let (state, health) = (picture.state, picture.health.clone());
        let lesson = picture.lesson.clone().map(|lesson| match names {
            true => lesson,
            false => Box::new(anonymous(&lesson)),
        });
        let (landmarks, landmarks_version) = (picture.landmarks.clone(), picture.landmarks_version);
        let swings = picture.snapshot_swings();
        drop(picture);
        // Written outside the lock: a long hello must not hold the pipeline.
        let hello = Message::Hello(Hello {
            version: VERSION.into(),
            program: self.bay.program.clone(),
            bay: self.bay.id.clone(),
            bay_name: self.bay.name.clone(),
            recording: match &lesson {
                Some(lesson) => lesson.recording.clone(),
                None => self.bay.recording.clone(),
            },
            state,
            landmarks: landmarks.to_vec(),
            swings: swings.iter().map(|held| (*held.report).clone()).collect(),
            health,
            archived: swings
                .into_iter()
                .filter_map(|held| held.archived)
                .collect(),
            lesson,
        });
        let shown = self.shown.subscribe();
        Subscription {
            hello: text(&hello),
            queue,
            fell_behind,
            shown,
            landmarks_version,
        }
    }

    /// Writes the newest pose for the screens, at most 60 times a second, until dropped.
    pub(crate) async fn pass_poses_on(&self) {
        let mut newest = self.newest.subscribe();
        newest.mark_changed();
        let mut beat = interval(POSE_PERIOD);
        beat.set_missed_tick_behavior(MissedTickBehavior::Delay);
        while newest.changed().await.is_ok() {
            beat.tick().await;
            let pose = newest.borrow_and_update().clone();
            if self.shown.receiver_count() > 0
                && let Some(pose) = pose
                && let Some(text) = text(&Message::Live(pose.live.clone()))
            {
                self.shown
                    .send_replace(Some(Arc::new(Shown { pose, text })));
            }
        }
    }

    /// A panic elsewhere must not take the screens along: every field is valid by itself.
    fn picture(&self) -> MutexGuard<'_, Picture> {
        self.picture.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Picture {
    /// Takes a report in: a revision in the place of its swing. False when it is older.
    fn take_swing(&mut self, held: Held) -> bool {
        let place = self
            .swings
            .iter_mut()
            .find(|other| other.report.id == held.report.id);
        if let Some(place) = place {
            let newer = held.report.revision >= place.report.revision;
            if newer {
                let archived = place.archived.take();
                *place = Held { archived, ..held };
            }
            return newer;
        }
        if held.report.revision >= REFINED && self.swings.len() == SWINGS_KEPT {
            // Its first reports have been pushed out: it is no new swing.
            return false;
        }
        self.swings.push_back(held);
        if self.swings.len() > SWINGS_KEPT {
            self.swings.pop_front();
        }
        true
    }

    /// A swing that is not in memory any more is left aside.
    fn note_archived(&mut self, said: Archived) {
        match said.archived {
            true => self.counts.archived += 1,
            false => self.counts.unarchived += 1,
        }
        let held = self.swings.iter_mut().find(|h| h.report.id == said.id);
        if let Some(held) = held {
            held.archived = Some(said);
        }
    }

    /// The newest reports that fit in a snapshot, oldest first.
    fn snapshot_swings(&self) -> Vec<Held> {
        let mut bytes = 0;
        let fits = |held: &&Held| {
            bytes += held.bytes;
            bytes <= SNAPSHOT_BYTES
        };
        let mut swings: Vec<_> = self.swings.iter().rev().take_while(fits).cloned().collect();
        swings.reverse();
        swings
    }

    /// Queues to every screen, `hidden` to those that are not for names; lets go those that are gone or
    /// behind.
    fn tell(&mut self, text: &Utf8Bytes, hidden: Option<&Utf8Bytes>) {
        self.screens.retain(|screen| {
            let own = hidden.filter(|_| !screen.names).unwrap_or(text);
            let sent = screen.queue.try_send(own.clone());
            if let Err(mpsc::error::TrySendError::Full(_)) = sent {
                screen.fell_behind.notify_one();
            }
            sent.is_ok()
        });
    }
}

fn text(message: &Message) -> Option<Utf8Bytes> {
    let written = serde_json::to_string(message);
    // Our own types with text keys: cannot fail.
    written
        .inspect_err(|e| error!(code = %Code::Internal, "message cannot be written: {e}"))
        .ok()
        .map(Into::into)
}

#[cfg(test)]
mod tests;
