//! What is written reads back, and what does not fit is refused.

use crate::c3d::*;

fn take() -> C3d {
    let seen = |x| {
        Some(Marker {
            position: [x, -2.5, 1000.0],
            residual: 0.0,
        })
    };
    let channel = |label: &str, first| Channel {
        label: label.into(),
        unit: "N".into(),
        samples: vec![Some(first), Some(0.1), None, Some(-3.0)],
    };
    C3d {
        rate_hz: 250.0,
        first_frame: 1,
        units: "mm".into(),
        labels: vec!["head".into(), "heel".into()],
        frames: vec![vec![seen(1.0), None], vec![seen(-0.1), seen(7.0)]],
        analog: Analog {
            rate_hz: 500.0,
            channels: vec![channel("a", 1.0), channel("b", 2.0)],
        },
        ..C3d::default()
    }
}

fn again(take: &C3d) -> C3d {
    read(&write(take).unwrap()).unwrap()
}

/// Everything but `parameters`, which gain the groups that are written.
fn check_same(take: &C3d) {
    let back = again(take);
    assert_eq!(back.warnings, Vec::<String>::new());
    assert_eq!(
        C3d {
            parameters: take.parameters.clone(),
            ..back.clone()
        },
        *take
    );
    assert_eq!(again(&back), back, "a second time nothing changes");
}

#[test]
fn plates_events_and_own_groups_come_back() {
    let mut t = take();
    let corners = [
        [1.0, 2.0, 0.0],
        [3.0, 2.0, 0.0],
        [3.0, 4.0, 0.0],
        [1.0, 4.0, 0.5],
    ];
    let matrix = std::array::from_fn(|r| std::array::from_fn(|c| (10 * r + c) as f64));
    let plate = |kind, channels: &[usize], cal_matrix| Plate {
        kind,
        corners,
        origin: [0.5, 0.0, -40.0],
        channels: channels.to_vec(),
        cal_matrix,
    };
    t.analog.channels = (0..9).map(|_| t.analog.channels[0].clone()).collect();
    t.plates = vec![
        plate(3, &[0, 1, 2, 3, 4, 5, 6, 7], None),
        plate(4, &[8, 0, 1, 2, 3, 4], Some(matrix)),
    ];
    t.unloaded = Some((0, 1));
    let event = |label: &str, time_s| Event {
        label: label.into(),
        context: "lead".into(),
        time_s,
    };
    t.events = vec![event("top", 0.25), event("finish", 61.5)];
    let own = Parameter::new("SEED", &[2], Data::Integers(vec![-1, 7]));
    t.parameters.groups = vec![Group {
        name: "TRUTH".into(),
        parameters: vec![own],
        ..Group::default()
    }];
    check_same(&t);
    assert!(again(&t).parameters.get("TRUTH", "SEED").is_some());
}

#[test]
fn more_labels_than_one_array_holds() {
    let mut t = take();
    t.labels = (0..700)
        .map(|i| format!("a marker with a long name, number {i:0200}"))
        .collect();
    t.frames = vec![vec![None; 700]];
    t.analog.channels = (0..300)
        .map(|i| Channel {
            label: format!("c{i}"),
            unit: "V".into(),
            samples: vec![Some(i as f32); 2],
        })
        .collect();
    let error = write(&t).unwrap_err().to_string();
    assert!(error.starts_with("blocks of parameters: "), "{error}");
    t.labels = (0..700).map(|i| format!("marker {i}")).collect();
    check_same(&t);
}

#[test]
fn frame_numbers_over_16_bits() {
    let mut t = take();
    t.first_frame = 70_000;
    check_same(&t);
    let blank = vec![None; 2];
    t.analog = Analog::default();
    t.frames = vec![blank.clone(); 65_535];
    check_same(&t);
    t.frames.push(blank);
    assert_eq!(
        write(&t).unwrap_err().to_string(),
        "65536 frames: a C3D file holds 1 to 65,535; split the take or write a recording"
    );
}

#[test]
fn residuals_come_back_within_half_a_step_and_stop_at_255() {
    let mut t = take();
    let step = 1000.0 / 32_000.0;
    let with = |residual| {
        Some(Marker {
            position: [0.0, 0.0, 1000.0],
            residual,
        })
    };
    t.frames = vec![vec![with(0.44), with(3.0)], vec![with(100.0), None]];
    let back = again(&t);
    let residuals: Vec<_> = back
        .frames
        .iter()
        .flatten()
        .flatten()
        .map(|m| m.residual)
        .collect();
    assert!(
        (residuals[0] - 0.44).abs() <= 0.5 * step && residuals[0] > 0.0,
        "{residuals:?}"
    );
    assert!((residuals[1] - 3.0).abs() <= 0.5 * step);
    assert!((residuals[2] - 255.0 * step).abs() < 1e-4);
}

#[test]
fn what_does_not_fit_is_said_plainly() {
    let check = |change: &dyn Fn(&mut C3d), text: &str| {
        let mut t = take();
        change(&mut t);
        let error = write(&t).unwrap_err().to_string();
        assert!(error.contains(text), "{error}");
    };
    check(
        &|t| t.analog.rate_hz = 360.0,
        "360 Hz is not a whole multiple of the frame rate 250 Hz",
    );
    check(&|t| t.rate_hz = 0.0, "frame rate 0 Hz");
    check(&|t| t.frames.clear(), "0 frames");
    check(
        &|t| {
            *t = C3d {
                rate_hz: 1.0,
                frames: vec![vec![]],
                ..C3d::default()
            }
        },
        "neither markers",
    );
    check(
        &|t| t.frames[1].truncate(1),
        "frame 1 has 1 markers but there are 2 labels",
    );
    check(
        &|t| t.analog.channels[1].samples.truncate(3),
        "`b` has 3 samples, 4 fit",
    );
    check(
        &|t| t.labels[0] = "x".repeat(256),
        "bytes in one of LABELS: 256",
    );
    let odd = Some(Marker {
        position: [f32::NAN, 0.0, 0.0],
        residual: 0.0,
    });
    check(
        &|t| t.frames[0][1] = odd,
        "marker `heel` in frame 0 is not a finite number",
    );
}

#[test]
fn stale_standard_parameters_are_not_carried_over() {
    let mut back = again(&take());
    let group = back
        .parameters
        .groups
        .iter_mut()
        .find(|g| g.name == "POINT")
        .unwrap();
    group.parameters.push(Parameter::new(
        "LABELS2",
        &[3, 1],
        Data::Text(b"old".to_vec()),
    ));
    group
        .parameters
        .push(Parameter::new("X_SCREEN", &[2], Data::Text(b"+X".to_vec())));
    let parameters = again(&back).parameters;
    assert_eq!(parameters.get("POINT", "LABELS2"), None);
    assert_eq!(parameters.get("POINT", "X_SCREEN").unwrap().text(), "+X");
    assert_eq!(Parameters::default().get("POINT", "X_SCREEN"), None);
}
