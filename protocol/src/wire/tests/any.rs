//! Property tests: any bytes are read or refused, never a panic; any valid value survives the way
//! through bytes.

use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;

use super::*;
use crate::{MAX_COUNT, MAX_DATAGRAM};

fn header() -> impl Strategy<Value = Header> {
    let time = -MAX_COUNT.cast_signed()..=MAX_COUNT.cast_signed();
    (
        any::<u32>(),
        any::<u32>(),
        any::<u32>(),
        0..=MAX_COUNT,
        time,
    )
        .prop_map(|(stream, clock, epoch, sequence, device_time_ns)| Header {
            stream,
            clock,
            epoch,
            sequence,
            device_time_ns,
        })
}

fn finite() -> impl Strategy<Value = f32> {
    use prop::num::f32::{NEGATIVE, NORMAL, POSITIVE, SUBNORMAL, ZERO};
    NORMAL | SUBNORMAL | ZERO | POSITIVE | NEGATIVE
}

fn marker() -> impl Strategy<Value = Marker> {
    (prop::array::uniform3(finite()), finite().prop_map(f32::abs))
        .prop_map(|(position, residual)| Marker { position, residual })
}

fn part() -> impl Strategy<Value = Part> {
    (1..=u8::MAX).prop_flat_map(|count| (0..count).prop_map(move |index| Part { index, count }))
}

/// Rotations from any unit quaternion.
fn rotation() -> impl Strategy<Value = [[f64; 3]; 3]> {
    prop::array::uniform4(-1.0..1.0_f64).prop_filter_map("too short", |q| {
        let length = q.iter().map(|v| v * v).sum::<f64>().sqrt();
        let [w, x, y, z] = q.map(|v| v / length);
        (length > 0.1).then_some([
            [
                1.0 - 2.0 * (y * y + z * z),
                2.0 * (x * y - w * z),
                2.0 * (x * z + w * y),
            ],
            [
                2.0 * (x * y + w * z),
                1.0 - 2.0 * (x * x + z * z),
                2.0 * (y * z - w * x),
            ],
            [
                2.0 * (x * z - w * y),
                2.0 * (y * z + w * x),
                1.0 - 2.0 * (x * x + y * y),
            ],
        ])
    })
}

fn source() -> impl Strategy<Value = Source> {
    let origin = prop::array::uniform3(-1e6..1e6);
    (
        0.1..=100_000.0,
        option::of(1e-6..=1e3),
        option::of(rotation()),
        origin,
    )
        .prop_map(
            |(rate_hz, meters_per_unit, bay_from_source, bay_origin)| Source {
                rate_hz,
                meters_per_unit,
                bay_from_source,
                bay_origin,
            },
        )
}

fn plate() -> impl Strategy<Value = Plate> {
    let matrix = prop::array::uniform6(prop::array::uniform6(finite())).prop_map(PlateKind::Raw);
    let plain = [PlateKind::Pressure, PlateKind::Moments, PlateKind::Corners];
    let kind = prop_oneof![prop::sample::select(plain.to_vec()), matrix];
    let corners = prop::array::uniform4(prop::array::uniform3(finite()));
    (kind, corners, prop::array::uniform3(finite())).prop_map(|(kind, corners, origin)| Plate {
        kind,
        corners,
        origin,
    })
}

fn content() -> impl Strategy<Value = Content> {
    let pulse = prop_oneof![Just(Pulse::Sound), Just(Pulse::Switch)].prop_map(Content::Trigger);
    let markers = (source(), vec("[A-Za-zäß:_0-9 *]{1,20}", 1..20), 0..200_u16).prop_map(
        |(source, labels, first)| {
            let total = first + labels.len() as u16 + 3;
            Content::Markers(LabelList {
                source,
                total,
                first,
                labels,
            })
        },
    );
    let forces = (source(), vec(plate(), 1..=4), 0..=4_u8).prop_map(|(source, plates, first)| {
        let total = first + plates.len() as u8;
        Content::Forces(PlateList {
            source,
            total,
            first,
            plates,
        })
    });
    prop_oneof![pulse, markers, forces]
}

