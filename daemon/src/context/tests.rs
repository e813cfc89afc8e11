//! Context files: what is read, what is refused, and that a calibration's numbers survive.

use analysis::forward::{CaptureParams, GolferParams, calibration_trial};

use super::*;
use crate::{errors, synthetic};

#[test]
fn a_clubs_mass_properties_are_read() {
    let text = "version = 1\n[club]\nmass_kg = 0.31\nbalance_m = 0.86\ninertia_kg_m2 = 0.055\n";
    let club = parse(text).unwrap().club_geometry.unwrap();
    let told = (club.mass_kg, club.balance_m, club.inertia_kg_m2);
    assert_eq!(told, (Some(0.31), Some(0.86), Some(0.055)));
    let error = |key: &str| format!("{:#}", parse(&text.replace(key, "310 # ")).unwrap_err());
    assert!(error("0.31").contains("club.mass_kg is 310: expected 0.1 to 1"));
    assert!(error("0.86").contains("club.balance_m") && error("0.055").contains("inertia_kg_m2"));
}

#[test]
fn a_context_is_read_and_mistakes_are_named() {
    let context = parse("version = 1\nhanded = \"left\"\nheight_m = 1.8\n").unwrap();
    assert_eq!(
        (context.handed, context.person.height_m),
        (Some(Handed::Left), Some(1.8))
    );
    let error = |text: &str| format!("{:#}", parse(text).unwrap_err());
    assert!(error("version = 1\nhanded = \"both\"").contains("right, left or auto"));
    assert!(error("version = 1\nheight_m = 180").contains("0.8 to 2.5"));
    assert!(error("version = 2").contains("reads 1"));
    assert!(error("version = 1\nheigth_m = 1.8").contains("heigth_m"));
    assert!(error("version = 1\ncalibration_trial = \"a.c3d\"").contains("whin calibrate"));
}

/// A folder with a trial of the synthetic golfer and a context file that names it.
fn folder(name: &str, context: &str) -> PathBuf {
    let dir = std::env::temp_dir().join(format!("whin-context-{}-{name}", std::process::id()));
    let capture = CaptureParams {
        rate_hz: 120.0,
        noise_m: 0.0005,
        dropout: 0.0,
        wobble: false,
        plates: None,
    };
    let trial = calibration_trial(&GolferParams::from_seed(3), &capture);
    synthetic::write_calibration(&trial, &whin_32(), &dir).unwrap();
    std::fs::write(dir.join("golfer.toml"), context).unwrap();
    dir
}

fn whin_32() -> MarkerMap {
    MarkerMap::load("whin_32").unwrap()
}

#[test]
fn a_trial_becomes_numbers_that_are_read_back_exactly() {
    let dir = folder(
        "numbers",
        "version = 1\n# Ours.\ncalibration_trial = \"calibration.c3d\" # Monday\nheight_m = 1.8\n[club]\nlength_m = 0.94\n",
    );
    let told = load(&dir.join("golfer.toml"), &whin_32()).unwrap();
    assert!(told.context.calibration.as_ref().unwrap().is_complete());
    assert!(
        told.remarks
            .iter()
            .any(|r| r.contains("calibration.c3d") && r.contains("movement")),
        "{:?}",
        told.remarks
    );
    // Every bit, and the rest of the file as it was.
    assert_eq!(parse(&told.text).unwrap(), told.context, "{}", told.text);
    assert!(told.text.contains("# Ours.") && told.text.contains("height_m = 1.8"));
    // What is already numbers stays as it is.
    std::fs::write(dir.join("again.toml"), &told.text).unwrap();
    let again = load(&dir.join("again.toml"), &whin_32()).unwrap();
    assert_eq!((again.text, again.context), (told.text, told.context));
    std::fs::remove_dir_all(dir).unwrap();
}

