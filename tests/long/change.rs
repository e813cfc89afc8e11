//! The long campaign of "is the change real". Run by `bash tests/long/change`, which says the flags.

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a campaign that cannot run says so and stops"
)]

#[path = "campaign.rs"]
mod campaign;
#[path = "../change.rs"]
mod change;
#[path = "../change_judge.rs"]
mod change_judge;

use change::{Lesson, changed, unchanged};
use change_judge::{Studio, Tally};

fn main() {
    let (mut seed, mut count) = (0, 10_000);
    campaign::flags(|flag, number| {
        match flag {
            "--seed" => seed = number() as u64,
            "--count" => count = number() as u64,
            _ => return false,
        }
        true
    });
    let mut studio = Studio::default();
    without_change(&mut studio, seed, count);
    with_change(&mut studio, seed, count);
}

fn without_change(studio: &mut Studio, seed: u64, count: u64) {
    println!("No change: called real at any look, % of the judged lessons ({count} lessons each)");
    println!(
        "{:26} {:>9} {:>8} {:>8}  5 % holds",
        "lesson", "judged, %", "real, %", "last, %"
    );
    for lesson in unchanged() {
        let tally = Tally::of(studio, &lesson, seed, count);
        let share = |n: usize, of: usize| 1e2 * n as f64 / of.max(1) as f64;
        println!(
            "{:26} {:9.1} {:8.2} {:8.2}  {}",
            lesson.name,
            share(tally.judged, tally.played),
            share(tally.ever, tally.judged),
            share(tally.last, tally.judged),
            if tally.at_most_five_percent() {
                "yes"
            } else {
                "NO"
            },
        );
    }
}

fn with_change(studio: &mut Studio, seed: u64, count: u64) {
    // Six sizes of each design: a quarter of the lessons each is enough for a point.
    let count = count.div_ceil(4);
    println!(
        "\nTrue change: called real, % of the judged lessons, and as predicted ({count} lessons each)"
    );
    println!(
        "{:26} {:>8} {:>8} {:>10} {:>8}",
        "lesson", "size, SD", "real, %", "predicted", "apart"
    );
    for design in changed() {
        for size in [1.0, 1.5, 2.0, 2.5, 3.0, 4.0] {
            let tally = Tally::of(studio, &Lesson { size, ..design }, seed, count);
            let (seen, predicted) = (1e2 * tally.rate(), 1e2 * tally.predicted);
            println!(
                "{:26} {size:8.1} {seen:8.1} {predicted:10.1} {:+8.1}",
                design.name,
                seen - predicted
            );
        }
    }
}
