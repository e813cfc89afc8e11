//! Real movements that are no golf (walking, jumping, tennis serves; no club): nothing of them may be
//! reported as a swing, whichever way the target line is told.

use daemon::map::MarkerMap;
use daemon::offline::read_c3d;

use crate::support::{analyzed, data};

/// Labels of the files and of our map; the ends of labels, which may bear a subject's name.
const NAMES: &[(&str, &str)] = &[
    ("LSHO", "LAC"),
    ("RSHO", "RAC"),
    ("LELB", "LEL"),
    ("RELB", "REL"),
    ("LWRA", "LRS"),
    ("RWRA", "RRS"),
    ("LWRB", "LUS"),
    ("RWRB", "RUS"),
    ("LWRI", "LRS"),
    ("RWRI", "RRS"),
    ("LASI", "LASI"),
    ("RASI", "RASI"),
    ("LPSI", "LPSI"),
    ("RPSI", "RPSI"),
    ("C7", "C7"),
    ("LKNE", "LFE"),
    ("RKNE", "RFE"),
    ("LANK", "LLM"),
    ("RANK", "RLM"),
    ("LHEE", "LHE"),
    ("RHEE", "RHE"),
];

fn map(target: &str) -> MarkerMap {
    let shipped = MarkerMap::load("whin_32").unwrap().text;
    let lines = shipped.lines().map(|line| match line.split(' ').next() {
        Some("up") => "up = [0.0, 0.0, 1.0]".to_owned(),
        Some("target") => format!("target = {target}"),
        _ => line.to_owned(),
    });
    let text = lines.collect::<Vec<_>>().join("\n");
    MarkerMap::parse(&text, "other sports").unwrap()
}

#[test]
fn other_sports_give_no_swing() {
    let Some(folder) = data() else { return };
    for (file, landmarks) in [
        ("jump/two_plates_jump.c3d", 10),
        ("gait/gait_static.c3d", 15),
        ("gait/gait_with_angles.c3d", 15),
        ("other/kinematics_tennis_serve.c3d", 15),
        ("other/kinematics_tennis_serve_nan.c3d", 15),
    ] {
        let mut take = read_c3d(&folder.join(file)).unwrap();
        for label in &mut take.labels {
            let own = NAMES.iter().find(|n| label.ends_with(n.0));
            if let Some((_, own)) = own {
                *label = (*own).to_owned();
            }
        }
        for target in [
            "[1.0, 0.0, 0.0]",
            "[-1.0, 0.0, 0.0]",
            "[0.0, 1.0, 0.0]",
            "[0.0, -1.0, 0.0]",
        ] {
            let map = map(target);
            let mut known: Vec<_> = take.labels.iter().filter_map(|l| map.landmark(l)).collect();
            known.sort_unstable();
            known.dedup();
            assert!(known.len() >= landmarks, "{file}: {}", known.len());
            let found = analyzed(&take, map);
            let kinds: Vec<_> = found.swings.iter().map(|s| s.kind.name()).collect();
            let fast = found
                .remarks
                .iter()
                .filter(|r| r.contains("is no swing"))
                .count();
            println!(
                "{file} {target}: {} landmarks, {fast} fast passes, {kinds:?}",
                known.len()
            );
            assert!(kinds.is_empty(), "{file} {target}: {kinds:?}");
        }
    }
}
