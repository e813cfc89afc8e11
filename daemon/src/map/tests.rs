//! Marker maps: the shipped ones are sound, mistakes are named.

use super::*;

#[test]
fn shipped_maps_are_sound() {
    for (name, text) in SHIPPED {
        let map = MarkerMap::parse(text, name).unwrap();
        assert_eq!(map.name, *name);
    }
    let own = MarkerMap::load("whin_32").unwrap();
    assert_eq!(own.labels.len(), 32);
    assert!(own.rotation.unwrap().is_identity(1e-12));
}

#[test]
fn the_led_map_turns_its_axes_into_the_bay() {
    let map = MarkerMap::load("club_led").unwrap();
    let told = Told {
        metres_per_unit: None,
        rotation: None,
        origin: Vector3::zeros(),
    };
    let bay = map.bay_from_source(told).unwrap();
    // Up in the file is X.
    assert!((bay.point([1000.0, 0.0, 0.0]) - Point3::new(0.0, 1.0, 0.0)).norm() < 1e-12);
    // The golfer faces about (0, -0.68, -0.74): toward the ball, +Z.
    assert!(bay.point([0.0, -680.0, -740.0]).z > 0.99);
}

#[test]
fn prefixes_and_unused_labels_are_understood() {
    let map = MarkerMap::load("club_led").unwrap();
    assert_eq!(map.landmark("Ivo:Channel103"), Some(Landmark::LeftAcromion));
    let labels = [
        "Channel809".to_owned(),
        "Channel103".to_owned(),
        "Foo".to_owned(),
    ];
    assert_eq!(map.unknown(&labels), ["Foo"]);
    assert!(map.absent(&labels).contains(&"Channel104"));
    assert!(!map.absent(&labels).contains(&"Channel103"));
}

#[test]
fn labels_of_a_calibration_trial_are_known_and_may_be_absent() {
    let map = MarkerMap::load("whin_32").unwrap();
    assert_eq!(map.landmark("Ivo:LMFE"), Some(Landmark::LeftKneeMedial));
    assert_eq!(map.label(Landmark::RightElbowMedial), Some("RMEL"));
    assert!(map.unknown(&["RMM".to_owned()]).is_empty());
    let absent = map.absent(&[]);
    assert!(absent.contains(&"LFE") && !absent.contains(&"LMFE"));
}

fn message(change: impl Fn(String) -> String) -> String {
    let text = change(SHIPPED[0].1.to_owned());
    MarkerMap::parse(&text, "bay.toml").unwrap_err().to_string()
}

#[test]
fn mistakes_are_named_with_line_and_remedy() {
    let at = SHIPPED[0]
        .1
        .lines()
        .position(|l| l.contains("\"left_asis\""))
        .unwrap()
        + 1;
    let line = format!("line {at}");
    let typo = message(|t| t.replace("\"left_asis\"", "\"left_assis\""));
    assert!(
        typo.contains(&line) && typo.contains("did you mean `left_asis`"),
        "{typo}"
    );
    let doubled = message(|t| t.replace("\"right_asis\"", "\"left_asis\""));
    assert!(doubled.contains("are both `left_asis`"), "{doubled}");
    let twice = message(|t| t.replace("\"left_knee_medial\"", "\"left_knee\""));
    assert!(twice.contains("are both `left_knee`"), "{twice}");
    let both = message(|t| t.replace("LMFE =", "LFE ="));
    assert!(both.contains("keep one"), "{both}");
    let unit = message(|t| t.replace("\"m\"", "\"furlong\""));
    assert!(unit.contains("use mm, cm or m"), "{unit}");
    let lone = message(|t| t.replace("target =", "# target ="));
    assert!(lone.contains("belong together"), "{lone}");
    let key = message(|t| t.replace("[labels]", "[lables]"));
    assert!(key.contains("lables") && key.contains("line"), "{key}");
    let newer = message(|t| t.replace("version = 1", "version = 9"));
    assert!(
        newer.contains("version 9") && newer.contains("reads 1"),
        "{newer}"
    );
    let none = MarkerMap::load("nowhere").unwrap_err().to_string();
    assert!(none.contains("whin_32"), "{none}");
}
