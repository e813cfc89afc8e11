//! `whin archive …`: each verb asks the archive and prints.

use std::fmt::Write as _;

use indicatif::ProgressBar;
use serde_json::{Value, json};

use super::print;
use crate::archive::again::{self, Ask};
use crate::archive::export::{self, Shape};
use crate::archive::rows::{Outcome, Student, Swing, Which};
use crate::archive::store::Store;
use crate::archive::values::{self, Packed};
use crate::archive::{Archive, ArchiveError, date, import, keeping, recover, verify};
use crate::cli::{
    ArchiveList, ArchiveShow, ArchiveVerb, Backup, Enroll, Erase, Export, ExportShape, Import,
    InArchive, Reanalyze, Recover, Sessions,
};
use crate::clock::Clock;
use crate::errors::{Code, wrong};
use crate::map::MarkerMap;
use crate::{context, outgoing, private};

pub(super) fn run(verb: &ArchiveVerb) -> anyhow::Result<()> {
    private::by_default();
    match verb {
        ArchiveVerb::Enroll(args) => enroll(args),
        ArchiveVerb::List(args) => list(args),
        ArchiveVerb::Show(args) => show(args),
        ArchiveVerb::Verify(args) => verified(args),
        ArchiveVerb::Recover(args) => recovered(args),
        ArchiveVerb::Reanalyze(args) => reanalyze(args),
        ArchiveVerb::Export(args) => exported(args),
        ArchiveVerb::Import(args) => imported(args),
        ArchiveVerb::Erase(args) => erased(args),
        ArchiveVerb::Backup(args) => backed_up(args),
    }
}

fn enroll(args: &Enroll) -> anyhow::Result<()> {
    let mut archive = Archive::create(&args.at.archive)?;
    let student = Student {
        id: String::new(),
        name: args.name.clone(),
        side: args.side.clone(),
        sex: args.sex.clone(),
        height_m: args.height,
        mass_kg: None,
        born: args.born,
    };
    let scopes: Vec<&str> = args.consent.iter().map(String::as_str).collect();
    let consent = (scopes.as_slice(), args.guardian.as_deref());
    let id = archive
        .store
        .enroll(&student, consent, Clock::start().zero_utc_ns())?;
    if args.at.json {
        return print(&json!({ "student": id }).to_string());
    }
    print(&id)
}

fn list(args: &ArchiveList) -> anyhow::Result<()> {
    let archive = Archive::open(&args.at.archive)?;
    let store = &archive.store;
    let which = match &args.student {
        Some(id) => Which::Student(id),
        None => Which::All,
    };
    let students = match &args.student {
        Some(id) => vec![store.student(id)?],
        None => store.students()?,
    };
    let (sessions, swings) = (store.sessions(which)?, store.swings(which)?);
    if args.at.json {
        let students: Vec<Value> = students
            .iter()
            .map(|s| Ok(json!({ "student": s, "consents": store.consents(&s.id)? })))
            .collect::<Result<_, ArchiveError>>()?;
        let all = json!({ "students": students, "sessions": sessions, "swings": swings });
        return print(&serde_json::to_string_pretty(&all)?);
    }
    let mut text = String::new();
    for student in students {
        let scopes = store.consents(&student.id)?;
        let scopes = scopes.iter().filter(|c| c.withdrawn_utc_ns.is_none());
        let scopes: Vec<&str> = scopes.map(|c| c.scope.as_str()).collect();
        let consents = match scopes.join(", ") {
            none if none.is_empty() => "no consent on file".to_owned(),
            some => format!("consent to {some}"),
        };
        writeln!(text, "{}  {}  ({consents})", student.id, student.name)?;
        for session in sessions.iter().filter(|s| s.student == student.id) {
            let own = swings.iter().filter(|w| w.session == session.id);
            let ended = match session.ended_utc_ns {
                Some(_) => "",
                None => ", not ended",
            };
            writeln!(
                text,
                "    {}  {}  bay {}  {} swings{ended}",
                session.id,
                date::words(session.began_utc_ns),
                session.bay,
                own.count()
            )?;
        }
    }
    print(text.trim_end())
}

fn show(args: &ArchiveShow) -> anyhow::Result<()> {
    let archive = Archive::open(&args.at.archive)?;
    let store = &archive.store;
    let which = Which::Session(&args.session);
    let sessions = store.sessions(which)?;
    let Some(session) = sessions.first() else {
        return Err(unknown("session", &args.session).into());
    };
    let swings = store.swings(which)?;
    if let Some(id) = &args.swing {
        let swing = swings.iter().find(|s| s.id == *id);
        let swing = swing.ok_or_else(|| unknown("swing", id))?;
        return show_swing(store, swing, &args.at);
    }
    let recordings = store.recordings(which)?;
    if args.at.json {
        let all = json!({ "session": session, "recordings": recordings, "swings": swings });
        return print(&serde_json::to_string_pretty(&all)?);
    }
    let mut text = format!(
        "{}  {}  bay {}  student {}  program {}\n",
        session.id,
        date::words(session.began_utc_ns),
        session.bay,
        session.student,
        session.program
    );
    for recording in recordings {
        writeln!(text, "    recording {}", recording.file)?;
    }
    for swing in swings {
        let when = date::words(swing.impact_utc_ns);
        writeln!(text, "    {}  {when}  {}", swing.id, swing.kind)?;
    }
    print(text.trim_end())
}

