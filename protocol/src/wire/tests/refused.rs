//! What is refused, and in which words.

use super::*;
use crate::MAX_DATAGRAM;

#[track_caller]
fn check_refused(bytes: &[u8], text: &str) {
    assert_eq!(decode(bytes).unwrap_err().to_string(), text);
}

#[test]
fn strangers_and_versions_are_refused_in_words() {
    check_refused(
        b"GARBAGE",
        "magic is 47 41 52 42, not 57 48 49 4e (WHIN): not a Whin datagram",
    );
    check_refused(&[], "magic needs 4 bytes, 0 are left: the datagram is cut");
    check_refused(
        b"WHIN\x02",
        "major version 2, this program speaks 1: update the receiver",
    );
    check_refused(
        b"WHIN\x00",
        "major version 0, this program speaks 1: update the sender",
    );
    let mut long = datagram(4, "01 00 00 00  00 00 40 3f");
    long.resize(MAX_DATAGRAM, 0);
    assert!(decode(&long).is_ok());
    long.push(0);
    check_refused(&long, "1201 bytes, a datagram has at most 1200");
    let unknown = datagram(9, "");
    assert_eq!(open(&unknown).unwrap().header, HEADER);
    check_refused(&unknown, "kind 9 is not known (known are 1 to 4): skipped");
    let content = datagram(1, "00 00 00 00 00 01 08 00");
    check_refused(
        &content,
        "described content 8 is not known (known are 1 to 3): skipped",
    );
}

#[test]
fn fields_outside_their_range_are_refused_in_words() {
    let trigger = datagram(4, "01 00 00 00  00 00 40 3f");
    let with = |at: usize, bytes: &[u8]| {
        let mut damaged = trigger.clone();
        damaged[at..at + bytes.len()].copy_from_slice(bytes);
        damaged
    };
    check_refused(&with(7, &[39]), "header length is 39, expected 40 to 255");
    check_refused(
        &with(7, &[49]),
        "reserved needs 9 bytes, 8 are left: the datagram is cut",
    );
    let tagged =
        "keyed, and this receiver has no key: give it the sender's, or switch it off there";
    check_refused(&with(20, &[1]), tagged);
    assert!(decode(&with(20, &[0xfe, 0xff, 0xff, 0xff])).is_ok());
    let sequence = "sequence is 9223372036854775808, expected 0 to 4611686018427387904";
    check_refused(&with(24, &[0, 0, 0, 0, 0, 0, 0, 0x80]), sequence);
    let time = "device time is -9223372036854775808, \
        expected -4611686018427387904 to 4611686018427387904";
    check_refused(&with(32, &[0, 0, 0, 0, 0, 0, 0, 0x80]), time);
    check_refused(&with(40, &[3]), "pulse is 3, expected 1 to 2");
    check_refused(
        &with(47, &[0xbf]),
        "strength is -0.75, expected 0 or more, or NaN for unknown",
    );
}

#[test]
fn a_frame_outside_its_layout_is_refused() {
    let one = [None];
    let frame = MarkerFrame {
        frame: 0,
        layout: 0,
        part: Part::WHOLE,
        first: 0,
        markers: one.as_slice().into(),
    };
    let refused = |frame| {
        encoded(&Body::MarkerFrame(frame))
            .unwrap_err()
            .0
            .to_string()
    };
    assert!(encoded(&Body::MarkerFrame(frame)).is_ok());
    assert_eq!(
        refused(MarkerFrame {
            first: 512,
            ..frame
        }),
        "first marker is 512, expected 0 to 511"
    );
    let part = Part { index: 2, count: 2 };
    assert_eq!(
        refused(MarkerFrame { part, ..frame }),
        "part is 2, expected 0 to 1"
    );
    let part = Part { index: 0, count: 0 };
    assert_eq!(
        refused(MarkerFrame { part, ..frame }),
        "parts is 0, expected 1 to 255"
    );
    let refused_of = |markers: &[Option<Marker>]| {
        let markers = markers.into();
        encoded(&Body::MarkerFrame(MarkerFrame { markers, ..frame }))
            .unwrap_err()
            .0
            .to_string()
    };
    assert_eq!(refused_of(&[]), "marker count is 0, expected 1 to 71");
    assert_eq!(
        refused_of(&[None; 72]),
        "1216 bytes, a datagram has at most 1200"
    );
}

