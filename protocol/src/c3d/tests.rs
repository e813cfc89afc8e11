//! Hand-made integer files and the oddities of real ones; writing and properties in files of their
//! own.

mod properties;
mod writing;

use super::layout::BLOCK;
use super::*;

/// An Intel integer file: 2 markers, 2 frames, 1 analog channel at twice the frame rate, 200 Hz.
struct Draft {
    header: Vec<(usize, u16)>,
    point: Vec<Parameter>,
    analog: Vec<Parameter>,
    more: Vec<Group>,
    data: Vec<i16>,
}

fn integers(name: &str, values: &[u16]) -> Parameter {
    let values = values.iter().map(|v| v.cast_signed()).collect::<Vec<_>>();
    Parameter::new(name, &[values.len() as u8], Data::Integers(values))
}

fn real(name: &str, value: f32) -> Parameter {
    Parameter::new(name, &[], Data::Reals(vec![value]))
}

fn text(name: &str, value: &str) -> Parameter {
    Parameter::new(name, &[value.len() as u8], Data::Text(value.into()))
}

fn draft() -> Draft {
    let header = [(1, 0x5002), (2, 2), (3, 2), (4, 1), (5, 2), (9, 4), (10, 2)];
    let labels = Parameter::new("LABELS", &[4, 2], Data::Text(b"headheel".to_vec()));
    Draft {
        header: header.to_vec(),
        point: vec![
            integers("FRAMES", &[2]),
            real("SCALE", 0.5),
            real("RATE", 200.0),
            labels,
        ],
        analog: vec![
            integers("OFFSET", &[100]),
            real("SCALE", 2.0),
            real("GEN_SCALE", 0.25),
        ],
        more: Vec::new(),
        data: vec![
            2, -4, 6, 0x0302, 1, 1, 1, -1, 104, 96, // frame 1, the second marker not seen
            4, -8, 12, 0, 10, 20, 30, 1, -32_768, 100, // frame 2
        ],
    }
}

impl Draft {
    fn bytes(&self) -> Vec<u8> {
        let mut out = vec![0; 3 * BLOCK];
        for &(word, value) in &self.header {
            out[2 * word - 2..2 * word].copy_from_slice(&value.to_le_bytes());
        }
        out[BLOCK + 2..BLOCK + 4].copy_from_slice(&[2, 84]);
        let group = |name: &str, parameters: &[Parameter]| Group {
            name: name.into(),
            parameters: parameters.to_vec(),
            ..Group::default()
        };
        let mut groups = vec![group("POINT", &self.point), group("ANALOG", &self.analog)];
        groups.extend(self.more.clone());
        let records = encode::encode(&groups).unwrap();
        out[BLOCK + 4..BLOCK + 4 + records.len()].copy_from_slice(&records);
        out.extend(self.data.iter().flat_map(|v| v.to_le_bytes()));
        out
    }

    fn read(&self) -> Result<C3d, ReadError> {
        read(&self.bytes())
    }

    fn point(mut self, parameter: Parameter) -> Self {
        self.point.retain(|p| p.name != parameter.name);
        self.point.push(parameter);
        self
    }

    fn header(mut self, word: usize, value: u16) -> Self {
        self.header.push((word, value));
        self
    }
}

fn check_warning(draft: &Draft, text: &str) -> C3d {
    let take = draft.read().unwrap();
    assert!(
        take.warnings.iter().any(|w| w.contains(text)),
        "{:?}",
        take.warnings
    );
    take
}

fn check_error(draft: &Draft, text: &str) {
    let error = draft.read().unwrap_err().to_string();
    assert!(error.contains(text), "{error}");
}

/// Values by hand from c3d.org: coordinates × scale; residual = low byte × scale; analog =
/// (raw − offset) · scale · general scale.
#[test]
fn an_integer_file_by_hand() {
    let take = draft().read().unwrap();
    assert_eq!(take.warnings, Vec::<String>::new());
    let marker = |position, residual| Some(Marker { position, residual });
    assert_eq!(take.frames[0], [marker([1.0, -2.0, 3.0], 1.0), None]);
    assert_eq!(
        take.frames[1],
        [
            marker([2.0, -4.0, 6.0], 0.0),
            marker([5.0, 10.0, 15.0], 0.5)
        ]
    );
    let samples = [2.0, -2.0, -16_434.0, 0.0].map(Some);
    assert_eq!(take.analog.channels[0].samples, samples);
    assert_eq!(take.analog.channels[0].label, "unlabeled 1");
    assert!((take.analog.rate_hz - 400.0).abs() < 1e-9);
}

/// c3d.org, "3D Data – Integer Format": the word 0x3E10 at a scale of 0.0833333 is a residual of
/// 1.333.
#[test]
fn the_published_residual() {
    let mut d = draft().point(real("SCALE", 0.083_333_3));
    d.data[3] = 0x3E10;
    let marker = d.read().unwrap().frames[0][0].unwrap();
    assert!((marker.residual - 1.333).abs() < 1e-3, "{marker:?}");
}

