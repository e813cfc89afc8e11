//! Round trips, files torn at any byte, damage, versions. (A foreign reader: `tests/recording.rs`
//! of the workspace.)

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use mcap::records::Metadata;

use super::*;

/// Nanoseconds in a millisecond.
const MS: u64 = 1_000_000;

/// A folder of a test, removed at its end.
struct Folder(PathBuf);

impl Folder {
    fn new(test: &str) -> Self {
        let folder = std::env::temp_dir().join(format!("whin-{}-{test}", std::process::id()));
        fs::create_dir_all(&folder).unwrap();
        Self(folder)
    }

    fn file(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        drop(fs::remove_dir_all(&self.0));
    }
}

fn about() -> Meta {
    Meta {
        bay: "north".into(),
        zone: "Europe/Berlin".into(),
        program: "0.1.0".into(),
        clock_zero_utc_ns: 1_800_000_000_000_000_000,
        marker_map: "version = 1\nname = \"ü\"\n".into(),
        late_ns: BTreeMap::from([(2, 3_700_000)]),
        only_swings: true,
        context: Some("side = \"left\"".into()),
    }
}

/// A second and a half: a datagram each millisecond, a tick each 20 ms, bytes that do not compress.
fn take() -> Vec<Recorded> {
    let mut noise = 1_u64;
    let mut byte = move || {
        noise ^= noise << 13;
        noise ^= noise >> 7;
        noise ^= noise << 17;
        noise.to_le_bytes()[3]
    };
    let mut entries = Vec::new();
    for millisecond in 0..1500_u64 {
        let length = usize::from(byte()) * 2;
        let bytes = (0..length).map(|_| byte()).collect();
        entries.push(Recorded::Datagram {
            arrival_ns: millisecond * MS,
            bytes,
        });
        if millisecond % 20 == 0 {
            entries.push(Recorded::Tick {
                now_ns: millisecond * MS + 1,
            });
        }
    }
    entries
}

fn push(recorder: &mut Recorder, entry: &Recorded) {
    match entry {
        Recorded::Tick { now_ns } => recorder.tick(*now_ns).unwrap(),
        Recorded::Datagram { arrival_ns, bytes } => recorder.push(*arrival_ns, bytes, -5).unwrap(),
    }
}

fn write(path: &Path, entries: &[Recorded]) {
    let mut recorder = Recorder::create(path, &about()).unwrap();
    entries.iter().for_each(|entry| push(&mut recorder, entry));
    recorder.finish().unwrap();
}

#[test]
fn what_was_written_is_read_in_order() {
    let folder = Folder::new("round");
    let path = folder.file("a.mcap");
    write(&path, &take());
    let mut recording = read(&path).unwrap();
    assert_eq!(*recording.meta(), about());
    assert!(recording.by_ref().eq(take()));
    assert_eq!(recording.losses(), []);
}

#[test]
fn an_empty_recording_and_an_empty_datagram_are_fine() {
    let folder = Folder::new("empty");
    write(&folder.file("none.mcap"), &[]);
    let mut none = read(&folder.file("none.mcap")).unwrap();
    assert_eq!((none.next(), none.losses()), (None, &[][..]));
    let one = [Recorded::Datagram {
        arrival_ns: u64::MAX,
        bytes: Vec::new(),
    }];
    write(&folder.file("one.mcap"), &one);
    assert!(read(&folder.file("one.mcap")).unwrap().eq(one));
}

#[test]
fn an_existing_file_is_not_overwritten() {
    let folder = Folder::new("existing");
    let path = folder.file("a.mcap");
    fs::write(&path, "kept").unwrap();
    assert!(matches!(
        Recorder::create(&path, &about()),
        Err(RecordingError::Create { .. })
    ));
    assert_eq!(fs::read(&path).unwrap(), b"kept");
}

#[test]
fn a_torn_file_gives_a_beginning_and_says_what_is_missing() {
    let folder = Folder::new("torn");
    let path = folder.file("whole.mcap");
    write(&path, &take());
    let whole = fs::read(&path).unwrap();
    let (entries, torn) = (take(), folder.file("torn.mcap"));
    let mut last = 0;
    let mut opened = 0;
    // A prime step visits every region of the file: header, chunks, summary, footer.
    for cut in (0..whole.len()).step_by(997) {
        fs::write(&torn, &whole[..cut]).unwrap();
        let Ok(mut recording) = read(&torn) else {
            continue;
        };
        opened += 1;
        let found: Vec<_> = recording.by_ref().collect();
        assert_eq!(found, entries[..found.len()], "cut at {cut}");
        assert!(
            found.len() >= last,
            "cut at {cut} has less than an earlier cut"
        );
        last = found.len();
        let [loss] = recording.losses() else {
            panic!("cut at {cut}: {:?}", recording.losses())
        };
        assert_eq!(loss.at_byte + loss.bytes, cut as u64);
    }
    assert!(
        opened > 100 && last == entries.len(),
        "{opened} opened, {last} entries at the last cut"
    );
}

