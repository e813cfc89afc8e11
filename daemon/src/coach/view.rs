//! The lesson as the screens show it, put together from what the store holds.

use analysis::coaching::limits::Limits;
use analysis::coaching::order;
use analysis::coaching::scatter;
use analysis::coaching::shot::{Metric, values};
use analysis::metrics::catalogue::HEAD_SPEED;
use protocol::lesson::{About, Block, Club, ClubLength, Focus, Lesson, Load, Seat};

use super::again::Days;
use super::block::{self, Between};
use super::shots::{Blocked, Holds, Told};
use super::{calibrate, findings, judge, words};
use crate::archive::store::{Among, Store};
use crate::archive::{ArchiveError, date};
use crate::outgoing::rounded;

/// Shots whose club is measured for a word about it.
const LENGTHS: u32 = 5;
/// Fewer of them say nothing.
const SURE_FROM: usize = 2;
/// The same club with the same markers measures within this again, meters: markers put on anew lie 5 mm off
/// at either end (own choice; clubs next to each other in a set differ by 13 mm, common practice, no source).
const REPEATS_M: f64 = 0.010;
/// Shots of a block that a screen lists.
const SHOTS: usize = 60;

/// The lesson of a bay where nobody's is kept.
fn empty(bay: &str, note: &str, seat: Option<Seat>) -> Lesson {
    Lesson {
        bay: bay.to_owned(),
        recording: note.to_owned(),
        seat,
        waiting: None,
        calibration: None,
        club_length: None,
        block: None,
        blocks: Vec::new(),
        feedback: true,
        focus: Vec::new(),
        speed: None,
        shots: Vec::new(),
        leaks: Vec::new(),
        budget: Vec::new(),
        limits: Vec::new(),
        load: Load::default(),
        sentence: None,
        cautions: findings::cautions(),
    }
}

/// The lesson of a bay.
///
/// # Errors
/// When the store cannot be read.
pub fn lesson(
    store: &Store,
    (bay, note): (&str, &str),
    (seat, waiting): (Option<Seat>, Option<Seat>),
    now_utc_ns: u64,
) -> Result<Lesson, ArchiveError> {
    let mut lesson = Lesson {
        waiting,
        ..empty(bay, note, seat)
    };
    let Some(seat) = lesson.seat.clone() else {
        return Ok(lesson);
    };
    let (Some(session), Some(student)) = (&seat.session, &seat.student) else {
        return Ok(lesson);
    };
    let entries = store.holds(&student.id)?;
    let holds = Holds::new(&entries);
    let about = About::Student(student.id.clone());
    let year = date::year(now_utc_ns);
    let limits = findings::limits(&holds, &store.student(&student.id)?, year);
    lesson.blocks = store.blocks(session)?;
    let current = lesson.blocks.iter().find(|b| b.runs());
    lesson.block = current.cloned();
    lesson.feedback = current.is_none_or(|b| b.purpose != "check");
    lesson.limits = findings::limit_words(&holds, &student.id);
    let swings = told(store.struck(Among::Session(session))?, &holds);
    let flags = findings::flags((&swings, &lesson.blocks), (&holds, session));
    lesson.load = findings::load(&swings, &flags, (&holds, &about), (&limits, now_utc_ns));
    let all = calibrate::calibrations(store, &student.id)?;
    lesson.calibration = all.into_iter().find(|c| c.in_use);
    let club = seat.club.as_ref().map(|c| About::Club(c.id.clone()));
    let own = in_sight(&lesson.blocks).map(|b| Blocked::of(b, &swings));
    let own = own.unwrap_or_default();
    let shots = own.shots();
    lesson.leaks = findings::leaks(&shots, (&holds, &about), (&limits, &flags));
    lesson.budget = findings::budgets(&shots);
    let page = Page {
        holds: &holds,
        club: club.as_ref(),
        limits: &limits,
        own: &own,
    };
    let before = own.block.and_then(|block| baseline(&lesson.blocks, block));
    let before = before.map(|b| Blocked::of(b, &swings));
    let metrics = judge::chosen(&holds, club.as_ref());
    let days = match (&before, &seat.club) {
        (Some(before), Some(club)) if before.marking() != own.marking() => {
            Days::of(store, (&club.id, session), &holds)?
        }
        _ => Days::default(),
    };
    if let (Some(block), Some(club)) = (own.block, &seat.club)
        && block.club.as_ref() == Some(&club.id)
    {
        let lengths = store.club_lengths((block.id, &club.id), LENGTHS)?;
        lesson.club_length = club_length(club, &lengths);
    }
    let focus = |m: &Metric| page.focus(*m, before.as_ref(), (metrics.len(), &days));
    lesson.focus = metrics.iter().map(focus).collect();
    lesson.speed = Some(focus(&Metric::of(&HEAD_SPEED)));
    lesson.sentence = page.sentence(&metrics);
    lesson.shots = own
        .swings
        .iter()
        .rev()
        .take(SHOTS)
        .map(|t| page.line(t, &metrics))
        .collect();
    Ok(lesson)
}

