//! What campaigns share: their flags, words of which some have a number behind them, and a student.

#![allow(dead_code, reason = "not every campaign has a student")]

use daemon::archive::rows::Student;

/// Hands each flag on, with a way to the number behind it. One that is not taken ends the campaign.
pub(crate) fn flags(mut take: impl FnMut(&str, &mut dyn FnMut() -> f64) -> bool) {
    let mut arguments = std::env::args().skip(1);
    while let Some(flag) = arguments.next() {
        let mut number = || {
            let text = arguments.next().unwrap_or_default();
            let read = text.parse();
            read.unwrap_or_else(|_| panic!("{flag}: a number follows, not `{text}`"))
        };
        // Cargo's own word to whatever it runs as a bench.
        let known = flag == "--bench" || take(&flag, &mut number);
        assert!(known, "unknown flag {flag}: --help says which there are");
    }
}

/// A student of the scenario, of whom nothing is told but name and year of birth.
pub(crate) fn student() -> Student {
    Student {
        id: String::new(),
        name: "Ottoline Marsh".into(),
        side: None,
        sex: None,
        height_m: None,
        mass_kg: None,
        born: 1965,
    }
}
