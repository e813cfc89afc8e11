//! What one screen gets, in which order.

use std::sync::Arc;

use axum::extract::ws::Utf8Bytes;
use protocol::screen::{Live, Message};
use tokio::sync::{Notify, mpsc, watch};

use super::text;

/// A pose with the landmarks that its points stand for.
pub(super) struct Pose {
    /// Its `landmarks` are empty.
    pub(super) live: Live,
    pub(super) landmarks: Arc<Vec<String>>,
    pub(super) landmarks_version: u64,
}

pub(super) struct Shown {
    pub(super) pose: Arc<Pose>,
    pub(super) text: Utf8Bytes,
}

/// The messages to one screen.
pub struct Subscription {
    pub(super) hello: Option<Utf8Bytes>,
    pub(super) queue: mpsc::Receiver<Utf8Bytes>,
    pub(super) fell_behind: Arc<Notify>,
    pub(super) shown: watch::Receiver<Option<Arc<Shown>>>,
    /// Landmarks that the screen knows.
    pub(super) landmarks_version: u64,
}

impl Subscription {
    /// The next message: reliable ones first, else the newest pose that was not sent yet. `None`
    /// after the screen was let go and its queue is empty. Nothing is lost if this is dropped while
    /// it waits.
    pub async fn next(&mut self) -> Option<Utf8Bytes> {
        if let Some(hello) = self.hello.take() {
            return Some(hello);
        }
        loop {
            tokio::select! {
                biased;
                message = self.queue.recv() => return message,
                changed = self.shown.changed() => {
                    changed.ok()?;
                    if let Some(text) = self.pose() {
                        return Some(text);
                    }
                }
            }
        }
    }

    /// Is signalled when the screen was let go because it fell behind.
    #[must_use]
    pub fn fell_behind(&self) -> Arc<Notify> {
        self.fell_behind.clone()
    }

    /// The newest pose, with the landmarks if the screen does not know them.
    fn pose(&mut self) -> Option<Utf8Bytes> {
        let shown = self.shown.borrow_and_update().clone()?;
        let Pose {
            live,
            landmarks,
            landmarks_version,
        } = &*shown.pose;
        if self.landmarks_version == *landmarks_version {
            return Some(shown.text.clone());
        }
        self.landmarks_version = *landmarks_version;
        text(&Message::Live(Live {
            landmarks: landmarks.to_vec(),
            ..live.clone()
        }))
    }
}