/// Swings with their values and what was entered; what is damaged is left out.
pub(super) fn told(rows: Vec<crate::archive::store::Struck>, holds: &Holds<'_>) -> Vec<Told> {
    let told = rows.into_iter().filter_map(|row| Told::new(row, holds));
    told.collect()
}

/// The block that a screen shows: the one that runs, else the last that did. One that has ended stays in sight
/// until the next one begins; shots that are moved aside begin none.
pub(super) fn in_sight(blocks: &[Block]) -> Option<&Block> {
    let running = blocks.iter().find(|b| b.runs());
    running.or(blocks.iter().rev().find(|b| !b.is_aside()))
}

/// The last of these blocks, oldest first, to tell what came of a lesson: one with shots before one without, and
/// one with a time of its own before shots that were moved aside.
pub(super) fn telling<'a>(blocks: impl Iterator<Item = &'a Block>) -> Option<&'a Block> {
    blocks.max_by_key(|b| (b.shots > 0, !b.is_aside()))
}

/// The block that a block is compared with: the last baseline of the lesson before it with the same club.
pub(super) fn baseline<'a>(blocks: &'a [Block], of: &Block) -> Option<&'a Block> {
    // In the order of time, as blocks are listed.
    let before = blocks.iter().take_while(|b| b.id != of.id);
    before
        .filter(|b| b.purpose == "baseline" && b.club == of.club)
        .last()
}

/// A club that is measured clearly longer or shorter than the chosen one, in at least two shots: against its
/// told length, else against what it measured in other lessons.
fn club_length(club: &Club, [now, before]: &[Vec<f64>; 2]) -> Option<ClubLength> {
    let measured = order::median(now).filter(|_| now.len() >= SURE_FROM)?;
    let told = club.length_m.map(|told| (told, "told"));
    let told = told.filter(|(told, _)| analysis::club::is_another_length(*told, measured));
    let known = order::median(before).filter(|_| before.len() >= SURE_FROM);
    let known = known.filter(|known| (known - measured).abs() > REPEATS_M);
    let (told, how) = told.or(known.map(|known| (known, "measured in other lessons")))?;
    let (longer, by) = match measured - told {
        d if d > 0.0 => ("longer", d),
        d => ("shorter", -d),
    };
    Some(ClubLength {
        told_m: rounded(told, 1e3),
        measured_m: rounded(measured, 1e3),
        shots: now.len() as u32,
        words: format!(
            "The club in hand is {:.0} mm {longer} than {} is {how} ({measured:.3} m, not {told:.3} m): choose the club in hand, or check the markers at its butt and head.",
            1e3 * by,
            club.name,
        ),
    })
}

/// What a block's page is made with.
struct Page<'a> {
    holds: &'a Holds<'a>,
    club: Option<&'a About>,
    limits: &'a Limits,
    own: &'a Blocked<'a>,
}

