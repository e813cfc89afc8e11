//! The datagram format from outside: a sender in another language, written from the documentation
//! alone, against the decoder here. What arrives is compared with the files as `protocol::c3d`
//! reads them, which the module `c3d` holds against outside readers.

use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::net::UdpSocket;
use std::path::Path;
use std::time::Duration;

use protocol::wire::{Body, Content, Header, Marker, PlateKind, PlateList, decode};

use crate::support;

/// What a receiver has when a whole file has arrived.
#[derive(Default)]
struct Received {
    headers: Vec<Header>,
    labels: BTreeMap<u16, String>,
    /// By frame number and place in the layout.
    markers: BTreeMap<(u64, u16), Option<Marker>>,
    /// By sample number.
    forces: BTreeMap<u64, Vec<Option<f32>>>,
    plates: Option<PlateList>,
    unit: Option<f64>,
    rate_hz: f64,
}

/// Runs the Python sender over loopback and decodes everything it sends.
fn receive(file: &Path) -> Received {
    let socket = UdpSocket::bind("127.0.0.1:0").unwrap();
    let to = socket.local_addr().unwrap().to_string();
    let file = file.to_owned();
    let sender = std::thread::spawn(move || {
        let args = [
            file.as_os_str(),
            OsStr::new(&to),
            OsStr::new("--pace"),
            OsStr::new("2"),
        ];
        support::python("send_c3d.py", &args);
    });
    let mut received = Received::default();
    let mut buffer = [0; protocol::MAX_DATAGRAM + 1];
    // The sender needs seconds to start; once it has ended, silence is the end.
    socket
        .set_read_timeout(Some(Duration::from_millis(300)))
        .unwrap();
    loop {
        let ended = sender.is_finished();
        match socket.recv(&mut buffer) {
            Ok(length) => received.take(&buffer[..length]),
            Err(_) if ended => break,
            Err(_) => {}
        }
    }
    sender.join().unwrap();
    received
}

impl Received {
    fn take(&mut self, datagram: &[u8]) {
        let (header, body) = decode(datagram).unwrap();
        self.headers.push(header);
        match body {
            Body::Describe(describe) => self.describe(describe.content),
            Body::MarkerFrame(frame) => {
                let places = (frame.first..).map(|place| (frame.frame, place));
                self.markers.extend(places.zip(frame.markers.iter()));
            }
            Body::ForceBlock(block) => {
                let values: Vec<_> = block.values.iter().collect();
                let samples = values
                    .chunks(usize::from(block.channels))
                    .map(<[_]>::to_vec);
                self.forces.extend((block.first_sample..).zip(samples));
            }
            Body::Trigger(trigger) => panic!("{trigger:?}"),
        }
    }

    fn describe(&mut self, content: Content) {
        match content {
            Content::Markers(list) => {
                self.unit = list.source.meters_per_unit;
                self.rate_hz = list.source.rate_hz;
                self.labels.extend((list.first..).zip(list.labels));
            }
            Content::Forces(list) => self.plates = Some(list),
            Content::Trigger(pulse) => panic!("{pulse:?}"),
        }
    }

    /// Every stream counts its datagrams from 0 without a hole, and all share a clock and an epoch.
    fn assert_complete(&self) {
        let mut next = BTreeMap::new();
        for header in &self.headers {
            let expected: &mut u64 = next.entry(header.stream).or_default();
            assert_eq!(header.sequence, *expected, "{header:?}");
            *expected += 1;
            assert_eq!((header.clock, header.epoch), (1, self.headers[0].epoch));
        }
    }
}

/// The markers of a file as they should arrive.
fn markers_of(file: &protocol::c3d::C3d) -> BTreeMap<(u64, u16), Option<Marker>> {
    let frame = |(number, frame): (u64, &Vec<Option<protocol::c3d::Marker>>)| {
        let marker = |m: protocol::c3d::Marker| Marker {
            position: m.position,
            residual: m.residual,
        };
        let markers: Vec<_> = frame.iter().map(|m| m.map(marker)).collect();
        (0..)
            .zip(markers)
            .map(move |(place, m)| ((number, place), m))
            .collect::<Vec<_>>()
    };
    (0..).zip(&file.frames).flat_map(frame).collect()
}

/// What was sent is what the file holds. Positions exactly; residuals as far as two readers agree
/// on a number that is stored in 255 steps.
fn assert_same_markers(received: &Received, file: &protocol::c3d::C3d) {
    let expected = markers_of(file);
    assert!(
        received.markers.keys().eq(expected.keys()),
        "other frames or markers"
    );
    for (place, expected) in &expected {
        let got = received.markers[place];
        assert_eq!(
            got.map(|m| m.position),
            expected.map(|m| m.position),
            "{place:?}"
        );
        if let (Some(got), Some(expected)) = (got, expected) {
            assert!(
                (got.residual - expected.residual).abs() < 1e-3,
                "{place:?}: {got:?} {expected:?}"
            );
        }
    }
    assert!(received.labels.values().eq(&file.labels));
    assert!((received.rate_hz - file.rate_hz).abs() < 1e-4);
}

