//! Recordings measured again with today's program, and what moved. Old results stay, by version; a
//! swing that the store has not (its report was lost) is filed.

use std::collections::BTreeMap;
use std::num::NonZeroUsize;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

use anyhow::Context as _;
use protocol::report::{REFINED, Report};
use serde::Serialize;

use super::filing::{Filing, outcome, placed, take};
use super::ring::Ring;
use super::rows::{Recording, Swing, Which};
use super::values::{self, Packed};
use super::{Archive, ArchiveError, moving};
use crate::offline::{self, Again};
use crate::receive::Arrival;
use crate::{recording, refine};

/// Less than this, relative or absolute, is the rounding of reports.
const ROUNDING: f64 = 2e-6;

/// What is to be measured again, and how.
#[derive(Debug, Clone, Copy)]
pub struct Ask<'a> {
    /// Sessions.
    pub which: Which<'a>,
    /// Only the swing of this name.
    pub swing: Option<&'a str>,
    /// Also how surely each value is known. Without it a result that this version has made already is
    /// compared with, not replaced.
    pub uncertainty: bool,
    /// Now, nanoseconds since 1970 in UTC.
    pub now_utc_ns: u64,
}

/// What came of it.
#[derive(Debug, Default, Serialize)]
pub struct Moved {
    /// Swings measured again.
    pub swings: usize,
    /// Those that the store had not.
    pub added: Vec<String>,
    /// Those of the store that were not found again; their results stay.
    pub not_found: Vec<String>,
    /// Seconds of recording that were read.
    pub recorded_s: f64,
    /// Metrics of which at least one value moved, by identifier.
    pub metrics: BTreeMap<String, Difference>,
}

/// How the values of one metric moved, new minus old.
#[derive(Debug, Default, Clone, PartialEq, Serialize)]
pub struct Difference {
    /// Swings with both values.
    pub compared: u32,
    /// Of these, those whose values differ.
    pub moved: u32,
    /// Sum of the differences.
    #[serde(skip)]
    sum: f64,
    /// Largest absolute difference.
    pub largest: f64,
    /// Values that there were not before.
    pub appeared: u32,
    /// Values that there are no more.
    pub vanished: u32,
}

impl Difference {
    /// Mean difference of the swings with both values.
    #[must_use]
    pub fn mean(&self) -> f64 {
        self.sum / f64::from(self.compared.max(1))
    }

    fn add(&mut self, old: &Packed, new: &Packed) {
        match (old, new) {
            (Packed::Value { value: old, .. }, Packed::Value { value: new, .. }) => {
                let by = new - old;
                self.compared += 1;
                self.moved += u32::from(by.abs() > ROUNDING * old.abs().max(1.0));
                self.sum += by;
                self.largest = self.largest.max(by.abs());
            }
            (_, Packed::Value { .. }) => self.appeared += 1,
            (Packed::Value { .. }, _) => self.vanished += 1,
            _ => {}
        }
    }

    fn is_any(&self) -> bool {
        self.moved + self.appeared + self.vanished > 0
    }
}

/// Measures again; `done` is called with each recording that is through. Recordings run side by side.
///
/// # Errors
/// When the store or a recording cannot be read.
pub fn reanalyze(
    archive: &mut Archive,
    ids: &[String],
    ask: Ask<'_>,
    done: &(dyn Fn() + Sync),
) -> anyhow::Result<Moved> {
    let recordings = archive.store.recordings(ask.which)?;
    let cores = thread::available_parallelism().map_or(1, NonZeroUsize::get);
    let workers = cores.min(recordings.len()).max(1);
    let next = AtomicUsize::new(0);
    let shared = Mutex::new((archive, Moved::default()));
    let work = || -> anyhow::Result<()> {
        while let Some(row) = recordings.get(next.fetch_add(1, Ordering::Relaxed)) {
            one(&shared, ids, &ask, (row, cores.div_ceil(workers)))
                .with_context(|| format!("recording {}", row.file))?;
            done();
        }
        Ok(())
    };
    thread::scope(|scope| {
        let helpers: Vec<_> = (1..workers).map(|_| scope.spawn(work)).collect();
        let own = work();
        let joined = helpers.into_iter().map(|h| match h.join() {
            Ok(ended) => ended,
            Err(_panic) => Err(anyhow::anyhow!("a thread panicked: please report it")),
        });
        std::iter::once(own)
            .chain(joined)
            .collect::<anyhow::Result<()>>()
    })?;
    let (_, mut moved) = match shared.into_inner() {
        Ok(all) => all,
        Err(poisoned) => poisoned.into_inner(),
    };
    moved.metrics.retain(|_, difference| difference.is_any());
    moved.added.sort_unstable();
    moved.not_found.sort_unstable();
    Ok(moved)
}

