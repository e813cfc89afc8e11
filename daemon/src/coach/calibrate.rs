//! Calibrations in a lesson: a trial out of what the bay has just seen, or of an uploaded file, kept as a new
//! one of the student, which goes from the next shot on.

use std::time::Duration;

use analysis::body::calibration::Origin;
use protocol::lesson::{Calibrated, Calibration, Calibrations, NewCalibration};

use super::Coach;
use crate::archive::ArchiveError;
use crate::archive::store::Store;
use crate::trial::{self, Found};

/// Seconds of a trial from what the bay sees, and when nobody says how many.
const SECONDS: std::ops::RangeInclusive<f64> = 3.0..=60.0;
const USUAL_S: f64 = 20.0;

impl Coach {
    /// Calibrates the student who stands in the bay, from what it sees.
    ///
    /// # Errors
    /// When it is another student's bay, and in words when the trial gives none.
    pub fn calibrate(
        &self,
        student: &str,
        asked: &NewCalibration,
    ) -> Result<Calibrated, ArchiveError> {
        let seconds = asked.seconds.unwrap_or(USUAL_S);
        if !SECONDS.contains(&seconds) {
            let (from, to) = (SECONDS.start(), SECONDS.end());
            return Err(ArchiveError::Unfitting(format!(
                "seconds is {seconds}: expected {from} to {to}"
            )));
        }
        let stands = || {
            let seat = self.seated();
            let own = seat
                .and_then(|s| s.student)
                .is_some_and(|s| s.id == student);
            own.then_some(()).ok_or_else(|| {
                ArchiveError::Unfitting(format!(
                    "{student} does not stand in the bay: choose who does first"
                ))
            })
        };
        stands()?;
        let length = Duration::from_secs_f64(seconds);
        match asked.from.as_str() {
            "last" => {}
            "next" => std::thread::sleep(length),
            odd => {
                return Err(ArchiveError::Unfitting(format!(
                    "from is `{odd}`: use last or next"
                )));
            }
        }
        let length_ns = u64::try_from(length.as_nanos()).unwrap_or(u64::MAX);
        let since_ns = self.clock.now_ns().saturating_sub(length_ns);
        let came = self.recent.since(since_ns);
        let arrivals = came.iter().map(|(at, bytes)| (*at, &**bytes));
        let found = trial::of_datagrams(arrivals, &self.map).map_err(ArchiveError::Trial)?;
        stands()?;
        self.keep(student, &found)
    }

    /// Calibrates a student from the bytes of a C3D file.
    ///
    /// # Errors
    /// In words when the trial gives none.
    pub fn calibrate_from(&self, student: &str, c3d: &[u8]) -> Result<Calibrated, ArchiveError> {
        self.archive().store.student(student)?;
        let found = trial::of_c3d(c3d, &self.map).map_err(ArchiveError::Trial)?;
        self.keep(student, &found)
    }

    fn keep(&self, student: &str, found: &Found) -> Result<Calibrated, ArchiveError> {
        let notes = &found.trial.notes;
        // Somebody who stands for a shot shows no joint's width: that is no trial.
        if found.trial.calibration.origin == Origin::Address {
            return Err(ArchiveError::Trial(notes.join(" ")));
        }
        let table = crate::context::calibration_table(&found.trial.calibration)
            .map_err(|why| ArchiveError::Trial(format!("{why:#}")))?;
        let (number, entry) = {
            let mut archive = self.archive();
            let now_utc_ns = self.utc_ns();
            archive
                .store
                .require_consent(student, "lesson", now_utc_ns)?;
            archive.store.calibrate(student, &table, now_utc_ns)?
        };
        self.sit_again(student)?;
        let all = self.calibrations(student)?.calibrations;
        let made = all.into_iter().find(|c| c.number == number);
        let calibration = made.ok_or_else(|| ArchiveError::Unknown {
            what: "calibration",
            name: number.to_string(),
        })?;
        let words = notes.iter().chain(&found.remarks);
        Ok(Calibrated {
            calibration,
            entry,
            words: words.cloned().collect(),
        })
    }

    /// The calibrations of a student.
    ///
    /// # Errors
    /// When there is no such student.
    pub fn calibrations(&self, student: &str) -> Result<Calibrations, ArchiveError> {
        let archive = self.archive();
        archive.store.student(student)?;
        Ok(Calibrations {
            calibrations: calibrations(&archive.store, student)?,
        })
    }
}

pub(super) fn calibrations(store: &Store, student: &str) -> Result<Vec<Calibration>, ArchiveError> {
    let goes = store.calibration(student)?.map(|(row, _)| row);
    let all = store.calibrations(student)?.into_iter();
    Ok(all
        .map(|kept| Calibration {
            number: kept.number,
            since_utc_ns: kept.since_utc_ns,
            swings: kept.swings,
            in_use: goes == Some(kept.row),
        })
        .collect())
}