fn load(file: &Path) -> protocol::c3d::C3d {
    protocol::c3d::read(&std::fs::read(file).unwrap()).unwrap()
}

#[test]
fn a_swing_sent_from_python_arrives_as_it_is_in_the_file() {
    let Some(data) = support::data() else { return };
    let path = data.join("golf_club_107hz.c3d");
    let received = receive(&path);
    received.assert_complete();
    assert_same_markers(&received, &load(&path));
    assert_eq!(received.unit, Some(0.001));
    // 514 frames at 107.527 Hz (data/README.md) last 4.77 s: one describe in each second begun.
    assert_eq!(received.headers.len(), 514 + 5);
    let last = received.headers.last().unwrap().device_time_ns;
    assert_eq!(last, (513.0 * 1e9 / received.rate_hz).round() as i64);
}

#[test]
fn a_large_set_and_plates_sent_from_python_arrive_as_they_are_in_the_file() {
    let Some(data) = support::data() else { return };
    let path = data.join("gait/gait_with_angles.c3d");
    let (received, file) = (receive(&path), load(&path));
    received.assert_complete();
    assert_same_markers(&received, &file);
    // 193 markers go in three parts.
    assert_eq!(received.labels.len(), 193);
    let plates = received.plates.unwrap();
    assert_eq!(plates.plates.len(), 2);
    for (sent, own) in plates.plates.iter().zip(&file.plates) {
        assert_eq!(sent.kind, PlateKind::Moments);
        assert_eq!(
            sent.corners,
            own.corners.map(|corner| corner.map(|v| v as f32))
        );
        assert_eq!([sent.origin], [own.origin.map(|v| v as f32)]);
    }
    assert!((plates.source.rate_hz - file.analog.rate_hz).abs() < 1e-3);
    assert_eq!(received.forces.len(), 3150);
    for (number, sample) in &received.forces {
        for (place, plate) in file.plates.iter().enumerate() {
            for (at, channel) in plate.channels.iter().enumerate() {
                // This file has N and Nmm.
                let si = if at < 3 { 1.0 } else { 1e-3 };
                let expected =
                    file.analog.channels[*channel].samples[*number as usize].unwrap() * si;
                let got = sample[6 * place + at].unwrap();
                assert!(
                    (got - expected).abs() <= 1e-4 * expected.abs().max(1.0),
                    "{number} {at}"
                );
            }
        }
    }
}

/// Peak upward force of each plate over a take, N.
fn peaks(received: &Received) -> Vec<f64> {
    let plates = &received.plates.as_ref().unwrap().plates;
    let upward = |index: usize, sample: &[Option<f32>]| {
        let own: Vec<f64> = sample[6 * index..][..6]
            .iter()
            .map(|v| f64::from(v.unwrap()))
            .collect();
        match plates[index].kind {
            PlateKind::Raw(m) => -m[2]
                .iter()
                .zip(&own)
                .map(|(m, v)| f64::from(*m) * v)
                .sum::<f64>(),
            _ => -own[2],
        }
    };
    let peak = |index| {
        received
            .forces
            .values()
            .map(|s| upward(index, s))
            .fold(0.0, f64::max)
    };
    (0..plates.len()).map(peak).collect()
}

/// What each plate of a kind 2 file shows upward while nobody stands on it, N.
fn unloaded(file: &protocol::c3d::C3d) -> Vec<f64> {
    let (first, last) = file.unloaded.unwrap();
    let per_frame = (file.analog.rate_hz / file.rate_hz).round() as usize;
    let mean = |plate: &protocol::c3d::Plate| {
        let vertical = &file.analog.channels[plate.channels[2]].samples;
        let quiet = &vertical[first * per_frame..(last + 1) * per_frame];
        -quiet.iter().map(|v| f64::from(v.unwrap())).sum::<f64>() / quiet.len() as f64
    };
    file.plates.iter().map(mean).collect()
}

#[test]
fn raw_and_corrected_plates_mean_the_same_forces() {
    let Some(data) = support::data() else { return };
    let path = |name: &str| data.join("plates").join(name).with_extension("c3d");
    // Senders take the reading of the unloaded plate off, which the published peaks contain.
    let offsets = unloaded(&load(&path("TYPE-2a")));
    // One walk through both methods; peaks from data/README.md: 522/583 N and 521/583 N.
    for (name, published) in [("TYPE-2a", [522.0, 583.0]), ("TYPE-4a", [521.0, 583.0])] {
        let received = receive(&path(name));
        received.assert_complete();
        let got = peaks(&received);
        assert_eq!(got.len(), 2);
        for ((got, published), offset) in got.iter().zip(published).zip(&offsets) {
            let expected = published - offset;
            assert!(
                (got - expected).abs() < 1.0,
                "{name}: {got} instead of {expected} N"
            );
        }
    }
}
