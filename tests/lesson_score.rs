//! Reports of lessons counted against their labels: found, missed, false, of which kind, how far off, how soon.

use std::collections::BTreeMap;

use analysis::forward::Label;

use super::{Dismissed, Found, Run};

/// A report is of a label when its impact is this close, seconds.
const MATCH_S: f64 = 0.25;
/// And when it came at most so long after the movement, seconds: a clock that jumps back shows a time twice.
const SOON_S: f64 = 4.0;

/// Counts over lessons.
#[derive(Debug, Default)]
pub(crate) struct Score {
    /// (truth, found) → how often.
    pub(crate) confusion: BTreeMap<(String, String), usize>,
    /// Impact found minus truth by kind, seconds.
    pub(crate) impact_off_s: BTreeMap<&'static str, Vec<f64>>,
    /// Movements without a report: truth, scene, what was said.
    pub(crate) silent: BTreeMap<String, usize>,
    pub(crate) wrong_side: usize,
    /// First reports: kind → delays after impact, seconds; how many a later look did not confirm.
    pub(crate) first_s: BTreeMap<&'static str, Vec<f64>>,
    pub(crate) unconfirmed: usize,
    /// Reports with plates that could be held against the motion: what is left over, body weights.
    pub(crate) audits: Vec<f64>,
    /// Reports that tell a fault of the rig.
    pub(crate) accused: usize,
    pub(crate) seconds: f64,
    /// What went wrong, in words.
    pub(crate) faults: Vec<String>,
}

impl Score {
    /// Adds a lesson.
    pub(crate) fn add(&mut self, name: &str, run: &Run) {
        self.seconds += run.seconds;
        self.add_first(name, run);
        self.add_audits(name, run);
        let mut taken = vec![false; run.found.len()];
        let mut count = |truth: &str, found: &str| {
            *self
                .confusion
                .entry((truth.into(), found.into()))
                .or_default() += 1;
        };
        for label in &run.labels {
            let of = run
                .found
                .iter()
                .enumerate()
                .filter(|(i, f)| !taken[*i] && is_of(f, label))
                .min_by(|a, b| off(a.1, label).total_cmp(&off(b.1, label)));
            let truth = label.kind.name();
            let Some((i, found)) = of else {
                let why = dismissed(run, label);
                count(truth, why.map_or("—", |d| d.kind));
                let name_of = (truth, label.scene, why.map_or("", |d| d.why.as_str()));
                *self.silent.entry(format!("{name_of:?}")).or_default() += 1;
                if matches!(truth, "shot" | "rehearsal" | "partial") {
                    let words = why.map_or("nothing seen", |d| d.why.as_str());
                    self.faults.push(format!(
                        "{name}: {truth} ({}) at {:.2} s not reported: {words}",
                        label.scene,
                        label.impact_s.unwrap_or(label.start_s)
                    ));
                }
                continue;
            };
            taken[i] = true;
            count(truth, found.kind);
            if found.kind != truth {
                self.faults.push(format!(
                    "{name}: {truth} ({}) at {:.2} s reported as {} ({:.2}, {}) {:?}",
                    label.scene,
                    label.impact_s.unwrap_or(label.start_s),
                    found.kind,
                    found.confidence,
                    found.size,
                    found.notes.first()
                ));
            }
            if let Some(t) = label.impact_s.filter(|_| found.impact_found) {
                self.impact_off_s
                    .entry(truth)
                    .or_default()
                    .push(found.impact_s - t);
            }
            if found.handed != label.handed.name() {
                self.wrong_side += 1;
                self.faults.push(format!(
                    "{name}: {truth} ({}) at {:.2} s {}",
                    label.scene, label.start_s, found.handed
                ));
            }
        }
        self.add_unclaimed(name, run, &taken);
    }

    /// First reports beside the last ones of the same swings.
    fn add_first(&mut self, name: &str, run: &Run) {
        for found in &run.found {
            let Some((kind, delay_s)) = found.first else {
                continue;
            };
            assert_eq!(kind, found.kind, "a first report keeps its kind");
            self.first_s.entry(kind).or_default().push(delay_s);
            let unsure = |n: &String| n.contains("did not confirm");
            if found.notes.iter().any(unsure) {
                self.unconfirmed += 1;
                self.faults.push(format!(
                    "{name}: {kind} at {:.2} s not confirmed ({})",
                    found.impact_s, found.size
                ));
            }
        }
    }

