//! One swing of 3 s with 32 markers, kinematics alone and with the ground of two plates at 2000 Hz,
//! beside a vectorized NumPy/SciPy script that does the same work (`reference/kinematics_speed.py` and
//! `reference/ground_speed.py`), both on one thread and on the same numbers; and the cost by frame rate.
//! `bash tests/bench/run kinematics` runs it.
//!
//! Ours is the whole `measure`: repair of clusters, events, impact and every metric, no Monte Carlo.
//! With the ground also what a look asks of the plates' stream: its ring of raw samples to reactions
//! (zero taken off, both low-passes, noise), every metric of the ground, and plates against motion.
//! Finding the zero belongs to the coming in of samples and is timed on neither side.
//!
//! Every row's two sides take turns, all rows in each turn, and of both sides the quickest time counts, as
//! other work on the machine only adds.
//! That both do the same work is shown by values of both, side by side. Nothing here decides a test.

#![allow(
    clippy::expect_used,
    clippy::print_stdout,
    reason = "a bench that cannot be set up has no figure to give, and it prints its figures"
)]

#[path = "../accuracy.rs"]
mod accuracy;
#[allow(dead_code, reason = "the suite uses all of it")]
#[path = "suite/rows.rs"]
mod rows;

use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdout, Command, Stdio};
use std::time::Instant;

use accuracy::footing;
use analysis::clock::Alignment;
use analysis::context::Context;
use analysis::forward::{CaptureParams, GolferParams, PlateParams, PlateTake, swing};
use analysis::ground::forces::Forces;
use analysis::ground::window::GroundWindow;
use analysis::measure::{Beside, Measured, measure_beside};
use analysis::metrics::catalogue::CATALOGUE;
use analysis::window::Window;
use daemon::map::MarkerMap;
use nalgebra::Point3;
use serde_json::{Value, json};

/// Stretch before and after impact, seconds: address, swing and finish.
const BEFORE_S: f64 = 1.75;
const AFTER_S: f64 = 1.25;
/// Turns of each side, and swings measured in a row in each: more than one, so that no side is always
/// the one that finds the other's numbers in the cache.
const TURNS: usize = 20;
const IN_A_ROW: usize = 3;
/// Frame rates of the table, and the one that the goal speaks of.
const RATES_HZ: [f64; 4] = [250.0, 500.0, GOAL_HZ, 2000.0];
const GOAL_HZ: f64 = 1000.0;

/// Values of the ground that both sides print, and how far apart they may be (SI). Wide only where impact
/// has a say: the script is told its frame, ours finds it between frames.
const COMPARED: [(&str, f64); 18] = [
    ("noise.up", 0.001),
    ("sharp_peak.up", 0.1),
    ("vertical_force.lead@address", 0.001),
    ("vertical_force.lead@top", 0.002),
    ("vertical_force_peak.lead", 0.01),
    ("vertical_force_peak.trail", 0.001),
    ("vertical_force_peak_time.lead", 0.001),
    ("vertical_share_lead@impact", 0.005),
    ("unweighting_min", 0.001),
    ("loading_rate.lead", 0.05),
    ("lateral_force_peak.both", 0.001),
    ("fore_aft_couple_peak", 0.1),
    ("ground_torque_vertical_peak", 0.1),
    ("cop_path_length", 0.002),
    ("vertical_impulse_down", 1.0),
    ("frontal_moment_arm_peak", 0.003),
    ("force_residual", 0.001),
    ("force_marker_lag", 0.0005),
];

/// What both sides measure.
struct Shot {
    /// A 3 s window of the synthetic golfer.
    window: Window,
    /// The slot of impact in it.
    impact: usize,
    ball: Option<Point3<f64>>,
    /// The plates' stream as the bay keeps it, and what they sent.
    ground: Option<(Forces, PlateTake)>,
}

impl Shot {
    fn new(rate_hz: f64, on_plates: bool) -> Self {
        let plates = PlateParams {
            rate_hz: 2000.0,
            ..PlateParams::USUAL
        };
        let capture = CaptureParams {
            rate_hz,
            noise_m: 0.0005,
            dropout: 0.0,
            wobble: false,
            plates: on_plates.then_some(plates),
        };
        let take = swing(&GolferParams::from_seed(1), &capture);
        let impact = (take.truth.event("impact").expect("an impact") * rate_hz) as usize;
        let from = impact - (BEFORE_S * rate_hz) as usize;
        let to = impact + (AFTER_S * rate_hz) as usize;
        let mut window = accuracy::window(&take.frames[..to], &take.landmarks, rate_hz);
        window.keep(from..to);
        Self {
            window,
            impact: impact - from,
            ball: MarkerMap::load("whin_32").expect("a shipped map").ball,
            ground: footing::stream(&take).zip(take.plates),
        }
    }

