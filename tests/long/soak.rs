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

#[path = "campaign.rs"]
mod campaign;
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
    campaign::flags(|flag, number| {
        match flag {
            "--minutes" => params.minutes = number(),
            "--pace" => params.pace = number(),
            "--seed" => params.seed = number() as u64,
            _ => return false,
        }
        true
    });
    println!("{}", soak::soak(&params));
}