impl Page<'_> {
    fn focus(
        &self,
        metric: Metric,
        before: Option<&Blocked<'_>>,
        (in_focus, days): (usize, &Days),
    ) -> Focus {
        // What two shots of this golfer differ by without any change.
        let spread = before.unwrap_or(self.own);
        let detectable = scatter::of_shots(&values(&spread.shots(), metric), 0.0)
            .map(|variance| scatter::detectable_change(variance.sqrt()));
        let told = (self.holds, self.club);
        let focus = judge::focus(metric, &self.own.swings, told, (self.limits, detectable));
        let change = before.and_then(|before| {
            let between = Between {
                before,
                after: self.own,
                holds: self.holds,
                club: self.club,
                focus: in_focus,
                days,
            };
            block::change(metric, &between)
        });
        Focus { change, ..focus }
    }

    fn line(&self, told: &Told, metrics: &[Metric]) -> protocol::lesson::Shot {
        let of = |metric: Metric| {
            let spared = self.limits.on_metric(metric).is_some();
            let held = judge::band(metric, (self.holds, self.club)).filter(|_| !spared);
            judge::mark(metric, told, held.as_ref().map(|h| &h.band))
        };
        let all = metrics.iter().copied();
        protocol::lesson::Shot {
            swing: told.row.id.clone(),
            kind: told.row.kind.clone(),
            handed: told.row.handed.clone(),
            impact_utc_ns: told.row.impact_utc_ns,
            excluded: told.excluded.clone(),
            effort: told.effort,
            pain: told.pain.clone(),
            fatigue: told.fatigue.clone(),
            calibration: told.row.calibration.map(|(_, number)| number),
            tags: told.tags.clone(),
            notes: told.notes,
            marks: all.chain([Metric::of(&HEAD_SPEED)]).map(of).collect(),
        }
    }

    /// The last shot against the bands of the focus, in one sentence.
    fn sentence(&self, metrics: &[Metric]) -> Option<String> {
        let last = self.own.swings.iter().rev().find(|t| t.counts())?;
        let judged = metrics.iter().filter_map(|&metric| {
            let held = judge::band(metric, (self.holds, self.club))?;
            let spared = self.limits.on_metric(metric).is_some();
            let mark = judge::mark(metric, last, Some(&held.band));
            (!spared).then_some((metric, held, mark))
        });
        let (mut inside, mut all) = (0, 0);
        for (metric, held, mark) in judged {
            let verdict = mark.verdict.as_deref();
            let value = last.shot.value(metric);
            let edge = match verdict {
                Some("low") => held.band.low(),
                Some("high") => held.band.high(),
                _ => None,
            };
            if let (Some(value), Some(edge)) = (value, edge) {
                let side = verdict.unwrap_or_default();
                return Some(format!(
                    "{} is {side} by {}.",
                    capital(&words::metric(metric)),
                    words::value(metric, (value - edge).abs())
                ));
            }
            all += 1;
            inside += u32::from(verdict == Some("in"));
        }
        (all > 0 && inside == all).then(|| all_inside(all))
    }
}

fn all_inside(bands: u32) -> String {
    match bands {
        1 => "In the band.".to_owned(),
        2 => "Both in their bands.".to_owned(),
        n => format!("All {n} in their bands."),
    }
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A block that began and ended at these instants.
    fn block(id: i64, (purpose, shots): (&str, u32), (began, ended): (u64, Option<u64>)) -> Block {
        Block {
            id,
            session: "south-1".into(),
            number: 1,
            purpose: purpose.into(),
            club: None,
            began_utc_ns: began,
            ended_utc_ns: ended,
            planned: 10,
            shots,
        }
    }

    #[test]
    fn shots_moved_aside_take_neither_the_running_block_nor_the_last_one_away() {
        let id = |found: Option<&Block>| found.map(|b| b.id);
        // A baseline and two checks.
        let mut blocks = [
            block(1, ("baseline", 5), (0, Some(10))),
            block(2, ("check", 4), (10, None)),
            block(3, ("check", 1), (15, Some(15))),
        ];
        assert_eq!(id(in_sight(&blocks)), Some(2));
        assert_eq!(id(telling(blocks[1..].iter())), Some(2));
        blocks[1].ended_utc_ns = Some(20);
        assert_eq!(id(in_sight(&blocks)), Some(2));
        // All of its shots went to the other club: the block before it tells, and without one they do.
        blocks[1].shots = 0;
        assert_eq!(id(telling(blocks.iter())), Some(1));
        assert_eq!(id(telling(blocks[1..].iter())), Some(3));
        assert_eq!(id(in_sight(&blocks[..0])), None);
    }

    #[test]
    fn one_two_and_three_bands_are_said_as_a_person_says_them() {
        assert_eq!(all_inside(1), "In the band.");
        assert_eq!(all_inside(2), "Both in their bands.");
        assert_eq!(all_inside(3), "All 3 in their bands.");
    }

    /// A driver is 1.14 m, a 7-iron 0.94 m (common practice, no source).
    #[test]
    fn another_club_than_the_chosen_one_is_said_and_the_same_is_not() {
        let club = Club {
            name: "driver".into(),
            length_m: Some(1.14),
            ..Club::default()
        };
        let of = |now: &[f64], before: &[f64]| club_length(&club, &[now.to_vec(), before.to_vec()]);
        assert_eq!(of(&[1.12, 1.13, 1.12], &[]), None, "within what markers do");
        assert_eq!(of(&[0.94], &[]), None, "one shot");
        let said = of(&[0.941, 0.939, 0.940], &[]).unwrap();
        assert_eq!((said.told_m, said.measured_m, said.shots), (1.14, 0.94, 3));
        assert!(
            said.words.contains("200 mm shorter than driver is told"),
            "{}",
            said.words
        );
        let before = [1.121, 1.122];
        assert_eq!(of(&[1.118, 1.119], &before), None);
        let said = of(&[1.135, 1.136], &before).unwrap();
        assert!(said.words.contains("14 mm longer"), "{}", said.words);
    }
}