fn show_swing(store: &Store, swing: &Swing, at: &InArchive) -> anyhow::Result<()> {
    let results = store.results(swing)?;
    if at.json {
        let each = |o: &Outcome| {
            let report: Value = serde_json::from_str(&o.report)?;
            Ok(json!({
                "analysis": o.analysis, "measured_utc_ns": o.measured_utc_ns,
                "catalogue": o.catalogue, "report": report,
            }))
        };
        let results: Vec<Value> = results.iter().map(each).collect::<anyhow::Result<_>>()?;
        let all = json!({ "swing": swing, "results": results });
        return print(&serde_json::to_string_pretty(&all)?);
    }
    let ids = outgoing::value_ids();
    let mut text = format!(
        "{}  {}  {}, {}-handed\n",
        swing.id,
        date::words(swing.impact_utc_ns),
        swing.kind,
        swing.handed
    );
    for result in &results {
        let when = date::words(result.measured_utc_ns);
        writeln!(text, "  version {}, measured {when}", result.analysis)?;
        let Some(packed) = values::unpack(&result.metrics, ids.len()) else {
            wrong!(
                Code::ArchiveDamaged,
                "the values of {} are damaged",
                swing.id
            );
        };
        for (id, value) in ids.iter().zip(packed) {
            let said = match value {
                Packed::Value {
                    value, uncertainty, ..
                } => {
                    let spread = uncertainty.map_or_else(String::new, |u| format!(" ± {u:.3}"));
                    format!("{value:.3}{spread}")
                }
                Packed::Missing(why) => format!("— {why}"),
                Packed::NotThen => "— not computed by that version".to_owned(),
            };
            writeln!(text, "    {id}: {said}")?;
        }
    }
    print(text.trim_end())
}

fn verified(args: &InArchive) -> anyhow::Result<()> {
    let archive = Archive::open(&args.archive)?;
    let found = verify::verify(&archive)?;
    if args.json {
        print(&serde_json::to_string_pretty(&found)?)?;
    } else {
        for finding in &found.findings {
            print(&format!("{}: {}", finding.severity, finding.text))?;
        }
        print(&format!(
            "{} sessions, {} recordings with {} datagrams, {} swings: {}",
            found.sessions,
            found.recordings,
            found.datagrams,
            found.swings,
            if found.damaged() {
                "damaged"
            } else {
                "all there"
            }
        ))?;
    }
    if found.damaged() {
        wrong!(Code::ArchiveDamaged, "the archive is damaged");
    }
    Ok(())
}

fn recovered(args: &Recover) -> anyhow::Result<()> {
    let saved = recover::recover(&args.file, &args.to)?;
    if args.json {
        return print(&serde_json::to_string_pretty(&saved)?);
    }
    let seconds = saved
        .arrivals_ns
        .map_or(0.0, |(first, last)| (last - first) as f64 * 1e-9);
    for loss in &saved.losses {
        print(&format!("lost: {loss}"))?;
    }
    print(&format!(
        "{} datagrams of {seconds:.1} s saved to {}, {} bytes of the old file lost",
        saved.datagrams,
        args.to.display(),
        saved.lost_bytes
    ))
}

/// The sessions that are meant, which must exist.
fn which<'a>(store: &Store, named: &'a Sessions) -> Result<Which<'a>, ArchiveError> {
    if let Some(id) = &named.student {
        return store.student(id).map(|_known| Which::Student(id));
    }
    let Some(id) = &named.session else {
        return Ok(Which::All);
    };
    let known = !store.sessions(Which::Session(id))?.is_empty();
    known
        .then_some(Which::Session(id))
        .ok_or_else(|| unknown("session", id))
}