    /// The first and the last time of its window, nanoseconds.
    fn span_ns(&self) -> [i64; 2] {
        let times = &self.window.time_ns;
        [times[0], times[times.len() - 1]]
    }

    /// The whole look at it.
    fn measure(&self) -> Measured {
        let ground = self.ground.as_ref().map(|(forces, _)| {
            let [from, to] = self.span_ns();
            GroundWindow {
                plates: forces.window(from, to, &Alignment::Shared),
            }
        });
        let beside = Beside {
            ground: ground.as_ref(),
            ..Beside::default()
        };
        let context = Context::default();
        let given = (&context, beside);
        measure_beside(&self.window, self.impact, self.ball, given).expect("a swing")
    }

    /// Quickest time of some in a row, seconds.
    fn quickest(&self) -> f64 {
        let once = |_| {
            let start = Instant::now();
            let measured = std::hint::black_box(self.measure());
            let took = start.elapsed().as_secs_f64();
            assert!(measured.values.unwritten().is_empty());
            took
        };
        (0..IN_A_ROW).map(once).fold(f64::MAX, f64::min)
    }

    /// Window and plates as raw doubles (slot, landmark, coordinate; NaN where missing; sample, channel)
    /// with a header.
    fn write(&self, dir: &Path) {
        let window = &self.window;
        let club = self.measure().prepared.club_mass;
        let names: Vec<&str> = window.landmarks.iter().map(|l| l.name()).collect();
        let mut header = json!({
            "rate": window.rate_hz, "landmarks": names, "slots": window.len(), "impact": self.impact,
            "in_a_row": IN_A_ROW, "from_s": self.span_ns()[0] as f64 * 1e-9,
            "club": [club.mass_kg, club.balance_m, club.inertia_kg_m2],
        });
        let mut bytes = Vec::new();
        for slot in 0..window.len() {
            for track in &window.tracks {
                let p = track[slot].map_or([f64::NAN; 3], |p| [p.x, p.y, p.z]);
                p.iter().for_each(|v| bytes.extend(v.to_le_bytes()));
            }
        }
        fs::write(dir.join("window.f64"), bytes).expect("a place to write");
        if let Some((forces, take)) = &self.ground {
            let plates = take.plates.iter().map(|p| {
                let corners = p.corners.map(|c| [c.x, c.y, c.z]);
                json!({ "corners": corners, "origin": [p.origin.x, p.origin.y, p.origin.z] })
            });
            header["ground"] = json!({
                "rate": take.rate_hz, "plates": plates.collect::<Value>(),
            });
            let [first, second] = &take.plates;
            let samples = first.samples.iter().zip(&second.samples);
            // As they are sent: in single precision.
            let channels = samples
                .take(forces.samples() as usize)
                .flat_map(|(a, b)| a.iter().chain(b))
                .flat_map(|v| f64::from(*v as f32).to_le_bytes());
            fs::write(dir.join("ground.f64"), channels.collect::<Vec<u8>>())
                .expect("a place to write");
        }
        fs::write(dir.join("window.json"), header.to_string()).expect("a place to write");
    }
}

/// The script at work on a shot: a line in, the quickest time of some swings out.
struct Script {
    program: Child,
    says: BufReader<ChildStdout>,
    dir: PathBuf,
}

impl Script {
    fn start((place, shot): (usize, &Shot)) -> Self {
        let here = Path::new(env!("CARGO_MANIFEST_DIR"));
        let dir = format!("whin-speed-{}-{place}", std::process::id());
        let dir = std::env::temp_dir().join(dir);
        fs::create_dir_all(&dir).expect("a place to write");
        shot.write(&dir);
        let python = std::env::var_os("WHIN_PYTHON")
            .map_or_else(|| here.join("../target/venv/bin/python"), PathBuf::from);
        let mut program = Command::new(python)
            .arg(here.join("reference/kinematics_speed.py"))
            .arg(&dir)
            .envs(["OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"].map(|v| (v, "1")))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("Python with NumPy and SciPy: run `bash tests/run` once");
        let says = BufReader::new(program.stdout.take().expect("its output"));
        Self { program, says, dir }
    }

    fn line(&mut self) -> Value {
        let mut line = String::new();
        self.says.read_line(&mut line).expect("an answer");
        serde_json::from_str(&line).expect("a line of JSON from the script")
    }

    fn quickest(&mut self) -> f64 {
        let asks = self.program.stdin.as_mut().expect("its input");
        asks.write_all(b"\n").expect("a script that runs");
        self.line().as_f64().expect("seconds")
    }