    /// What plates and motion left over; the rigs of lessons are healthy.
    fn add_audits(&mut self, name: &str, run: &Run) {
        for found in &run.found {
            self.audits.extend(found.audit);
            self.accused += usize::from(!found.accused.is_empty());
            let during = run.labels.iter().find(|l| is_of(found, l));
            for words in &found.accused {
                self.faults.push(format!(
                    "{name}: {} ({:?}) at {:.2} s accuses the rig: {words}",
                    found.kind,
                    during.map(|l| l.scene),
                    found.impact_s
                ));
            }
        }
    }

    /// Reports that no label claims.
    fn add_unclaimed(&mut self, name: &str, run: &Run, taken: &[bool]) {
        for (found, _) in run.found.iter().zip(taken).filter(|(_, t)| !**t) {
            let place = ("—".to_owned(), found.kind.to_owned());
            *self.confusion.entry(place).or_default() += 1;
            let during = run
                .labels
                .iter()
                .find(|l| (l.start_s..=l.end_s).contains(&found.impact_s));
            self.faults.push(format!(
                "{name}: {} at {:.2} s ({}) is none (during {:?})",
                found.kind,
                found.impact_s,
                found.size,
                during.map(|l| (l.kind.name(), l.scene, l.impact_s))
            ));
        }
    }

    fn of(&self, truth: &str, found: &[&str]) -> usize {
        let all = self.confusion.iter();
        all.filter(|((t, f), _)| t == truth && (found.is_empty() || found.contains(&f.as_str())))
            .map(|(_, n)| n)
            .sum()
    }

    /// Share of shots reported as a shot or, the ball unknown, as a swing.
    pub(crate) fn recall(&self) -> f64 {
        self.of("shot", &["shot", "swing"]) as f64 / self.of("shot", &[]).max(1) as f64
    }

    /// Reports of a shot where there was none.
    pub(crate) fn false_shots(&self) -> usize {
        let all = self.confusion.iter();
        all.filter(|((t, f), _)| t != "shot" && f == "shot")
            .map(|(_, n)| n)
            .sum()
    }

    /// Reports where nothing is to be reported.
    pub(crate) fn false_reports(&self) -> usize {
        ["waggle", "abort", "other", "—"]
            .iter()
            .map(|t| self.of(t, &["shot", "swing", "rehearsal", "partial"]))
            .sum()
    }

    /// Strokes left open (`swing`: neither club, ball nor trigger can tell).
    fn open(&self) -> usize {
        let strokes = ["shot", "rehearsal", "partial"];
        strokes.iter().map(|k| self.of(k, &["swing"])).sum()
    }

    /// Share of shots, rehearsals and partial strokes reported as what they are, those left open
    /// (`swing`) apart; and all movements, where no report is right for the others.
    pub(crate) fn kind_accuracy(&self) -> (f64, f64) {
        let strokes = ["shot", "rehearsal", "partial"];
        let right: usize = strokes.iter().map(|k| self.of(k, &[k])).sum();
        let all: usize = strokes
            .iter()
            .map(|k| self.of(k, &[]) - self.of(k, &["swing"]))
            .sum();
        let none = ["waggle", "abort", "other", "—"];
        let others = ["waggle", "abort", "other"];
        let silent: usize = others.iter().map(|k| self.of(k, &none)).sum();
        let rest: usize = others.iter().map(|k| self.of(k, &[])).sum();
        (
            right as f64 / all.max(1) as f64,
            (right + silent) as f64 / (all + rest + self.of("—", &[])).max(1) as f64,
        )
    }

    /// Share of strokes reported as what they are, where what is left open counts as wrong.
    fn plain_accuracy(&self) -> f64 {
        let strokes = ["shot", "rehearsal", "partial"];
        let right: usize = strokes.iter().map(|k| self.of(k, &[k])).sum();
        let all: usize = strokes.iter().map(|k| self.of(k, &[])).sum();
        right as f64 / all.max(1) as f64
    }

