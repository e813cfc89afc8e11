//! The table of the real take, whose markers are few: which metrics have a value, and in which words
//! the others say why not. Values are not held here, only that the line between the two stays where
//! the markers draw it.

use std::collections::BTreeSet;

use daemon::map::MarkerMap;
use daemon::outgoing;

use crate::support::{analyzed, data};

/// Families of which every value is measured. A new metric that these markers reach is added here.
const MEASURED: &[&str] = &[];
/// Families of which no value is measured. A new metric beyond these markers is added here.
const NOT_MEASURED: &[&str] = &[];
/// Every reason and every limit in the table.
const REASONS: &[&str] = &[];

#[test]
fn the_line_between_measured_and_not_is_where_the_markers_draw_it() {
    let Some(data) = data() else { return };
    let take = daemon::offline::read_c3d(&data.join("golf_club_107hz.c3d")).unwrap();
    let found = analyzed(&take, MarkerMap::load("club_led").unwrap());
    let report = outgoing::measurement(&found.swings[0]);
    let family = |id: &str| id.split('@').next().unwrap_or(id).to_owned();
    let (mut measured, mut not, mut reasons) = (BTreeSet::new(), BTreeSet::new(), BTreeSet::new());
    for (id, metric) in &report.metrics {
        let set = if metric.value.is_some() {
            &mut measured
        } else {
            &mut not
        };
        set.insert(family(id));
        reasons.extend(metric.reason.clone());
        reasons.extend(metric.limited.clone());
    }
    let set = |list: &[&str]| {
        list.iter()
            .map(|s| (*s).to_owned())
            .collect::<BTreeSet<String>>()
    };
    println!("{measured:#?}\n{not:#?}\n{reasons:#?}");
    assert_eq!(measured, set(MEASURED));
    assert_eq!(not, set(NOT_MEASURED));
    assert_eq!(reasons, set(REASONS));
}
