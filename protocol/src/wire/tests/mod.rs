//! Datagrams written by hand from the crate's documentation. What is refused: `refused`; the
//! cutting into parts: `parts`; arbitrary bytes and values: `any`; tags: `keyed`.

mod any;
mod keyed;
mod parts;
mod refused;

use super::*;

const HEADER: Header = Header {
    stream: 0x0403_0201,
    clock: 5,
    epoch: 0x6a00_0000,
    sequence: 0x1_0000_0002,
    device_time_ns: -2,
};

/// [`HEADER`] with kind 2, as the table in the crate's documentation has it.
const HEADER_BYTES: &str = "57 48 49 4e  01 00 02 28  01 02 03 04  05 00 00 00
    00 00 00 6a  00 00 00 00  02 00 00 00 01 00 00 00  fe ff ff ff ff ff ff ff";

const SOURCE: Source = Source {
    rate_hz: 360.0,
    meters_per_unit: Some(0.001),
    bay_from_source: Some([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0]]),
    bay_origin: [0.0, -0.5, 2.0],
};

const SOURCE_BYTES: &str = "00 00 00 00 00 80 76 40  fc a9 f1 d2 4d 62 50 3f
    00 00 00 00 00 00 00 00  00 00 00 00 00 00 f0 3f  00 00 00 00 00 00 00 00
    00 00 00 00 00 00 00 00  00 00 00 00 00 00 00 00  00 00 00 00 00 00 f0 3f
    00 00 00 00 00 00 f0 3f  00 00 00 00 00 00 00 00  00 00 00 00 00 00 00 00
    00 00 00 00 00 00 00 00  00 00 00 00 00 00 e0 bf  00 00 00 00 00 00 00 40";

fn hex(text: &str) -> Vec<u8> {
    text.split_whitespace()
        .map(|b| u8::from_str_radix(b, 16).unwrap())
        .collect()
}

/// [`HEADER_BYTES`] of another kind, with a body.
fn datagram(kind: u8, body: &str) -> Vec<u8> {
    let mut bytes = hex(HEADER_BYTES);
    bytes[6] = kind;
    bytes.extend(hex(body));
    bytes
}

fn encoded(body: &Body<'_>) -> Result<Vec<u8>, EncodeError> {
    let mut out = vec![0xee; 3];
    encode(&HEADER, body, &mut out).map(|()| out)
}

/// The bytes mean the body and the body gives the bytes; cut anywhere they are refused; what a
/// newer minor version adds in front of the body and behind it is not looked at.
#[track_caller]
fn check(kind: u8, body_bytes: &str, body: &Body<'_>) {
    let bytes = datagram(kind, body_bytes);
    assert_eq!(decode(&bytes).as_ref(), Ok(&(HEADER, body.clone())));
    assert_eq!(encoded(body).as_ref(), Ok(&bytes));
    for length in 0..bytes.len() {
        let cut = decode(&bytes[..length]);
        assert!(
            matches!(cut, Err(DecodeError::Short { .. })),
            "{length} bytes: {cut:?}"
        );
    }
    let mut newer = bytes;
    newer[5] = 1;
    newer[7] += 3;
    newer.splice(40..40, [0xaa; 3]);
    newer.extend([0xbb; 5]);
    assert_eq!(decode(&newer).as_ref(), Ok(&(HEADER, body.clone())));
}

#[test]
fn marker_frame() {
    let markers = [
        Some(Marker {
            position: [1.0, -2.0, 0.5],
            residual: 0.0,
        }),
        None,
        Some(Marker {
            position: [0.0, 0.0, 1500.0],
            residual: 0.25,
        }),
    ];
    let frame = MarkerFrame {
        frame: 0x0102,
        layout: 9,
        part: Part { index: 1, count: 2 },
        first: 71,
        markers: markers.as_slice().into(),
    };
    let bytes = "02 01 00 00 00 00 00 00  09 00 00 00  47 00  03 00  01  02  00 00 00 00 00 00
        00 00 80 3f  00 00 00 c0  00 00 00 3f  00 00 00 00
        00 00 00 00  00 00 00 00  00 00 00 00  00 00 80 bf
        00 00 00 00  00 00 00 00  00 80 bb 44  00 00 80 3e";
    check(2, bytes, &Body::MarkerFrame(frame));
}