#[test]
fn numbers_that_are_no_body_are_refused() {
    let dir = folder(
        "refused",
        "version = 1\ncalibration_trial = \"calibration.c3d\"\n",
    );
    let text = load(&dir.join("golfer.toml"), &whin_32()).unwrap().text;
    std::fs::remove_dir_all(dir).unwrap();
    let error = |from: &str, to: &str| {
        assert!(text.contains(from), "{from} in {text}");
        format!("{:#}", parse(&text.replacen(from, to, 1)).unwrap_err())
    };
    let unknown = error("left_asis", "left_assis");
    assert!(
        unknown.contains("left_assis") && unknown.contains("line"),
        "{unknown}"
    );
    assert!(error("left_asis = [", "left_asis = [nan, 0.0, 0.0]\n# ").contains("left_asis"));
    assert!(error("half = ", "half = 5").contains("metres"));
    assert!(error("covariance = [[", "covariance = [[-").contains("covariance"));
    let both = error(
        "version = 1\n",
        "version = 1\ncalibration_trial = \"x.c3d\"\n",
    );
    assert!(both.contains("keep one"), "{both}");
}

#[test]
fn a_trial_that_gives_nothing_says_why_with_its_code() {
    let dir = folder("nothing", "version = 1\ncalibration_trial = \"walk.c3d\"\n");
    let failed = || {
        let error = load(&dir.join("golfer.toml"), &whin_32()).unwrap_err();
        (format!("{error:#}"), errors::exit_code(&error))
    };
    let (absent, exit) = failed();
    assert!(absent.contains("walk.c3d") && exit == 3, "{absent}");
    let take = crate::offline::read_c3d(&dir.join("calibration.c3d")).unwrap();
    let written = |change: &dyn Fn(&mut protocol::c3d::C3d)| {
        let mut take = take.clone();
        change(&mut take);
        std::fs::write(dir.join("walk.c3d"), protocol::c3d::write(&take).unwrap()).unwrap();
    };
    // Walking: two metres a second along X, millimetres in the file.
    written(&|take| {
        for (n, frame) in take.frames.iter_mut().enumerate() {
            for marker in frame.iter_mut().flatten() {
                marker.position[0] += 2000.0 * n as f32 / 120.0;
            }
        }
    });
    let (walking, exit) = failed();
    assert!(walking.contains("stands still") && exit == 3, "{walking}");
    assert!(walking.contains("walk.c3d"), "{walking}");
    let lasi = take.labels.iter().position(|l| l == "LASI").unwrap();
    written(&|take| take.labels[lasi] = "GONE".into());
    let (headless, exit) = failed();
    assert!(headless.contains("iliac spines") && exit == 3, "{headless}");
    written(&|take| take.labels.iter_mut().for_each(|l| l.insert(0, 'Q')));
    let (nameless, exit) = failed();
    assert!(nameless.contains("--markers") && exit == 2, "{nameless}");
    std::fs::remove_dir_all(dir).unwrap();
}

#[test]
fn a_club_is_a_name_or_a_table() {
    assert_eq!(
        parse("version = 1\nclub = \"driver\"")
            .unwrap()
            .club
            .as_deref(),
        Some("driver")
    );
    let told =
        parse("version = 1\n[club]\nname = \"7-iron\"\nlength_m = 0.94\nlie_deg = 60\n").unwrap();
    let shape = told.club_geometry.unwrap();
    assert_eq!(
        (told.club.as_deref(), shape.length_m),
        (Some("7-iron"), Some(0.94))
    );
    assert!(
        (shape.lie_rad.unwrap() - 60_f64.to_radians()).abs() < 1e-12 && shape.loft_rad.is_none()
    );
    let error = |text: &str| format!("{:#}", parse(text).unwrap_err());
    assert!(error("version = 1\n[club]\nlenght_m = 0.9").contains("length_m"));
    assert!(error("version = 1\n[club]\nlength_m = 94").contains("0.5 to 1.3"));
}
