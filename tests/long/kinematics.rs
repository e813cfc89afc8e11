//! The long campaign of the kinematics: the accuracy table over many seeds, printed and as JSON.
//! Usage: `bash tests/long/kinematics [--seed N] [--count N] [--rate HZ] [--noise MM] [--dropout P]
//! [--wobble] [--no-trial]`.

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a campaign that cannot run says so and stops"
)]

#[path = "../accuracy.rs"]
mod accuracy;

use accuracy::{Conditions, table, text};

fn main() {
    let (mut seed, mut count, mut conditions) = (0_u64, 500_u64, Conditions::usual());
    let mut args = std::env::args().skip(1);
    while let Some(arg) = args.next() {
        let mut number = || {
            let value = args.next().expect("a number after the flag");
            value.parse::<f64>().expect("a number after the flag")
        };
        match arg.as_str() {
            "--seed" => seed = number() as u64,
            "--count" => count = number() as u64,
            "--rate" => conditions.capture.rate_hz = number(),
            "--noise" => conditions.capture.noise_m = 1e-3 * number(),
            "--dropout" => conditions.capture.dropout = number(),
            "--wobble" => conditions.capture.wobble = true,
            "--no-trial" => conditions.trial = false,
            "--bench" => {}
            other => panic!("{other}: see the head of this file for the flags"),
        }
    }
    println!("{conditions:?}, seeds {seed}..{}", seed + count);
    println!("{}", text(&table(seed..seed + count, &conditions)));
}
