//! Frames and descriptions that need several datagrams.

use super::*;
use crate::{MAX_MARKERS, MAX_PLATES};

#[test]
fn frames_are_cut_into_parts_that_fit() {
    for (count, parts) in [
        (1, 1),
        (32, 1),
        (71, 1),
        (72, 2),
        (500, 8),
        (MAX_MARKERS, 8),
    ] {
        let marker = |i| {
            (i % 3 > 0).then_some(Marker {
                position: [i as f32; 3],
                residual: 0.5,
            })
        };
        let markers: Vec<_> = (0..count).map(marker).collect();
        let mut joined = vec![None; count];
        for (index, part) in frame_parts(4, 77, &markers).enumerate() {
            let bytes = encoded(&Body::MarkerFrame(part)).unwrap();
            let Ok((_, Body::MarkerFrame(read))) = decode(&bytes) else {
                panic!()
            };
            assert_eq!(usize::from(read.part.index), index);
            assert_eq!((read.frame, read.layout, read.part.count), (77, 4, parts));
            for (place, marker) in joined[usize::from(read.first)..]
                .iter_mut()
                .zip(read.markers.iter())
            {
                *place = marker;
            }
        }
        assert_eq!(joined, markers);
    }
    let too_many = vec![None; MAX_MARKERS + 1];
    assert!(frame_parts(0, 0, &too_many).any(|part| encoded(&Body::MarkerFrame(part)).is_err()));
}

#[test]
fn labels_are_cut_into_parts_that_fit() {
    for (count, length, parts) in [
        (1, 63, 1),
        (32, 8, 1),
        (16, 63, 1),
        (17, 63, 2),
        (512, 63, 32),
    ] {
        let labels: Vec<String> = (0..count).map(|i| format!("{i:0length$}")).collect();
        let list = LabelList {
            source: SOURCE,
            total: 0,
            first: 0,
            labels: labels.clone(),
        };
        let mut joined = Vec::new();
        for part in describe_parts(6, &Content::Markers(list)) {
            assert_eq!((part.layout, part.part.count), (6, parts));
            let bytes = encoded(&Body::Describe(part)).unwrap();
            let Ok((_, Body::Describe(read))) = decode(&bytes) else {
                panic!()
            };
            let Content::Markers(list) = read.content else {
                panic!()
            };
            assert_eq!(
                (usize::from(list.first), list.source),
                (joined.len(), SOURCE)
            );
            assert_eq!(usize::from(list.total), count);
            joined.extend(list.labels);
        }
        assert_eq!(joined, labels);
    }
}

#[test]
fn plates_are_cut_into_parts_that_fit() {
    for (count, parts) in [(1, 1), (2, 1), (4, 1), (5, 2), (MAX_PLATES, 2)] {
        let plate = |i| {
            let kind = PlateKind::Raw([[i as f32; 6]; 6]);
            Plate {
                kind,
                corners: [[0.5; 3]; 4],
                origin: [0.25; 3],
            }
        };
        let plates: Vec<Plate> = (0..count).map(plate).collect();
        let list = PlateList {
            source: SOURCE,
            total: 0,
            first: 0,
            plates: plates.clone(),
        };
        let mut joined = Vec::new();
        for part in describe_parts(6, &Content::Forces(list)) {
            assert_eq!(part.part.count, parts);
            let bytes = encoded(&Body::Describe(part)).unwrap();
            let Ok((_, Body::Describe(read))) = decode(&bytes) else {
                panic!()
            };
            let Content::Forces(list) = read.content else {
                panic!()
            };
            assert_eq!(
                (usize::from(list.first), usize::from(list.total)),
                (joined.len(), count)
            );
            joined.extend(list.plates);
        }
        assert_eq!(joined, plates);
    }
}