    /// How often each kind of movement was reported as which.
    fn confused(&self) -> String {
        const KINDS: [&str; 8] = [
            "shot",
            "rehearsal",
            "swing",
            "partial",
            "waggle",
            "abort",
            "other",
            "—",
        ];
        let mut text = format!("{:>10} |", "truth");
        for kind in KINDS {
            text += &format!("{kind:>10}");
        }
        text.push('\n');
        for truth in KINDS.iter().filter(|k| **k != "swing") {
            text += &format!("{truth:>10} |");
            for found in KINDS {
                text += &format!("{:>10}", self.of(truth, &[found]));
            }
            text.push('\n');
        }
        text
    }

    /// The confusion table with its sums.
    pub(crate) fn table(&self) -> String {
        let mut text = self.confused();
        let (strokes, all) = self.kind_accuracy();
        text += &line(format!(
            "{:.2} h; recall of shots {:.2} %, false shots {}, false reports {}, kinds right {:.2} % of strokes, {:.2} % of all, wrong side {}",
            self.seconds / 3600.0,
            100.0 * self.recall(),
            self.false_shots(),
            self.false_reports(),
            100.0 * strokes,
            100.0 * all,
            self.wrong_side
        ));
        text += &line(format!(
            "left open as `swing` and counted apart: {}; without that {:.2} % of strokes",
            self.open(),
            100.0 * self.plain_accuracy()
        ));
        for (kind, off) in &self.impact_off_s {
            let mut off: Vec<f64> = off.iter().map(|s| s.abs() * 1e3).collect();
            off.sort_unstable_by(f64::total_cmp);
            let at = |share: f64| off[(share * (off.len() - 1) as f64) as usize];
            let [middle, most, all] = [0.5, 0.95, 1.0].map(at);
            text += &line(format!(
                "impact of {kind}: off by {middle:.2} ms (median), {most:.2} ms (95 %), {all:.1} ms (worst) of {}",
                off.len()
            ));
        }
        for (kind, delays) in &self.first_s {
            let longest = delays.iter().copied().fold(0.0, f64::max);
            text += &line(format!(
                "first report of {kind}: {} of {}, at most {:.0} ms after impact",
                delays.len(),
                self.reported(kind),
                1e3 * longest
            ));
        }
        text += &line(format!("first reports not confirmed: {}", self.unconfirmed));
        if !self.audits.is_empty() {
            let mut left = self.audits.clone();
            left.sort_unstable_by(f64::total_cmp);
            let at = |share: f64| left[(share * (left.len() - 1) as f64) as usize];
            text += &line(format!(
                "plates held against the motion in {} reports: {:.3} body weights left over (median), {:.3} (95 %); rigs accused {}",
                left.len(),
                at(0.5),
                at(0.95),
                self.accused
            ));
        }
        text
    }

    fn reported(&self, kind: &str) -> usize {
        let all = self.confusion.iter().filter(|((_, f), _)| f == kind);
        all.map(|(_, n)| n).sum()
    }
}

fn line(text: String) -> String {
    text + "\n"
}

/// Whether a report is of a label: by impact, or by time where a label has none.
fn is_of(found: &Found, label: &Label) -> bool {
    is_soon(found.lesson_s, label)
        && match label.impact_s {
            Some(t) => (found.impact_s - t).abs() < MATCH_S,
            None => (label.start_s..=label.end_s).contains(&found.impact_s),
        }
}

/// Whether what was said at a time of the lesson can be of a label.
fn is_soon(lesson_s: f64, label: &Label) -> bool {
    let begun = label.lesson_s;
    (begun..begun + label.end_s - label.start_s + SOON_S).contains(&lesson_s)
}

fn off(found: &Found, label: &Label) -> f64 {
    label.impact_s.map_or(0.0, |t| (found.impact_s - t).abs())
}

/// What was said of a movement that gave no report.
fn dismissed<'a>(run: &'a Run, label: &Label) -> Option<&'a Dismissed> {
    let overlaps = |d: &&Dismissed| {
        is_soon(d.lesson_s, label) && d.span_s[0] <= label.end_s && d.span_s[1] >= label.start_s
    };
    let near = |d: &&Dismissed| {
        let at = label.impact_s.unwrap_or(label.end_s);
        ((d.span_s[1] - at).abs() * 1e6) as i64
    };
    run.dismissed.iter().filter(overlaps).min_by_key(near)
}