    /// Ends it: its values.
    fn values(mut self) -> Value {
        drop(self.program.stdin.take());
        let values = self.line();
        assert!(self.program.wait().expect("its end").success());
        fs::remove_dir_all(&self.dir).expect("the folder was ours");
        values
    }
}

/// Quickest times of both sides, seconds, and what they found.
struct Both {
    ours: f64,
    script: f64,
    measured: Measured,
    values: Value,
}

impl Both {
    /// Of each shot.
    fn of(shots: &[Shot]) -> Vec<Self> {
        let mut scripts: Vec<Script> = shots.iter().enumerate().map(Script::start).collect();
        let mut quickest = vec![(f64::MAX, f64::MAX); shots.len()];
        for _ in 0..TURNS {
            for ((shot, script), (ours, theirs)) in
                shots.iter().zip(&mut scripts).zip(&mut quickest)
            {
                *ours = ours.min(shot.quickest());
                *theirs = theirs.min(script.quickest());
            }
        }
        let ended = shots.iter().zip(scripts).zip(quickest);
        let both = ended.map(|((shot, script), (ours, theirs))| Self {
            ours,
            script: theirs,
            measured: shot.measure(),
            values: script.values(),
        });
        both.collect()
    }

    fn ratio(&self) -> f64 {
        self.script / self.ours
    }

    fn said(&self) -> String {
        let [ours, script] = [self.ours, self.script].map(|s| s * 1e3);
        format!("ours {ours:.2} ms, script {script:.1} ms")
    }

    /// A value of ours by its identifier; of the first plate's reactions what no metric shows.
    fn found(&self, id: &str) -> f64 {
        let ground = self.measured.prepared.ground.as_deref();
        let first = || ground.and_then(|g| g.plates[0].series.as_ref().ok());
        match id {
            "noise.up" => return first().map_or(f64::NAN, |s| s.noise.force.y.abs()),
            "sharp_peak.up" => {
                let sharp = first().into_iter().flat_map(|s| s.sharp.iter().flatten());
                return sharp.map(|w| w.force.y).fold(0.0, f64::max);
            }
            _ => {}
        }
        let index = CATALOGUE.iter().find_map(|f| {
            let n = (0..f.len()).find(|&n| f.value_id(n) == id)?;
            Some(f.first + n)
        });
        let index = index.expect("a value of the catalogue");
        self.measured.values.number(index).unwrap_or(f64::NAN)
    }

    /// Values of the ground, ours and the script's.
    fn compare(&self) {
        println!("values of the ground, SI: ours | script (may differ by)");
        let audit = self.measured.audit.as_ref().expect("plates against motion");
        assert!(
            audit.tried.is_empty(),
            "nothing is odd, so that no fault is tried on either side"
        );
        for (id, tolerance) in COMPARED {
            let (ours, script) = (self.found(id), self.values["ground"][id].as_f64());
            let script = script.unwrap_or(f64::NAN);
            let near = (ours - script).abs() <= tolerance;
            let word = if near { "alike" } else { "APART" };
            println!("  {id:32} {ours:9.4} | {script:9.4} ({tolerance}) {word}");
        }
    }
}

fn main() {
    println!(
        "one swing of 3 s, 32 markers, one thread; taking turns, quickest of {} on both sides",
        TURNS * IN_A_ROW
    );
    let mut shots: Vec<Shot> = RATES_HZ.iter().map(|hz| Shot::new(*hz, false)).collect();
    shots.push(Shot::new(GOAL_HZ, true));
    let mut rows = Both::of(&shots);
    let whole = rows.pop().expect("the one with plates");
    let mut first = None;
    for ((rate_hz, shot), both) in RATES_HZ.iter().zip(&shots).zip(&rows) {
        let per_frame = both.ours / shot.window.len() as f64;
        let first = *first.get_or_insert(per_frame);
        println!(
            "{rate_hz:6.0} Hz  {:8.3} ms ours  {:8.2} ms script  {:5.1} x  {:6.2} us a frame ({:.2} of the first)",
            both.ours * 1e3,
            both.script * 1e3,
            both.ratio(),
            per_frame * 1e6,
            per_frame / first,
        );
        println!("           script's values: {}", both.values["kinematics"]);
    }
    whole.compare();
    let at_goal = RATES_HZ.iter().zip(&rows).find(|r| r.0 >= &GOAL_HZ);
    let alone = at_goal.expect("the goal's rate is among them").1;
    rows::told("kinematics.alone", alone.ratio(), &alone.said());
    let (ours, script) = (whole.ours - alone.ours, whole.script - alone.script);
    let beside = format!("ours {:.2} ms, script {:.1} ms", ours * 1e3, script * 1e3);
    rows::told("kinematics.what_plates_add", script / ours, &beside);
    rows::at_least("kinematics.ground", whole.ratio(), 30.0, &whole.said());
}
