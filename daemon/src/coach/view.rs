//! The lesson as the screens show it, from what the store holds: values of the block, bands, entries.

use std::collections::BTreeMap;

use analysis::coaching::shot::{Metric, Reading, Shot};
use analysis::metrics::catalogue::{self, HEAD_SPEED};
use protocol::lesson::{
    About, Band, BandTold, Block, Effort, Entry, Focus, Lesson, Load, Mark, Said, Seat,
};

use crate::archive::ArchiveError;
use crate::archive::store::{Among, Store, Struck};
use crate::archive::values::{self, Packed};

/// Shots of a block that a screen lists.
const SHOTS: usize = 60;
/// Marks on a ruler.
const MARKS: usize = 6;

/// What was entered, by what it is about.
pub(super) struct Holds<'a>(BTreeMap<String, &'a Said>);

impl<'a> Holds<'a> {
    pub(super) fn new(entries: &'a [Entry]) -> Self {
        let said = entries.iter().filter_map(|e| {
            let said = e.said.as_ref()?;
            Some((format!("{} {}", about(&e.about), e.key), said))
        });
        Self(said.collect())
    }

    pub(super) fn of(&self, subject: &About, key: &str) -> Option<&'a Said> {
        self.0.get(&format!("{} {key}", about(subject))).copied()
    }
}

fn about(about: &About) -> String {
    match about {
        About::Student(id) => format!("student {id}"),
        About::Club(id) => format!("club {id}"),
        About::Session(id) => format!("session {id}"),
        About::Block(id) => format!("block {id}"),
        About::Swing(id) => format!("swing {id}"),
    }
}

/// The values of a swing as coaching reads them: SI and radians. `None` when the bytes are damaged.
#[must_use]
pub fn shot(metrics: &[u8]) -> Option<Shot> {
    let packed = values::unpack(metrics, catalogue::len())?;
    let readings = packed.into_iter().enumerate().map(|(index, packed)| {
        let unit = Metric::by_index(index)?.unit();
        match packed {
            Packed::Value {
                value,
                uncertainty,
                limited,
            } => Some(Reading {
                value: unit.inside(value),
                uncertainty: uncertainty.map(|u| unit.inside(u)),
                limited: limited.is_some(),
            }),
            Packed::Missing(_) | Packed::NotThen => None,
        }
    });
    Some(Shot {
        readings: readings.collect(),
    })
}

/// Limits of a student in words.
#[must_use]
pub fn limit_words(entries: &[Entry]) -> Vec<String> {
    let limits = entries.iter().filter_map(|e| match &e.said {
        Some(Said::Limits(limits)) => Some(limits),
        _ => None,
    });
    let words = limits.flatten().map(|l| match &l.reason {
        Some(reason) => format!("{} ({reason})", l.movement),
        None => l.movement.clone(),
    });
    words.collect()
}

/// A shot of a block with its values.
struct Told<'a> {
    row: &'a Struck,
    shot: Shot,
}

/// The lesson of a bay.
///
/// # Errors
/// When the store cannot be read.
pub fn lesson(
    store: &Store,
    (bay, note): (&str, &str),
    seat: Option<Seat>,
    _now_utc_ns: u64,
) -> Result<Lesson, ArchiveError> {
    let mut lesson = Lesson {
        bay: bay.to_owned(),
        recording: note.to_owned(),
        seat,
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
        cautions: Vec::new(),
    };
    let Some(seat) = lesson.seat.clone() else {
        return Ok(lesson);
    };
    let (Some(session), Some(student)) = (&seat.session, &seat.student) else {
        return Ok(lesson);
    };
    let entries = store.holds(&student.id)?;
    let holds = Holds::new(&entries);
    lesson.blocks = store.blocks(session)?;
    lesson.block = lesson
        .blocks
        .last()
        .filter(|b| b.ended_utc_ns.is_none())
        .cloned();
    lesson.feedback = lesson.block.as_ref().is_none_or(|b| b.purpose != "check");
    lesson.limits = limit_words(&entries);
    let rows = match &lesson.block {
        Some(block) => store.struck(Among::Block(block.id))?,
        None => Vec::new(),
    };
    let told: Vec<Told<'_>> = rows
        .iter()
        .filter_map(|row| {
            Some(Told {
                row,
                shot: shot(&row.metrics)?,
            })
        })
        .collect();
    let club = seat.club.as_ref().map(|c| About::Club(c.id.clone()));
    let metrics = focus_metrics(&holds, club.as_ref());
    let speed = Metric::of(&HEAD_SPEED);
    lesson.focus = metrics
        .iter()
        .map(|m| focus(*m, &told, (&holds, club.as_ref())))
        .collect();
    lesson.speed = Some(focus(speed, &told, (&holds, club.as_ref())));
    lesson.shots = told
        .iter()
        .rev()
        .take(SHOTS)
        .map(|t| line(t, &holds, (&lesson.focus, speed)))
        .collect();
    Ok(lesson)
}