#[test]
fn a_block_of_broken_samples_is_refused() {
    let refused = |channels, values: &[Option<f32>]| {
        let block = ForceBlock {
            first_sample: 0,
            layout: 0,
            channels,
            values: values.into(),
        };
        encoded(&Body::ForceBlock(block)).unwrap_err().0.to_string()
    };
    assert_eq!(
        refused(2, &[None; 3]),
        "values needs 16 bytes, 12 are left: the datagram is cut"
    );
    assert_eq!(refused(0, &[None; 3]), "channels is 0, expected 1 to 64");
    assert_eq!(refused(65, &[None; 65]), "channels is 65, expected 1 to 64");
    assert_eq!(
        refused(12, &[None; 24 * 12]),
        "1208 bytes, a datagram has at most 1200"
    );
    assert_eq!(ForceBlock::samples_that_fit(12), 23);
    assert_eq!(ForceBlock::samples_that_fit(0), 0);
}

fn refused_description(source: Source, label: &str) -> String {
    let list = LabelList {
        source,
        total: 1,
        first: 0,
        labels: vec![label.into()],
    };
    let content = Content::Markers(list);
    let describe = Describe {
        layout: 0,
        part: Part::WHOLE,
        content,
    };
    encoded(&Body::Describe(describe))
        .unwrap_err()
        .0
        .to_string()
}

#[test]
fn rates_units_and_origins_that_make_no_sense_are_refused() {
    let rate = |rate_hz| refused_description(Source { rate_hz, ..SOURCE }, "A");
    assert_eq!(rate(0.0), "rate is 0, expected above 0 Hz, at most 100000");
    assert_eq!(
        rate(f64::NAN),
        "rate is NaN, expected above 0 Hz, at most 100000"
    );
    let unit = refused_description(
        Source {
            meters_per_unit: Some(-1.0),
            ..SOURCE
        },
        "A",
    );
    let expected = "0.001 for mm, 1 for m (1e-6 to 1e3), 0 for unknown";
    assert_eq!(unit, format!("meters per unit is -1, expected {expected}"));
    let bay_origin = [0.0, f64::INFINITY, 0.0];
    let origin = refused_description(
        Source {
            bay_origin,
            ..SOURCE
        },
        "A",
    );
    assert_eq!(origin, "origin is inf, expected a finite number");
}

#[test]
fn axes_that_are_no_rotation_are_refused() {
    for rows in [
        [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, -1.0]],
        [[1.0, 0.1, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
        [[0.5, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 2.0]],
    ] {
        let text = refused_description(
            Source {
                bay_from_source: Some(rows),
                ..SOURCE
            },
            "A",
        );
        assert!(text.starts_with("axes are no rotation"), "{rows:?}: {text}");
    }
}

#[test]
fn labels_that_are_no_text_are_refused() {
    let refused = |label: &str| refused_description(SOURCE, label);
    assert_eq!(refused(""), "label length is 0, expected 1 to 63");
    assert_eq!(
        refused(&"x".repeat(64)),
        "label length is 64, expected 1 to 63"
    );
    assert_eq!(
        refused("a\nb"),
        "label 0 is not UTF-8 or has control characters"
    );
    let list = LabelList {
        source: SOURCE,
        total: 1,
        first: 0,
        labels: vec!["ab".into()],
    };
    let part = Part::WHOLE;
    let describe = Describe {
        layout: 0,
        part,
        content: Content::Markers(list),
    };
    let mut bytes = encoded(&Body::Describe(describe)).unwrap();
    *bytes.last_mut().unwrap() = 0xff;
    check_refused(&bytes, "label 0 is not UTF-8 or has control characters");
}
