//! Properties over any bytes, any damage and any take.

use proptest::prelude::*;

use crate::c3d::layout::BLOCK;
use crate::c3d::*;

fn any_marker() -> impl Strategy<Value = Option<Marker>> {
    let position = prop::array::uniform3(-5000.0_f32..5000.0);
    prop::option::of(position.prop_map(|position| Marker {
        position,
        residual: 0.0,
    }))
}

prop_compose! {
    fn any_shape()(markers in 1..6_usize, frames in 1..20_usize, channels in 0..4_usize,
                   per_frame in 1..4_usize) -> (usize, usize, usize, usize) {
        (markers, frames, channels, per_frame)
    }
}

prop_compose! {
    fn any_take()(shape in any_shape())(
        frames in prop::collection::vec(prop::collection::vec(any_marker(), shape.0), shape.1),
        labels in prop::collection::vec("[a-zA-Z:_][a-z 0-9é]{0,20}[a-z]", shape.0),
        channels in prop::collection::vec(
            ("[A-Z][a-z0-9]{0,5}", prop::collection::vec(
                prop::option::of(-1e6_f32..1e6), shape.1 * shape.3)), shape.2),
        rate_hz in 1..1000_u16, first_frame in 1..100_000_u32, per_frame in Just(shape.3),
        times in prop::collection::vec(0..100_u32, 0..4),
    ) -> C3d {
        let rate_hz = f64::from(rate_hz);
        let analog_hz = if channels.is_empty() { 0.0 } else { rate_hz * per_frame as f64 };
        let channel = |(label, samples)| Channel { label, unit: "Nmm".into(), samples };
        let event = |s: u32| Event { label: format!("e{s}"), context: "x".into(), time_s: f64::from(s) };
        C3d {
            rate_hz, first_frame, units: "mm".into(), labels, frames,
            analog: Analog { rate_hz: analog_hz, channels: channels.into_iter().map(channel).collect() },
            events: times.into_iter().map(event).collect(),
            ..C3d::default()
        }
    }
}

proptest! {
    #[test]
    fn any_bytes_never_panic(bytes in prop::collection::vec(any::<u8>(), 0..4096)) {
        drop(read(&bytes));
    }

    /// Any bytes behind a header that is plausible enough to get past the first checks.
    #[test]
    fn any_records_never_panic(
        words in prop::collection::vec(0..40_u16, 12),
        bytes in prop::collection::vec(any::<u8>(), 1024..4096),
        processor in 84..87_u8,
    ) {
        let mut file = vec![0; BLOCK];
        for (chunk, word) in file.chunks_exact_mut(2).zip(&words) {
            chunk.copy_from_slice(&word.to_le_bytes());
        }
        file[..2].copy_from_slice(&[2, 0x50]);
        file.extend_from_slice(&bytes);
        file[BLOCK + 3] = processor;
        drop(read(&file));
    }

    /// A good file with a few bytes changed, read as any of the three machines, perhaps cut. What
    /// is read can be written again or is refused in words, also without panic.
    #[test]
    fn damaged_files_never_panic(
        take in any_take(),
        damage in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..12),
        early in prop::collection::vec((0..1600_usize, any::<u8>()), 0..6),
        processor in 84..87_u8,
        cut in prop::option::of(any::<prop::sample::Index>()),
    ) {
        let mut bytes = write(&take).unwrap();
        bytes[BLOCK + 3] = processor;
        for (at, value) in damage {
            let at = at.index(bytes.len());
            bytes[at] = value;
        }
        for (at, value) in early {
            let at = at % bytes.len();
            bytes[at] = value;
        }
        if let Some(cut) = cut {
            bytes.truncate(cut.index(bytes.len()));
        }
        if let Ok(take) = read(&bytes) {
            drop(write(&take));
        }
    }

    #[test]
    fn what_is_written_reads_back(take in any_take()) {
        let back = read(&write(&take).unwrap()).unwrap();
        // EVENT times are 32-bit seconds from frame 1.
        for (a, b) in take.events.iter().zip(&back.events) {
            prop_assert!((a.time_s - b.time_s).abs() < 1e-5 + 1e-6 * f64::from(take.first_frame));
        }
        prop_assert_eq!(&back.warnings, &Vec::<String>::new());
        let same = C3d {
            parameters: Parameters::default(),
            events: take.events.clone(),
            ..back.clone()
        };
        prop_assert_eq!(same, take);
    }
}
