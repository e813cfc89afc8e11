//! What another day and markers put on again do by themselves to this student with this club: from the ends of
//! lessons and the beginnings of the next. What follows from it is computed in `analysis::coaching`.

use analysis::coaching::order;
use analysis::coaching::retention;
use analysis::coaching::scatter::Again;
use analysis::coaching::shot::{Metric, Shot, values};

use super::shots::{Holds, Told};
use super::view;
use crate::archive::ArchiveError;
use crate::archive::store::{Among, Store};

/// Shots at the end of a lesson and at the beginning of the next, for each pair of lessons.
#[derive(Default)]
pub(super) struct Days(Vec<[Vec<Shot>; 2]>);

impl Days {
    /// The lessons of a club, save what leads to `today`, which is what is to be judged.
    pub(super) fn of(
        store: &Store,
        (club, today): (&str, &str),
        holds: &Holds<'_>,
    ) -> Result<Self, ArchiveError> {
        let mut lessons: Vec<[Vec<Shot>; 2]> = Vec::new();
        let mut session = None;
        for block in store.blocks_of_club(club)? {
            if block.session == today {
                continue;
            }
            let told = view::told(store.struck(Among::Block(block.id))?, holds);
            let shots: Vec<Shot> = told
                .into_iter()
                .filter(Told::counts)
                .map(|t| t.shot)
                .collect();
            if shots.is_empty() {
                continue;
            }
            match lessons
                .last_mut()
                .filter(|_| session.as_ref() == Some(&block.session))
            {
                Some([_, last]) => *last = shots,
                None => lessons.push([shots.clone(), shots]),
            }
            session = Some(block.session);
        }
        let pairs = lessons.windows(2).map(|two| {
            let [before, after] = two else {
                return [Vec::new(), Vec::new()];
            };
            [before[1].clone(), after[0].clone()]
        });
        Ok(Self(pairs.collect()))
    }

    /// Of one metric; `None` where there are too few lessons.
    pub(super) fn again(&self, metric: Metric) -> Option<Again> {
        let level = |shots: &[Shot]| {
            let all: Vec<&Shot> = shots.iter().collect();
            order::median(&values(&all, metric))
        };
        let pairs = self
            .0
            .iter()
            .filter_map(|[a, b]| Some([level(a)?, level(b)?]));
        retention::another_day(&pairs.collect::<Vec<_>>())
    }
}
