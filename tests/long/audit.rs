//! The long campaign of the rig's audit: every fault over many golfers. Run by `bash tests/long/audit`,
//! which says the flags.

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a campaign that cannot run says so and stops"
)]

#[path = "campaign.rs"]
mod campaign;
#[path = "../accuracy.rs"]
mod accuracy;
#[path = "../audit.rs"]
mod audit;

use std::collections::BTreeMap;

use accuracy::Conditions;
use audit::{Verdict, judge};

fn main() {
    let mut capture = Conditions::usual().capture;
    let (mut seed, mut count) = (0, 500);
    campaign::flags(|flag, number| {
        match flag {
            "--seed" => seed = number() as u64,
            "--count" => count = number() as u64,
            "--rate" => capture.rate_hz = number(),
            "--noise" => capture.noise_m = 1e-3 * number(),
            "--wobble" => capture.wobble = true,
            _ => return false,
        }
        true
    });
    let mut tally: BTreeMap<&str, [usize; 3]> = BTreeMap::new();
    let (mut lags, mut residuals) = (Vec::new(), Vec::new());
    for seed in seed..seed + count {
        let judged = judge(seed, &capture);
        lags.push(judged.lag_s.abs() * 1e3);
        residuals.push(judged.residual * 1e2);
        for (name, verdict) in judged.verdicts {
            let place = match &verdict {
                Verdict::Right => 0,
                Verdict::Silent => 1,
                Verdict::Wrong(_) => 2,
            };
            tally.entry(name).or_default()[place] += 1;
            if let Verdict::Wrong(fault) = verdict {
                println!("seed {seed}, {name}: {fault}");
            }
        }
    }
    println!("{:24} right silent wrong", "rig");
    for (name, [right, silent, wrong]) in tally {
        println!("{name:24} {right:5} {silent:6} {wrong:5}");
    }
    for (name, mut values) in [("lag, ms", lags), ("residual, %", residuals)] {
        values.sort_by(f64::total_cmp);
        let last = values.len() - 1;
        println!(
            "{name}: median {:.2}, 95 % {:.2}, largest {:.2}",
            values[last / 2],
            values[last * 95 / 100],
            values[last]
        );
    }
}
