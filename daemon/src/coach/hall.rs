//! The coach's sides of all bays of this program: one archive, and a chair in each bay. What is entered about a
//! student goes for the bay in which that student stands, whichever bay was asked.

use std::sync::Arc;

use protocol::lesson::{
    Ask, Calibrated, Entry, Move, Moved, NewCalibration, NewSeat, OnFile, Seat,
};

use super::Coach;
use crate::archive::ArchiveError;
use crate::several::Several;

/// The coach's sides of the bays.
#[derive(Clone)]
pub struct Hall(pub Several<Arc<Coach>>);

impl Hall {
    /// The first bay's, which answers what is asked of the archive.
    #[must_use]
    pub fn first(&self) -> &Arc<Coach> {
        self.0.first()
    }

    /// That of a bay; of a bay that is none, the first.
    #[must_use]
    pub fn bay(&self, id: &str) -> &Arc<Coach> {
        let named = self.0.iter().find(|coach| coach.bay() == id);
        named.unwrap_or(self.first())
    }

    /// That of the bay in which a student stands, or whose lesson there waits; else the first.
    fn with(&self, student: &str) -> &Arc<Coach> {
        let stands = self.0.iter().find(|coach| coach.teaches(student));
        stands.unwrap_or(self.first())
    }

    /// Places somebody in a bay: [`Coach::sit`].
    ///
    /// # Errors
    /// As there, and where the student has a lesson in another bay.
    pub fn sit(
        &self,
        bay: &str,
        asked: &NewSeat,
    ) -> Result<(Option<Seat>, Option<i64>), ArchiveError> {
        let coach = self.bay(bay);
        let elsewhere = asked.student.as_deref().and_then(|student| {
            self.0
                .iter()
                .find(|other| !Arc::ptr_eq(other, coach) && other.teaches(student))
        });
        if let Some(other) = elsewhere {
            return Err(ArchiveError::Unfitting(format!(
                "this student has a lesson in bay “{}”: end it there first",
                other.bay()
            )));
        }
        coach.sit(asked)
    }

    /// Makes an entry: [`Coach::enter`].
    ///
    /// # Errors
    /// As there.
    pub fn enter(&self, ask: &Ask) -> Result<Entry, ArchiveError> {
        let entry = self.first().enter(ask)?;
        self.follow(&entry, self.first())?;
        Ok(entry)
    }

    /// Takes an entry back: [`Coach::undo`], a change of seats in the bay where it was made.
    ///
    /// # Errors
    /// As there.
    pub fn undo(&self, n: i64) -> Result<Entry, ArchiveError> {
        let at = self.0.iter().find(|coach| coach.was_changed_by(n));
        let at = at.unwrap_or(self.first());
        let entry = at.undo(n)?;
        self.follow(&entry, at)?;
        Ok(entry)
    }

    /// What an entry changes in the bays beside that where it was made.
    fn follow(&self, entry: &Entry, made: &Arc<Coach>) -> Result<(), ArchiveError> {
        let others = self.0.iter().filter(|coach| !Arc::ptr_eq(coach, made));
        for other in others {
            other.follow(entry)?;
        }
        Ok(())
    }

    /// Withdraws a consent: [`Coach::withdraw`], in the bay where the student stands.
    ///
    /// # Errors
    /// As there.
    pub fn withdraw(&self, student: &str, scope: &str) -> Result<OnFile, ArchiveError> {
        self.with(student).withdraw(student, scope)
    }

    /// Calibrates who stands in a bay from what that bay sees: [`Coach::calibrate`].
    ///
    /// # Errors
    /// As there.
    pub fn calibrate(
        &self,
        student: &str,
        asked: &NewCalibration,
    ) -> Result<Calibrated, ArchiveError> {
        self.with(student).calibrate(student, asked)
    }

    /// Calibrates a student from a file: [`Coach::calibrate_from`].
    ///
    /// # Errors
    /// As there.
    pub fn calibrate_from(&self, student: &str, file: &[u8]) -> Result<Calibrated, ArchiveError> {
        self.with(student).calibrate_from(student, file)
    }

    /// Moves a shot: [`Coach::move_swing`], in the bay where it was hit.
    ///
    /// # Errors
    /// As there.
    pub fn move_swing(&self, id: &str, asked: &Move) -> Result<Moved, ArchiveError> {
        // A swing is called by its bay, its sender's start and its time.
        let bay = id.rsplitn(3, '-').nth(2).unwrap_or_default();
        self.bay(bay).move_swing(id, asked)
    }

    /// Something changed that the lessons of other bays may show: that of the only one knows it already.
    pub fn ring(&self) {
        if self.0.iter().nth(1).is_some() {
            self.0.iter().for_each(|coach| coach.ring());
        }
    }
}