fn focus_metrics(holds: &Holds<'_>, club: Option<&About>) -> Vec<Metric> {
    match club.and_then(|c| holds.of(c, "focus")) {
        Some(Said::Focus(ids)) => ids.iter().filter_map(|id| Metric::by_id(id)).collect(),
        _ => Vec::new(),
    }
}

fn focus(metric: Metric, told: &[Told<'_>], (holds, club): (&Holds<'_>, Option<&About>)) -> Focus {
    let band = band(metric, (holds, club));
    let counted = told.iter().filter(|t| excluded(holds, &t.row.id).is_none());
    let marks = counted
        .rev()
        .take(MARKS)
        .map(|t| mark(metric, t, band.as_ref()));
    Focus {
        metric: metric.id(),
        unit: metric.unit().symbol().to_owned(),
        marks: marks.collect(),
        band,
        live: None,
        spared: None,
        change: None,
    }
}

fn band(metric: Metric, (holds, club): (&Holds<'_>, Option<&About>)) -> Option<Band> {
    let Some(Said::Band(told)) = holds.of(club?, &format!("band:{}", metric.id())) else {
        return None;
    };
    let BandTold {
        low,
        aim,
        high,
        cohort,
        ..
    } = told.clone();
    (low.is_some() || high.is_some()).then(|| Band {
        metric: metric.id(),
        unit: metric.unit().symbol().to_owned(),
        low,
        aim,
        high,
        from: if cohort.is_some() { "cohort" } else { "coach" }.into(),
        source: cohort.unwrap_or_else(|| "set by the coach".into()),
        since_utc_ns: None,
        who: None,
        warning: None,
    })
}

fn mark(metric: Metric, told: &Told<'_>, band: Option<&Band>) -> Mark {
    let unit = metric.unit();
    let reading = told.shot.reading(metric);
    let value = reading.map(|r| unit.shown(r.value));
    let standard = reading.and_then(|r| r.uncertainty).map(|u| unit.shown(u));
    let _ = band;
    Mark {
        swing: told.row.id.clone(),
        value,
        standard,
        verdict: None,
        reason: None,
    }
}

fn excluded(holds: &Holds<'_>, swing: &str) -> Option<String> {
    match holds.of(&About::Swing(swing.to_owned()), "excluded") {
        Some(Said::Excluded(reason)) => reason.clone(),
        _ => None,
    }
}

fn line(
    told: &Told<'_>,
    holds: &Holds<'_>,
    (focus, speed): (&[Focus], Metric),
) -> protocol::lesson::Shot {
    let swing = About::Swing(told.row.id.clone());
    let metrics = focus
        .iter()
        .map(|f| (Metric::by_id(&f.metric), f.band.as_ref()));
    let marks = metrics
        .chain(std::iter::once((Some(speed), None)))
        .filter_map(|(metric, band)| Some(mark(metric?, told, band)));
    protocol::lesson::Shot {
        swing: told.row.id.clone(),
        kind: told.row.kind.clone(),
        handed: told.row.handed.clone(),
        impact_utc_ns: told.row.impact_utc_ns,
        excluded: excluded(holds, &told.row.id),
        effort: match holds.of(&swing, "effort") {
            Some(Said::Effort(Some(effort))) => Some(effort_word(*effort).into()),
            _ => None,
        },
        pain: match holds.of(&swing, "pain") {
            Some(Said::Pain(pain)) => pain.clone(),
            _ => None,
        },
        tags: match holds.of(&swing, "tags") {
            Some(Said::Tags(tags)) => tags.clone(),
            _ => Vec::new(),
        },
        notes: match holds.of(&swing, "notes") {
            Some(Said::Notes(notes)) => notes.len() as u32,
            _ => 0,
        },
        marks: marks.collect(),
    }
}

fn effort_word(effort: Effort) -> &'static str {
    match effort {
        Effort::Easy => "easy",
        Effort::Normal => "normal",
        Effort::Maximal => "maximal",
    }
}

/// The block before that a block is compared with: the last baseline of the lesson with the same club.
#[must_use]
pub fn baseline<'a>(blocks: &'a [Block], of: &Block) -> Option<&'a Block> {
    let before = blocks.iter().filter(|b| b.number < of.number);
    before
        .filter(|b| b.purpose == "baseline" && b.club == of.club)
        .next_back()
}
