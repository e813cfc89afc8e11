//! Subcommands that work on files: `send`, `analyze`, `calibrate`, `synthesize`.

use std::num::NonZeroUsize;
use std::path::PathBuf;

use analysis::context::Context;
use analysis::forward::{
    CaptureParams, GolferParams, LessonParams, PlateParams, calibration_trial, swing,
};
use protocol::report::Measurement;

use super::print;
use crate::cli::{Analyze, Calibrate, Send, Synthesize};
use crate::clock::Clock;
use crate::errors::{Code, wrong};
use crate::map::MarkerMap;
use crate::{context, gate, lesson, offline, outgoing, refine, send, synthetic, table, trial};

pub(super) fn send(args: &Send) -> anyhow::Result<()> {
    let clock = Clock::start();
    let map = args.markers.as_deref().map(MarkerMap::load).transpose()?;
    // The epoch tells one start of this sender from the next.
    let epoch = (clock.zero_utc_ns() / 1_000_000) as u32;
    let due = send::datagrams(&args.file, map.as_ref(), epoch)?;
    let key = args.key_file.as_deref().map(gate::key).transpose()?;
    let sent = send::send(&due, (args.to, key.as_ref()), args.pace, clock)?;
    if sent * 2 < due.len() as u64 {
        wrong!(
            Code::NobodyListens,
            "nobody listens at {}: only {sent} of {} datagrams could be sent",
            args.to,
            due.len()
        );
    }
    print(&format!(
        "{sent} of {} datagrams sent to {}",
        due.len(),
        args.to
    ))
}

pub(super) fn analyze(args: &Analyze) -> anyhow::Result<()> {
    let map = offline::map_for(&args.file, args.markers.as_deref())?;
    let load = |path: &PathBuf| context::load(path, &map);
    let told = args.context.as_ref().map(load).transpose()?;
    let (told, remarks) = told.map_or((None, Vec::new()), |t| (Some(t.context), t.remarks));
    let with_side = |context: Context| Context {
        handed: args.handed.handed().or(context.handed),
        ..context
    };
    let mut found = if send::is_recording(&args.file) {
        offline::analyze_recording(&args.file, map, told, args.handed.handed())?
    } else {
        offline::analyze_c3d(&args.file, map, with_side(told.unwrap_or_default()))?
    };
    found.remarks.splice(0..0, remarks);
    let measurement = |measured| {
        if args.no_uncertainty {
            return Ok(outgoing::measurement(measured));
        }
        let all = std::thread::available_parallelism().map_or(1, NonZeroUsize::get);
        refine::refined(measured, all)
            .map_err(|_panic| anyhow::anyhow!("a draw of the uncertainty failed: please report it"))
    };
    let swings: Vec<Measurement> = found
        .swings
        .iter()
        .map(measurement)
        .collect::<anyhow::Result<_>>()?;
    if args.json {
        return print(&serde_json::to_string_pretty(
            &serde_json::json!({ "swings": swings, "remarks": found.remarks }),
        )?);
    }
    for remark in &found.remarks {
        print(&format!("note: {remark}"))?;
    }
    for (n, swing) in swings.iter().enumerate() {
        print(&table::swing(n + 1, swing))?;
    }
    print(&if swings.is_empty() {
        "No swing found.".to_owned()
    } else {
        table::CAUTION.to_owned()
    })
}

pub(super) fn calibrate(args: &Calibrate) -> anyhow::Result<()> {
    let map = offline::map_for(&args.file, args.markers.as_deref())?;
    let found = trial::read(&args.file, &map)?;
    if args.toml {
        return print(context::calibration_table(&found.trial.calibration)?.trim_end());
    }
    for remark in &found.remarks {
        print(&format!("note: {remark}"))?;
    }
    print(&trial::words(&found.trial))
}

pub(super) fn synthesize(args: &Synthesize) -> anyhow::Result<()> {
    let mut params = GolferParams {
        style: args.style,
        ball: args.ball.ball(),
        ..GolferParams::from_seed(args.seed)
    };
    if let Some(club) = args.club {
        params = params.with_club(club);
    }
    params.handed = args.side;
    params.head_speed_mps = args.speed.unwrap_or(params.head_speed_mps);
    let within = |name: &str, value: f64, range: std::ops::RangeInclusive<f64>| {
        if range.contains(&value) {
            Ok::<(), anyhow::Error>(())
        } else {
            wrong!(
                Code::CommandValue,
                "{name} is {value}: {} to {} is possible",
                range.start(),
                range.end()
            )
        }
    };
    within("--speed", params.head_speed_mps, 15.0..=60.0)?;
    within("--rate", args.rate, 25.0..=4000.0)?;
    within("--noise-mm", args.noise_mm, 0.0..=50.0)?;
    within("--dropouts", args.dropouts, 0.0..=90.0)?;
    if let Some(minutes) = args.lesson {
        return lesson_of(args, minutes);
    }
    let capture = CaptureParams {
        rate_hz: args.rate,
        noise_m: args.noise_mm * 1e-3,
        dropout: args.dropouts * 1e-2,
        wobble: false,
        plates: (!args.no_plates).then_some(PlateParams::USUAL),
    };
    let take = swing(&params, &capture);
    let map = MarkerMap::load("whin_32")?;
    synthetic::write(&take, &map, &args.out)?;
    let mut written = "take.c3d and truth.json";
    if args.calibration {
        synthetic::write_calibration(&calibration_trial(&params, &capture), &map, &args.out)?;
        written = "take.c3d, truth.json, calibration.c3d and calibration.json";
    }
    print(&format!("{written} written to {}", args.out.display()))
}

fn lesson_of(args: &Synthesize, minutes: f64) -> anyhow::Result<()> {
    let params = LessonParams {
        rate_hz: args.rate,
        noise_m: args.noise_mm * 1e-3,
        dropout: args.dropouts * 1e-2,
        handed: args.side,
        faults: args.faults,
        upsets: args.upsets,
        club: !args.no_club,
        wobble: args.wobble,
        plates: args.plates,
        ..LessonParams::usual(args.seed, minutes * 60.0)
    };
    let map = MarkerMap::load("whin_32")?;
    let map = if args.ball_unknown {
        lesson::ball_unknown(&map)?
    } else {
        map
    };
    let labels = lesson::write(&params, &map, args.trigger, &args.out)?;
    let struck = labels.iter().filter(|l| l.struck).count();
    print(&format!(
        "lesson.mcap and labels.json written to {}: {} movements, {struck} of them strike a ball",
        args.out.display(),
        labels.len()
    ))
}
