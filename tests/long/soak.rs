//! The long soak. Run by `bash tests/long/soak`, which says what it does.

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::print_stderr,
    dead_code,
    reason = "a campaign that cannot run says so and stops; helpers of the tests are used in part"
)]

#[path = "../bay.rs"]
mod bay;
#[path = "../http.rs"]
mod http;
#[path = "../soak.rs"]
mod soak;
#[path = "../support.rs"]
mod support;

fn main() {
    let mut params = soak::Soak {
        minutes: 120.0,
        pace: 20.0,
        seed: 1,
        look_s: 10.0,
    };
    let mut arguments = std::env::args().skip(1);
    while let Some(flag) = arguments.next() {
        let mut number = || -> f64 {
            let text = arguments.next().expect("a number after the flag");
            text.parse().expect("a number after the flag")
        };
        match flag.as_str() {
            "--minutes" => params.minutes = number(),
            "--pace" => params.pace = number(),
            "--seed" => params.seed = number() as u64,
            "--bench" => {}
            other => panic!("unknown flag {other}"),
        }
    }
    println!("{}", soak::soak(&params));
}