fn reanalyze(args: &Reanalyze) -> anyhow::Result<()> {
    let mut archive = Archive::open(&args.at.archive)?;
    let which = which(&archive.store, &args.which)?;
    let clock = Clock::start();
    let bar = ProgressBar::new(archive.store.recordings(which)?.len() as u64);
    let ask = Ask {
        which,
        swing: args.swing.as_deref(),
        uncertainty: !args.no_uncertainty,
        now_utc_ns: clock.zero_utc_ns(),
    };
    let ids = outgoing::value_ids();
    let moved = again::reanalyze(&mut archive, &ids, ask, &|| bar.inc(1))?;
    bar.finish_and_clear();
    let took_s = clock.now_ns() as f64 * 1e-9;
    if args.at.json {
        let all = json!({ "moved": moved, "took_s": took_s });
        return print(&serde_json::to_string_pretty(&all)?);
    }
    for id in &moved.added {
        print(&format!("new in the archive: {id}"))?;
    }
    for id in &moved.not_found {
        print(&format!("not found again, its results stay: {id}"))?;
    }
    if !moved.metrics.is_empty() {
        print(&format!(
            "{:<44} {:>8} {:>6} {:>12} {:>12} {:>4} {:>5}",
            "metric", "compared", "moved", "mean", "largest", "new", "gone"
        ))?;
    }
    for (id, d) in &moved.metrics {
        print(&format!(
            "{id:<44} {:>8} {:>6} {:>12.6} {:>12.6} {:>4} {:>5}",
            d.compared,
            d.moved,
            d.mean(),
            d.largest,
            d.appeared,
            d.vanished
        ))?;
    }
    print(&format!(
        "{} swings measured again in {took_s:.1} s ({:.0} times as fast as they were recorded); {} metrics moved",
        moved.swings,
        moved.recorded_s / took_s,
        moved.metrics.len()
    ))
}

fn exported(args: &Export) -> anyhow::Result<()> {
    let archive = Archive::open(&args.at.archive)?;
    let which = which(&archive.store, &args.which)?;
    let shape = match args.shape {
        ExportShape::Csv => Shape::Csv,
        ExportShape::Json => Shape::Json,
        ExportShape::Parquet => Shape::Parquet,
        ExportShape::C3d => Shape::C3d,
    };
    let ask = export::Ask {
        which,
        shape,
        scope: &args.scope,
        anonymous: args.anonymous,
        now_utc_ns: Clock::start().zero_utc_ns(),
    };
    let done = export::export(&archive, &ask, &args.to)?;
    if args.at.json {
        return print(&serde_json::to_string_pretty(&done)?);
    }
    for student in &done.left_out {
        print(&format!(
            "left out: {student} did not consent to {}",
            args.scope
        ))?;
    }
    for swing in &done.unfit {
        print(&format!("left out: {swing}"))?;
    }
    print(&format!(
        "{} swings in {} files written to {}",
        done.swings,
        done.files,
        args.to.display()
    ))
}

fn imported(args: &Import) -> anyhow::Result<()> {
    let mut archive = Archive::open(&args.at.archive)?;
    let map = MarkerMap::load(&args.markers)?;
    let told = args.context.as_ref().map(|path| context::load(path, &map));
    let told = told.transpose()?;
    let now_utc_ns = Clock::start().zero_utc_ns();
    let ask = import::Ask {
        student: &args.student,
        map: &map,
        context: told.as_ref().map(|t| (&t.context, t.text.as_str())),
        utc_ns: args.date.unwrap_or(now_utc_ns),
        now_utc_ns,
        uncertainty: !args.no_uncertainty,
    };
    let bar = ProgressBar::new(args.files.len() as u64);
    let ids = outgoing::value_ids();
    let done = import::import(&mut archive, &ids, &ask, &args.files, &|| bar.inc(1))?;
    bar.finish_and_clear();
    if args.at.json {
        print(&serde_json::to_string_pretty(&done)?)?;
    } else {
        for left in &done.left_out {
            print(&format!("left out: {left}"))?;
        }
        if let Some(session) = &done.session {
            print(&format!(
                "{} swings in session {session}",
                done.swings.len()
            ))?;
        }
    }
    if done.session.is_none() {
        wrong!(Code::SwingMissed, "nothing was imported");
    }
    Ok(())
}

fn erased(args: &Erase) -> anyhow::Result<()> {
    let mut archive = Archive::open(&args.at.archive)?;
    let done = keeping::erase(&mut archive, &args.student)?;
    if args.at.json {
        print(&serde_json::to_string_pretty(&done)?)?;
    } else {
        print(&format!(
            "{} sessions with {} swings erased, {} recordings of {} bytes removed. Backups and exports elsewhere are not touched.",
            done.sessions, done.swings, done.recordings, done.bytes
        ))?;
    }
    if !done.still_in.is_empty() {
        wrong!(
            Code::ArchiveDamaged,
            "the student still stands in {}: remove what is a copy",
            done.still_in.join(", ")
        );
    }
    Ok(())
}

fn backed_up(args: &Backup) -> anyhow::Result<()> {
    let archive = Archive::open(&args.at.archive)?;
    let done = keeping::backup(&archive, &args.to)?;
    if args.at.json {
        return print(&serde_json::to_string_pretty(&done)?);
    }
    print(&format!(
        "store and {} recordings of {} bytes copied to {}",
        done.recordings,
        done.bytes,
        args.to.display()
    ))
}

fn unknown(what: &'static str, name: &str) -> ArchiveError {
    ArchiveError::Unknown {
        what,
        name: name.to_owned(),
    }
}