#[test]
fn unsigned_analog_samples_and_offsets() {
    let mut d = draft();
    d.analog[0] = integers("OFFSET", &[0x8000]);
    d.analog.push(text("FORMAT", "UNSIGNED"));
    d.data[18] = -1;
    let samples = d.read().unwrap().analog.channels[0].samples.clone();
    assert_eq!(samples[2], Some((65_535.0 - 32_768.0) * 0.5));
}

#[test]
fn markers_without_label_are_called_by_their_place() {
    let d = draft().point(Parameter::new(
        "LABELS",
        &[4, 1],
        Data::Text(b"head".to_vec()),
    ));
    assert_eq!(d.read().unwrap().labels, ["head", "unlabeled 2"]);
}

#[test]
fn the_header_serves_where_parameters_are_missing() {
    let mut d = draft().header(12, 0x4348); // High word of 200.0.
    d.header.push((8, 0x3F00)); // High word of 0.5.
    d.point.clear();
    let take = d.read().unwrap();
    assert_eq!((take.frames.len(), take.labels.len()), (2, 2));
    assert!((take.rate_hz - 200.0).abs() < 1e-9);
}

#[test]
fn frame_counts_that_disagree() {
    // One frame more than there is: the header's range fits (as in an original of the data folder).
    let d = draft().point(integers("FRAMES", &[3]));
    assert_eq!(
        check_warning(&d, "the parameters tell 3 frames, the header 2")
            .frames
            .len(),
        2
    );
    // A real FRAMES, over 65,535: the file is too short for it and the header cannot know.
    let d = draft().point(real("FRAMES", 70_000.0)).header(5, 65_535);
    check_error(&d, "data section: file ends at byte 1576, needed");
    // TRIAL only counts when the short number shows that it overflowed.
    let mut d = draft();
    let fields = vec![
        integers("ACTUAL_START_FIELD", &[1, 0]),
        integers("ACTUAL_END_FIELD", &[2, 1]),
    ];
    d.more = vec![Group {
        name: "TRIAL".into(),
        parameters: fields,
        ..Group::default()
    }];
    check_error(
        &d,
        "needed 1312296 for 65538 frames, 2 are there (cut file?)",
    );
    assert_eq!(
        d.point(integers("FRAMES", &[1]))
            .read()
            .unwrap()
            .frames
            .len(),
        1
    );
}

#[test]
fn bytes_behind_the_last_frame_are_mentioned() {
    let mut d = draft();
    d.data.extend([0; 300]);
    check_warning(&d, "600 bytes behind the last of 2 frames were not read");
}

#[test]
fn impossible_headers_are_said_plainly() {
    check_error(
        &draft().header(1, 0x5102),
        "header: byte 1 is 0x51, expected 0x50 (not a C3D file?)",
    );
    check_error(
        &draft().header(1, 0x5001),
        "header: byte 0: parameter section in block 1",
    );
    check_error(
        &draft().point(real("RATE", 0.0)),
        "frame rate 0 and POINT:RATE 0: a positive number",
    );
    check_error(
        &draft().point(real("SCALE", 0.0)),
        "header: byte 12: scale 0 here and none in",
    );
    check_error(
        &draft().header(10, 3),
        "header: byte 4: 2 analog values a frame do not divide into 3",
    );
    check_error(
        &draft().header(2, 0).header(3, 0),
        "neither markers nor analog channels",
    );
    check_error(
        &draft().header(9, 200),
        "parameter section: file ends at byte 1576, needed 101888",
    );
    check_error(
        &draft().header(1, 0x5003),
        "byte 1027: processor 0, expected 84 (Intel)",
    );
}

#[test]
fn a_header_without_data_start() {
    let d = draft().header(9, 0).point(integers("DATA_START", &[4]));
    assert_eq!(
        check_warning(&d, "took byte 1536").frames,
        draft().read().unwrap().frames
    );
    assert_eq!(
        check_warning(&draft().header(9, 0), "took byte 1536")
            .frames
            .len(),
        2
    );
}

#[test]
fn header_events_serve_when_the_group_has_none() {
    let d = draft()
        .header(150, 12_345)
        .header(151, 1)
        .header(154, 0x3F80)
        .header(199, 0x4F54);
    let event = Event {
        label: "TO".into(),
        context: String::new(),
        time_s: 1.0,
    };
    assert_eq!(d.read().unwrap().events, [event]);
}

#[test]
fn lost_markers_at_the_origin_are_mentioned() {
    let mut d = draft();
    d.data[10..13].fill(0);
    check_warning(&d, "1 marker positions are exactly 0, 0, 0");
}