#[test]
fn markers_that_are_no_numbers_are_not_seen() {
    let infinite = "00 00 80 7f";
    for at in 0..4 {
        let mut words = ["00 00 80 3f"; 4];
        words[at] = infinite;
        let body = "00 00 00 00 00 00 00 00  00 00 00 00  00 00  01 00  00  01  00 00 00 00 00 00 ";
        let bytes = datagram(2, &(body.to_owned() + &words.join(" ")));
        let Ok((_, Body::MarkerFrame(frame))) = decode(&bytes) else {
            panic!()
        };
        assert_eq!(frame.markers.iter().collect::<Vec<_>>(), [None]);
    }
}

#[test]
fn force_block() {
    let values = [
        Some(1.0),
        Some(-500.0),
        None,
        Some(0.5),
        Some(0.0),
        Some(2.0),
    ];
    let block = ForceBlock {
        first_sample: 1 << 32,
        layout: 3,
        channels: 2,
        values: values.as_slice().into(),
    };
    assert_eq!(block.samples(), 3);
    let bytes = "00 00 00 00 01 00 00 00  03 00 00 00  03 00  02  00
        00 00 80 3f  00 00 fa c3  00 00 c0 7f  00 00 00 3f  00 00 00 00  00 00 00 40";
    check(3, bytes, &Body::ForceBlock(block));
}

#[test]
fn trigger() {
    let known = Trigger {
        pulse: Pulse::Sound,
        strength: Some(0.75),
    };
    check(4, "01 00 00 00  00 00 40 3f", &Body::Trigger(known));
    let unknown = Trigger {
        pulse: Pulse::Switch,
        strength: None,
    };
    check(4, "02 00 00 00  00 00 c0 7f", &Body::Trigger(unknown));
}

#[test]
fn describe_markers() {
    let list = LabelList {
        source: SOURCE,
        total: 3,
        first: 1,
        labels: vec!["C7".into(), "Ä".into()],
    };
    let part = Part { index: 1, count: 2 };
    let describe = Describe {
        layout: 0x10,
        part,
        content: Content::Markers(list),
    };
    let body = format!(
        "10 00 00 00  01  02  01  00 {SOURCE_BYTES}
        03 00  01 00  02 00  00 00  02 43 37  02 c3 84"
    );
    check(1, &body, &Body::Describe(describe));
}

#[test]
fn describe_forces() {
    let plate = Plate {
        kind: PlateKind::Corners,
        corners: [[1.0, 0.0, 0.5], [0.0; 3], [0.0; 3], [0.0, 0.0, 2.0]],
        origin: [-1.0, 0.0, 0.0],
    };
    let source = Source {
        meters_per_unit: None,
        bay_from_source: None,
        ..SOURCE
    };
    let list = PlateList {
        source,
        total: 5,
        first: 4,
        plates: vec![plate],
    };
    let part = Part { index: 1, count: 2 };
    let describe = Describe {
        layout: 1,
        part,
        content: Content::Forces(list),
    };
    let zeros = |n| "00 ".repeat(n);
    let body = format!(
        "01 00 00 00  01  02  02  00   00 00 00 00 00 80 76 40  {}
        00 00 00 00 00 00 00 00  00 00 00 00 00 00 e0 bf  00 00 00 00 00 00 00 40
        05  04  01  00 00 00 00 00   03 00 00 00  00 00 80 3f  00 00 00 00  00 00 00 3f {}
        00 00 00 40  00 00 80 bf {}",
        zeros(8 + 72),
        zeros(32),
        zeros(8 + 144),
    );
    check(1, &body, &Body::Describe(describe));
}

#[test]
fn describe_trigger() {
    let content = Content::Trigger(Pulse::Switch);
    let describe = Describe {
        layout: 2,
        part: Part::WHOLE,
        content,
    };
    check(
        1,
        "02 00 00 00  00  01  03  00  02 00 00 00 00 00 00 00",
        &Body::Describe(describe),
    );
}