#[test]
fn a_crash_costs_a_quarter_of_a_second() {
    let folder = Folder::new("crash");
    let path = folder.file("a.mcap");
    let mut recorder = Recorder::create(&path, &about()).unwrap();
    for (count, entry) in take().iter().enumerate() {
        push(&mut recorder, entry);
        let (Recorded::Datagram {
            arrival_ns: now, ..
        }
        | Recorded::Tick { now_ns: now }) = entry;
        if count % 50 != 0 {
            continue;
        }
        // What is on the disk now is what a crash would leave.
        let (Recorded::Datagram {
            arrival_ns: safe, ..
        }
        | Recorded::Tick { now_ns: safe }) = read(&path)
            .unwrap()
            .last()
            .unwrap_or(Recorded::Tick { now_ns: 0 });
        assert!(now - safe <= 250 * MS, "at {now} the disk has up to {safe}");
    }
    recorder.sync().unwrap();
    assert!(read(&path).unwrap().eq(take()), "all is there after a sync");
}

#[test]
fn a_damaged_chunk_is_left_out_and_told() {
    let folder = Folder::new("damage");
    let path = folder.file("a.mcap");
    write(&path, &take());
    let mut bytes = fs::read(&path).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 0x10;
    fs::write(&path, &bytes).unwrap();
    let mut recording = read(&path).unwrap();
    let found: Vec<_> = recording.by_ref().collect();
    let [loss] = recording.losses() else {
        panic!("{:?}", recording.losses())
    };
    assert!(
        (loss.at_byte..loss.at_byte + loss.bytes).contains(&(middle as u64)),
        "{loss:?}"
    );
    let entries = take();
    let before = found
        .iter()
        .zip(&entries)
        .take_while(|(f, e)| f == e)
        .count();
    let after = found
        .iter()
        .rev()
        .zip(entries.iter().rev())
        .take_while(|(f, e)| f == e)
        .count();
    assert_eq!(before + after, found.len(), "one gap, nothing changed");
    assert!(found.len() < entries.len() && found.len() > entries.len() / 2);
}

#[test]
fn damage_anywhere_neither_panics_nor_invents_an_entry() {
    let folder = Folder::new("flips");
    let path = folder.file("a.mcap");
    let entries = &take()[..400];
    write(&path, entries);
    let whole = fs::read(&path).unwrap();
    for at in (0..whole.len()).step_by(131) {
        let mut bytes = whole.clone();
        bytes[at] ^= 0xff;
        fs::write(&path, &bytes).unwrap();
        let Ok(recording) = read(&path) else { continue };
        let mut left = entries.iter();
        for found in recording {
            assert!(
                left.any(|entry| *entry == found),
                "flip at {at}: {found:?} was never written"
            );
        }
    }
}

/// Writes a file with nothing but this metadata.
fn with_metadata(path: &Path, name: &str, fields: &[(&str, &str)]) {
    let mut writer = mcap::Writer::new(fs::File::create(path).unwrap()).unwrap();
    let metadata = fields
        .iter()
        .map(|(k, v)| ((*k).to_owned(), (*v).to_owned()))
        .collect();
    writer
        .write_metadata(&Metadata {
            name: name.into(),
            metadata,
        })
        .unwrap();
    writer.finish().unwrap();
}

#[test]
fn a_newer_format_is_refused_with_both_numbers() {
    let folder = Folder::new("newer");
    let path = folder.file("a.mcap");
    with_metadata(&path, "whin", &[("whin.format", "7")]);
    let error = read(&path).err().unwrap();
    assert_eq!(error.code(), Code::RecordingVersion);
    let said = error.to_string();
    assert!(
        said.contains("format 7") && said.contains("up to 1"),
        "{said}"
    );
}

#[test]
fn what_is_no_recording_is_refused_by_name() {
    let folder = Folder::new("foreign");
    let path = folder.file("a.mcap");
    let refused = || {
        let error = read(&path).err().unwrap();
        assert!(matches!(error, RecordingError::Malformed { .. }), "{error}");
        error.to_string()
    };
    fs::write(&path, "no container at all").unwrap();
    assert!(refused().contains("a.mcap"));
    with_metadata(&path, "other", &[]);
    assert!(refused().contains("no metadata `whin`"));
    with_metadata(&path, "whin", &[("whin.format", "1"), ("bay", "north")]);
    assert!(refused().contains("no `zone`"));
    let nowhere = read(&folder.file("nowhere.mcap")).err().unwrap();
    assert_eq!(nowhere.code(), Code::FileUnreadable);
}
