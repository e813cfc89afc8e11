//! The long campaign of lessons: hours of them, in memory, against their labels. Run by
//! `bash tests/long/lessons`, which says the flags.

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a campaign that cannot run says so and stops"
)]

#[path = "campaign.rs"]
mod campaign;
#[path = "../lessons.rs"]
mod lessons;

use analysis::forward::LessonParams;
use analysis::handed::Handed;
use lessons::score::Score;
use lessons::{Rig, run};

fn main() {
    let mut params = LessonParams::usual(0, 3600.0);
    let mut rig = Rig::USUAL;
    let (mut seed, mut count, mut both) = (1, 20, true);
    campaign::flags(|flag, number| {
        match flag {
            "--minutes" => params.length_s = 60.0 * number(),
            "--seed" => seed = number() as u64,
            "--count" => count = number() as u64,
            "--rate" => params.rate_hz = number(),
            "--noise" => params.noise_m = 1e-3 * number(),
            "--dropout" => params.dropout = 0.01 * number(),
            "--faults" => params.faults = true,
            "--upsets" => params.upsets = true,
            "--wobble" => params.wobble = true,
            "--plates" => params.plates = true,
            "--no-club" => params.club = false,
            "--no-trigger" => rig.trigger = false,
            "--no-ball" => rig.ball = false,
            "--right" => both = false,
            _ => return false,
        }
        true
    });
    let mut score = Score::default();
    for seed in seed..seed + count {
        params.seed = seed;
        params.handed = if both && seed % 2 == 0 {
            Handed::Left
        } else {
            Handed::Right
        };
        let known = score.faults.len();
        score.add(&format!("seed {seed}"), &run(&params, rig));
        for fault in &score.faults[known..] {
            println!("{fault}");
        }
    }
    print!("{}", score.table());
}