/// The archive and what moved so far: held for a moment a swing.
type Shared<'a> = Mutex<(&'a mut Archive, Moved)>;

fn one(
    shared: &Shared<'_>,
    ids: &[String],
    ask: &Ask<'_>,
    (row, threads): (&Recording, usize),
) -> anyhow::Result<()> {
    let lock = || {
        shared
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner)
    };
    let (path, mut known) = {
        let held = lock();
        let all = held.0.store.swings(Which::Session(&row.session))?;
        let own = all.into_iter().filter(|s| s.place.recording == row.id);
        let meant = own.filter(|s| ask.swing.is_none_or(|id| id == s.id));
        let known: BTreeMap<String, Swing> = meant.map(|s| (s.id.clone(), s)).collect();
        (held.0.recording(&row.file), known)
    };
    let mut recording = recording::read(&path)?;
    let zero_utc_ns = recording.meta().clock_zero_utc_ns;
    let mut ring = Ring::default();
    let (mut first_ns, mut last_ns) = (None, 0);
    let mut failed = None;
    offline::again(&mut recording, |step| match step {
        Again::Arrival(arrival) => {
            last_ns = match arrival {
                Arrival::Datagram { received_ns, bytes } => {
                    ring.push(*received_ns, bytes);
                    *received_ns
                }
                Arrival::Tick { now_ns } => *now_ns,
            };
            first_ns.get_or_insert(last_ns);
        }
        Again::Swing(filing, measured) => {
            if ask.swing.is_some_and(|id| id != filing.report.id) {
                return;
            }
            let mut filing = *filing;
            if ask.uncertainty {
                match refine::refined(&measured, threads) {
                    Ok(measurement) => {
                        filing.report.measurement = measurement;
                        filing.report.revision = REFINED;
                    }
                    Err(refine::Panicked) => {
                        failed = Some(anyhow::anyhow!("a draw failed: please report it"));
                    }
                }
            }
            let old = known.remove(&filing.report.id).or_else(|| {
                // What is told now may move impact a little, and with it the name that it would get.
                let near = known
                    .keys()
                    .find(|id| moving::is_of(id, &filing))
                    .cloned()?;
                filing.report.id.clone_from(&near);
                known.remove(&near)
            });
            let kept = keep(
                &mut lock(),
                ids,
                (row, zero_utc_ns, ask),
                (&ring, filing, old),
            );
            failed = kept.err().or(failed.take());
        }
    })?;
    if let Some(why) = failed {
        return Err(why);
    }
    let mut held = lock();
    held.1.not_found.extend(known.into_keys());
    held.1.recorded_s += last_ns.saturating_sub(first_ns.unwrap_or(last_ns)) as f64 * 1e-9;
    Ok(())
}

/// Keeps one new result and compares it with the newest before.
fn keep(
    (archive, moved): &mut (&mut Archive, Moved),
    ids: &[String],
    (row, zero_utc_ns, ask): (&Recording, u64, &Ask<'_>),
    (ring, filing, old): (&Ring, Filing, Option<Swing>),
) -> anyhow::Result<()> {
    let new = outcome(ids, &filing.report, ask.now_utc_ns).map_err(anyhow::Error::msg)?;
    let id = filing.report.id.clone();
    let drawn = take(&filing).map_err(anyhow::Error::msg)?;
    moved.swings += 1;
    let Some(swing) = old else {
        // Without a whole window there is nothing to verify later: it stays out.
        if let Some(swing) = placed(ring, &filing, (&row.session, row.id), zero_utc_ns) {
            archive.store.add_swing(&swing, &new, drawn.as_ref())?;
            moved.added.push(id);
        }
        return Ok(());
    };
    let before = archive.store.results(&swing)?;
    if let Some(before) = before.first() {
        let damaged = || ArchiveError::Damaged(format!("the values of swing {id}"));
        let old = values::unpack(&before.metrics, ids.len()).ok_or_else(damaged)?;
        let now = values::unpack(&new.metrics, ids.len()).ok_or_else(damaged)?;
        for ((id, old), now) in ids.iter().zip(&old).zip(&now) {
            moved.metrics.entry(id.clone()).or_default().add(old, now);
        }
    }
    // Without uncertainties it says less than what this version has said already.
    let less = !ask.uncertainty && before.iter().any(|b| b.analysis == new.analysis);
    if !less {
        archive
            .store
            .put_result((&swing.session, &swing.id), &new)?;
    }
    if let Some(drawn) = drawn {
        let named = (swing.session.as_str(), swing.id.as_str());
        archive.store.put_take(named, &drawn)?;
    }
    Ok(())
}

/// The report of a result.
///
/// # Errors
/// When it is no report.
pub fn report(text: &str) -> Result<Report, ArchiveError> {
    serde_json::from_str(text).map_err(|why| ArchiveError::Damaged(format!("a report: {why}")))
}