#[track_caller]
fn survives(header: Header, body: &Body<'_>) {
    let mut bytes = Vec::new();
    encode(&header, body, &mut bytes).unwrap();
    assert!(bytes.len() <= MAX_DATAGRAM);
    assert_eq!(decode(&bytes).unwrap(), (header, body.clone()));
}

/// Reads every value of whatever this is; what can be read can be written and read again.
fn read_all(bytes: &[u8]) {
    let Ok((header, body)) = decode(bytes) else {
        return;
    };
    match &body {
        Body::MarkerFrame(frame) => {
            let seen = |m: Marker| m.residual >= 0.0 && m.position.iter().all(|v| v.is_finite());
            assert!(frame.markers.iter().flatten().all(seen));
        }
        Body::ForceBlock(block) => assert!(block.values.iter().flatten().all(f32::is_finite)),
        Body::Describe(_) | Body::Trigger(_) => {}
    }
    survives(header, &body);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1000))]

    #[test]
    fn marker_frames_survive(
        header in header(),
        (frame, layout, part, first) in (0..=MAX_COUNT, any::<u32>(), part(), 0..=441_u16),
        markers in vec(option::of(marker()), 1..=71),
    ) {
        let markers = markers.as_slice().into();
        survives(header, &Body::MarkerFrame(MarkerFrame { frame, layout, part, first, markers }));
    }

    #[test]
    fn force_blocks_survive(
        header in header(),
        (first_sample, layout) in (0..=MAX_COUNT, any::<u32>()),
        (channels, values) in (1..=64_u8, 1..=4_usize).prop_flat_map(|(channels, samples)| {
            (Just(channels), vec(option::of(finite()), samples * usize::from(channels)))
        }),
    ) {
        let values = values.as_slice().into();
        survives(header, &Body::ForceBlock(ForceBlock { first_sample, layout, channels, values }));
    }

    #[test]
    fn descriptions_survive(
        header in header(),
        (layout, part, content) in (any::<u32>(), part(), content()),
    ) {
        survives(header, &Body::Describe(Describe { layout, part, content }));
    }

    #[test]
    fn triggers_survive(
        header in header(),
        pulse in prop_oneof![Just(Pulse::Sound), Just(Pulse::Switch)],
        strength in option::of(finite().prop_map(f32::abs)),
    ) {
        survives(header, &Body::Trigger(Trigger { pulse, strength }));
    }

    #[test]
    fn any_bytes_are_read_or_refused(bytes in vec(any::<u8>(), 0..1300)) {
        read_all(&bytes);
    }

    #[test]
    fn any_body_is_read_or_refused(
        header in header(),
        kind in 0..6_u8,
        body in vec(any::<u8>(), 0..1170),
        small in vec(0..5_u8, 16),
    ) {
        let mut bytes = Vec::new();
        header::write(&header, kind, &mut bytes);
        bytes.extend(&body);
        read_all(&bytes);
        // Small numbers in front get past the first limits.
        for (place, byte) in bytes[40..].iter_mut().zip(small) {
            *place = byte;
        }
        read_all(&bytes);
    }

    #[test]
    fn damaged_descriptions_are_read_or_refused(
        header in header(),
        content in content(),
        damage in vec((any::<prop::sample::Index>(), any::<u8>()), 1..4),
        cut in any::<prop::sample::Index>(),
    ) {
        let describe = Describe { layout: 1, part: Part::WHOLE, content };
        let mut bytes = Vec::new();
        encode(&header, &Body::Describe(describe), &mut bytes).unwrap();
        for (place, byte) in damage {
            let place = place.index(bytes.len());
            bytes[place] = byte;
        }
        read_all(&bytes);
        read_all(&bytes[..cut.index(bytes.len())]);
    }
}
