//! Shots of a lesson with their values and what was entered about them.

use std::collections::BTreeMap;

use analysis::coaching::compare;
use analysis::coaching::load;
use analysis::coaching::shot::{Metric, Reading, Shot};
use analysis::metrics::catalogue;
use protocol::lesson::{About, Block, Effort, Entry, Said};

use crate::archive::store::Struck;
use crate::archive::values::{self as packed, Packed};

/// What was entered and holds, by what it is about.
pub(super) struct Holds<'a>(BTreeMap<String, &'a Entry>);

impl<'a> Holds<'a> {
    pub(super) fn new(entries: &'a [Entry]) -> Self {
        let key = |e: &Entry| format!("{} {}", named(&e.about), e.key);
        Self(entries.iter().map(|e| (key(e), e)).collect())
    }

    pub(super) fn entry(&self, about: &About, key: &str) -> Option<&'a Entry> {
        self.0.get(&format!("{} {key}", named(about))).copied()
    }

    pub(super) fn of(&self, about: &About, key: &str) -> Option<&'a Said> {
        self.entry(about, key)?.said.as_ref()
    }

    /// Everything of keys that begin so.
    pub(super) fn all(&self, about: &About, begins: &str) -> impl Iterator<Item = &'a Said> {
        let from = format!("{} {begins}", named(about));
        let within = self.0.range(from.clone()..);
        within
            .take_while(move |(key, _)| key.starts_with(&from))
            .filter_map(|(_, entry)| entry.said.as_ref())
    }
}

fn named(about: &About) -> String {
    match about {
        About::Student(id) => format!("student {id}"),
        About::Club(id) => format!("club {id}"),
        About::Session(id) => format!("session {id}"),
        About::Block(id) => format!("block {id}"),
        About::Swing(id) => format!("swing {id}"),
    }
}

/// One swing with its values.
pub(crate) struct Told {
    pub(crate) row: Struck,
    pub(crate) shot: Shot,
    packed: Vec<Packed>,
    pub(crate) excluded: Option<String>,
    pub(super) effort: Option<Effort>,
    pub(super) pain: Option<String>,
    pub(super) fatigue: Option<String>,
    pub(crate) tags: Vec<String>,
    pub(super) notes: u32,
}

impl Told {
    /// `None` where the stored values are damaged.
    pub(super) fn new(row: Struck, holds: &Holds<'_>) -> Option<Self> {
        let packed = packed::unpack(&row.metrics, catalogue::len())?;
        let swing = About::Swing(row.id.clone());
        Some(Self {
            shot: shot(&packed),
            packed,
            excluded: match holds.of(&swing, "excluded") {
                Some(Said::Excluded(reason)) => reason.clone(),
                _ => None,
            },
            effort: match holds.of(&swing, "effort") {
                Some(Said::Effort(effort)) => *effort,
                _ => None,
            },
            pain: match holds.of(&swing, "pain") {
                Some(Said::Pain(pain)) => pain.clone(),
                _ => None,
            },
            fatigue: match holds.of(&swing, "fatigue") {
                Some(Said::Fatigue(fatigue)) => fatigue.clone(),
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
            row,
        })
    }

    /// Whether it is a shot of its block: at a ball or maybe at one, not excluded.
    pub(crate) fn counts(&self) -> bool {
        matches!(self.row.kind.as_str(), "shot" | "swing") && self.excluded.is_none()
    }

    /// Whether it may say something of a change.
    pub(super) fn shows_change(&self) -> bool {
        let effort = self.effort.map_or(load::Effort::Normal, effort);
        let tired = self.fatigue.as_ref().map(|_| load::Flag::Fatigue);
        let flag = self.pain.as_ref().map(|_| load::Flag::Pain).or(tired);
        self.counts() && load::counts_for_change(effort, flag)
    }

    /// Why a metric has no value.
    pub(super) fn missing(&self, metric: Metric) -> Option<&str> {
        match self.packed.get(metric.index())? {
            Packed::Missing(why) => Some(why),
            Packed::NotThen => Some("not computed by the version that measured it"),
            Packed::Value { .. } => None,
        }
    }
}

/// Effort as the analysis has it.
pub(super) fn effort(told: Effort) -> load::Effort {
    match told {
        Effort::Easy => load::Effort::Easy,
        Effort::Normal => load::Effort::Normal,
        Effort::Maximal => load::Effort::Maximal,
    }
}

/// Values as coaching reads them: SI and radians.
pub(super) fn shot(packed: &[Packed]) -> Shot {
    let reading = |(index, packed): (usize, &Packed)| {
        let unit = Metric::by_index(index)?.unit();
        match packed {
            Packed::Value {
                value,
                uncertainty,
                limited,
            } => Some(Reading {
                value: unit.inside(*value),
                uncertainty: uncertainty.map(|u| unit.inside(u)),
                limited: limited.is_some(),
            }),
            Packed::Missing(_) | Packed::NotThen => None,
        }
    };
    Shot {
        readings: packed.iter().enumerate().map(reading).collect(),
    }
}

/// A block with its swings, oldest first; none before the first block of a lesson.
#[derive(Default)]
pub(crate) struct Blocked<'a> {
    pub(super) block: Option<&'a Block>,
    pub(super) swings: Vec<&'a Told>,
    /// Shots of the lesson before its first.
    pub(super) first: usize,
}

impl<'a> Blocked<'a> {
    /// The block's part of a lesson's swings.
    pub(crate) fn of(block: &'a Block, lesson: &'a [Told]) -> Self {
        let own = |t: &&Told| t.row.block == Some(block.id);
        let first = lesson.iter().take_while(|t| !own(t)).count();
        Self {
            block: Some(block),
            swings: lesson.iter().filter(own).collect(),
            first,
        }
    }

    /// The shot that stands for the block in these metrics.
    pub(super) fn stands_for(&self, metrics: &[Metric]) -> Option<String> {
        let counted: Vec<&&Told> = self.swings.iter().filter(|t| t.counts()).collect();
        let nearest = compare::medoid(&self.shots(), metrics)?;
        Some(counted.get(nearest)?.row.id.clone())
    }

    /// Row of the calibration that its shots were measured with; 0: none.
    pub(super) fn marking(&self) -> u64 {
        let row = self.swings.iter().find_map(|t| t.row.calibration);
        row.map_or(0, |(row, _)| row.unsigned_abs())
    }

    /// Shots that count.
    pub(crate) fn shots(&self) -> Vec<&'a Shot> {
        let counted = self.swings.iter().filter(|t| t.counts());
        counted.map(|t| &t.shot).collect()
    }
}
