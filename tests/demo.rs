//! The demo as a new user starts it: three shots, each with the golfer's truth beside it.

use daemon::comparison::compare;
use protocol::report::{Measurement, Report};
use serde_json::Value;

use crate::support::run_whin;

#[test]
fn three_shots_match_the_golfers_truth() {
    let (code, out, err) = run_whin(
        &[
            "demo",
            "--shots",
            "3",
            "--json",
            "--pace",
            "4",
            "--http",
            "127.0.0.1:0",
        ]
        .map(AsRef::as_ref),
    );
    assert_eq!(code, 0, "{err}");
    let shots: Vec<Value> = out
        .lines()
        .map(|l| serde_json::from_str(l).expect("a line of JSON a shot"))
        .collect();
    assert_eq!(shots.len(), 3);
    for shot in &shots {
        let report: Report = serde_json::from_value(shot["report"].clone()).unwrap();
        let truth: Measurement = serde_json::from_value(shot["truth"].clone()).unwrap();
        assert_eq!(
            (report.measurement.kind.as_str(), &report.measurement.handed),
            ("shot", &truth.handed)
        );
        let compared = compare(&report.measurement, &truth);
        assert!(
            compared.len() > 80,
            "only {} values compared",
            compared.len()
        );
        // Markers are hidden now and then: what needs them there is not measured, not guessed.
        let hidden = compared.iter().filter(|c| c.measured.is_none()).count();
        assert!(hidden * 5 < compared.len(), "{hidden} not measured");
        let outside: Vec<_> = compared
            .iter()
            .filter(|c| c.measured.is_some() && !c.holds())
            .collect();
        assert!(outside.is_empty(), "shot {}: {outside:#?}", shot["shot"]);
    }
}
