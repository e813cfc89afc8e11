//! The recording of a session while the disk allows it: arrivals go in, the disk is watched, a recording that
//! stops is begun again in another file. What is filed is `writer`'s own matter.

use std::sync::atomic::Ordering;

use anyhow::Context as _;
use tracing::{error, info};

use super::super::board::TapeNow;
use super::super::disk::{Space, Verdict, Watch};
use super::super::held::Held;
use super::super::rows::Which;
use super::super::sync_dir;
use super::super::tape::Running;
use super::{Desk, Tape};
use crate::errors::Code;
use crate::health::finding;
use crate::receive::Arrival;
use crate::recording::{Meta, Recorder};
use protocol::rig::RecordingNow;

/// The room on the disk is looked at this often, nanoseconds.
const LOOK_NS: u64 = 250_000_000;
/// What a power cut may cost while nobody swings, nanoseconds.
const SYNC_NS: u64 = 2_000_000_000;
/// After a failure of the disk the next attempt comes after this, nanoseconds.
const RETRY_NS: u64 = 5_000_000_000;

impl Desk<'_> {
    pub(super) fn arrival(&mut self, arrival: &Arrival) {
        self.now_ns = match arrival {
            Arrival::Datagram { received_ns, .. } => *received_ns,
            Arrival::Tick { now_ns } => *now_ns,
        };
        self.note_gaps();
        if self.now_ns >= self.look_ns {
            self.look_ns = self.now_ns + LOOK_NS;
            self.look();
            self.board.show_tape(self.tape_now());
        }
        let Tape::Running(running) = &mut self.tape else {
            return;
        };
        if let Err(why) = running.take(arrival, self.now_ns) {
            return self.stop(Code::ArchiveStopped, format!("the disk fails: {why}"));
        }
        if let Arrival::Datagram { received_ns, bytes } = arrival {
            self.ring.push(*received_ns, bytes);
        }
        if self.now_ns.saturating_sub(running.synced_ns) >= SYNC_NS {
            running.synced_ns = self.now_ns;
            if let Err(why) = running.recorder.sync() {
                self.stop(Code::ArchiveStopped, format!("the disk fails: {why}"));
            }
        }
    }

    /// A datagram that found the queue full came after the arrival in hand and before now.
    fn note_gaps(&mut self) {
        let lost = self.dropped.recording.load(Ordering::Relaxed);
        if lost != self.lost {
            self.lost = lost;
            self.gaps
                .push_back((self.now_ns, self.start.clock.now_ns()));
            if self.gaps.len() > 1024 {
                self.gaps.pop_front();
            }
        }
    }

    /// Looks at the disk: stops, warns, begins.
    pub(super) fn look(&mut self) {
        let Ok(space) = Space::of(self.start.archive.dir()) else {
            return self.stop(Code::ArchiveStopped, "the archive's folder is gone".into());
        };
        let now_ns = self.now_ns;
        match &mut self.tape {
            Tape::Running(running) => {
                running.watch.wrote(now_ns, running.recorder.bytes());
                match running.watch.verdict(space) {
                    Verdict::Enough => self.board.show(Vec::new()),
                    Verdict::Low(minutes) => self.board.show(vec![finding(
                        Code::DiskLow,
                        "warning",
                        format!("About {minutes:.0} minutes of recording fit on the archive's disk: make room on it."),
                    )]),
                    Verdict::Full => self.stop(Code::DiskFull, full_words(space)),
                }
            }
            Tape::Stopped { .. } if self.seat.session.is_none() => {}
            Tape::Stopped { retry_ns, .. } if now_ns < *retry_ns => {}
            Tape::Stopped { .. } if !space.may_begin() => {
                self.stop(Code::DiskFull, full_words(space));
            }
            Tape::Stopped { .. } => self.begin(),
        }
    }

    fn tape_now(&self) -> TapeNow {
        let waiting = self.waiting.len();
        match &self.tape {
            Tape::Running(running) => TapeNow {
                recording: Some(RecordingNow {
                    file: running.file.clone(),
                    bytes: running.recorder.bytes(),
                }),
                minutes_left: Space::of(self.start.archive.dir())
                    .ok()
                    .and_then(|space| running.watch.minutes_left(space)),
                stopped: None,
                waiting,
            },
            Tape::Stopped { why, .. } => TapeNow {
                stopped: Some(match self.seat.session {
                    Some(_) => why.clone(),
                    None => self.seat.note.clone(),
                }),
                waiting,
                ..TapeNow::default()
            },
        }
    }

    fn begin(&mut self) {
        match self.new_recording() {
            Ok(running) => {
                self.tape = Tape::Running(Box::new(running));
                self.board.show(Vec::new());
            }
            Err(why) => self.stop(
                Code::ArchiveStopped,
                format!("no recording begins: {why:#}"),
            ),
        }
    }

    fn new_recording(&mut self) -> anyhow::Result<Running> {
        let session = self.seat.session.as_ref();
        let session = &session.context("nobody's session is open")?.id;
        let archive = &mut self.start.archive;
        let mut files = archive.store.recordings(Which::Session(session))?.len() + 1;
        let named = |n: usize| match n {
            1 => format!("{session}.mcap"),
            n => format!("{session}-{n}.mcap"),
        };
        // A file that was begun and never got its row is left as it is.
        while archive.recording(&named(files)).exists() {
            files += 1;
        }
        let file = named(files);
        let path = archive.recording(&file);
        // The file first: a row without one would be damage, a file without one is a leftover.
        let meta = Meta {
            context: self.seat.context_text.clone(),
            ..self.start.meta.clone()
        };
        let mut recorder = Recorder::create(&path, &meta)?;
        recorder.sync()?;
        if let Some(dir) = path.parent() {
            sync_dir(dir)?;
        }
        let row = archive.store.add_recording(session, &file)?;
        info!(session, file, "recording");
        Ok(Running {
            recorder,
            file,
            row,
            watch: Watch::default(),
            synced_ns: self.now_ns,
            held: self.start.around.map(Held::new),
        })
    }

    /// Completes the recording where that is possible, and says why.
    pub(super) fn stop(&mut self, code: Code, why: String) {
        let retry_ns = match code {
            Code::DiskFull => 0,
            _ => self.now_ns.saturating_add(RETRY_NS),
        };
        self.board.show(vec![finding(
            code,
            "error",
            format!("Recording stopped, it goes on by itself when it can: {why}."),
        )]);
        let stopped = Tape::Stopped {
            why: why.clone(),
            retry_ns,
        };
        if let Tape::Running(running) = std::mem::replace(&mut self.tape, stopped) {
            error!(code = %code, "recording stopped: {why}");
            self.close(running);
            self.ring.clear();
        }
    }

    fn close(&mut self, running: Box<Running>) {
        let row = running.row;
        if let Err(why) = running.recorder.finish() {
            error!(code = %Code::RecordingIncomplete, "recording not finished: {why}");
            return;
        }
        let utc_ns = self.utc_ns();
        let ended = self
            .start
            .archive
            .store
            .end_recording(row, self.lost, utc_ns);
        if let Err(why) = ended {
            error!(code = %why.code(), "recording's end not noted: {why}");
        }
    }

    pub(super) fn close_tape(&mut self, why: &str) {
        let stopped = Tape::Stopped {
            why: why.into(),
            retry_ns: 0,
        };
        if let Tape::Running(running) = std::mem::replace(&mut self.tape, stopped) {
            self.close(running);
        }
    }
}

fn full_words(space: Space) -> String {
    format!(
        "the archive's disk is full ({} MB free, {} MB are needed to go on)",
        space.free / 1_000_000,
        2 * space.reserve() / 1_000_000
    )
}
