//! A disk that knows which bytes were brought to it: built from a log of system calls (strace with `-f -y
//! -xx`), call by call. The model is the strict one of POSIX: a byte is safe once fsync or fdatasync of its
//! file has returned, if its write had returned before that began; a name once fsync of its folder has.
//! Nothing else survives. What SQLite maps into memory (`-shm`) is made anew from the log by SQLite itself
//! and is left out.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// One file: as the program sees it, and as the disk has it.
#[derive(Debug, Clone, Default)]
struct File {
    seen: Vec<u8>,
    safe: Vec<u8>,
    named: bool,
}

/// The files under a folder.
#[derive(Debug, Clone)]
pub(crate) struct Disk {
    top: PathBuf,
    files: BTreeMap<PathBuf, File>,
    folders: Vec<PathBuf>,
}

impl Disk {
    /// What is there now, all of it safe.
    pub(crate) fn of(top: &Path) -> Self {
        let mut disk = Self {
            top: top.to_owned(),
            files: BTreeMap::new(),
            folders: vec![top.to_owned()],
        };
        let mut next = 0;
        while let Some(folder) = disk.folders.get(next).cloned() {
            next += 1;
            for path in fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()) {
                if path.is_dir() {
                    disk.folders.push(path);
                } else if !is_map(&path) {
                    let bytes = fs::read(&path).unwrap();
                    let file = File {
                        seen: bytes.clone(),
                        safe: bytes,
                        named: true,
                    };
                    disk.files.insert(path, file);
                }
            }
        }
        disk
    }

    /// Writes what is safe into a folder, which is emptied first. `unsound`: as if no recording had ever
    /// been synced, to see that the check finds it.
    pub(crate) fn write(&self, to: &Path, unsound: bool) {
        if to.exists() {
            fs::remove_dir_all(to).unwrap();
        }
        let place = |path: &Path| to.join(path.strip_prefix(&self.top).unwrap());
        self.folders
            .iter()
            .for_each(|f| fs::create_dir_all(place(f)).unwrap());
        for (path, file) in self.files.iter().filter(|(_, f)| f.named) {
            let recording = path.extension().is_some_and(|e| e == "mcap");
            let bytes: &[u8] = if unsound && recording {
                &[]
            } else {
                &file.safe
            };
            fs::write(place(path), bytes).unwrap();
        }
    }

    fn sync(&mut self, path: &Path, seen: Option<Vec<u8>>) {
        if let (Some(file), Some(seen)) = (self.files.get_mut(path), seen) {
            file.safe = seen;
        } else if self.folders.iter().any(|f| f == path) {
            let inside = self
                .files
                .iter_mut()
                .filter(|(p, _)| p.parent() == Some(path));
            inside.for_each(|(_, file)| file.named = true);
        }
    }

    fn put(&mut self, path: &Path, at: usize, bytes: &[u8]) {
        if let Some(file) = self.files.get_mut(path) {
            let end = at + bytes.len();
            file.seen.resize(file.seen.len().max(end), 0);
            file.seen[at..end].copy_from_slice(bytes);
        }
    }
}

fn is_map(path: &Path) -> bool {
    path.to_string_lossy().ends_with("-shm")
}

/// A call of the log: its text from the name on, joined where another thread's came between.
#[derive(Debug)]
struct Call<'a> {
    name: &'a str,
    /// Arguments, with the result behind them once it is known.
    text: String,
}

/// Goes through a log from a disk as it was before; `cut` is called at each swing that a screen is told
/// as archived, with the disk as it is when the telling begins.
pub(crate) fn replay(mut disk: Disk, log: &str, cut: &mut dyn FnMut(&Disk, &str)) {
    let mut open: BTreeMap<&str, Call<'_>> = BTreeMap::new();
    // What a sync that has begun will have made safe when it returns.
    let mut syncing: BTreeMap<&str, Option<Vec<u8>>> = BTreeMap::new();
    let mut places: BTreeMap<u32, usize> = BTreeMap::new();
    for line in log.lines() {
        let Some((thread, rest)) = line.split_once(' ') else {
            continue;
        };
        let rest = rest.trim_start();
        if let Some(resumed) = rest.strip_prefix("<... ") {
            let Some((_, end)) = resumed.split_once(" resumed>") else {
                continue;
            };
            if let Some(mut call) = open.remove(thread) {
                call.text.push_str(end);
                finish(
                    &mut disk,
                    &call,
                    syncing.remove(thread).flatten(),
                    &mut places,
                );
            }
            continue;
        }
        let Some((name, text)) = rest.split_once('(') else {
            continue;
        };
        let (text, whole) = match text.strip_suffix(" <unfinished ...>") {
            Some(text) => (text, false),
            None => (text, true),
        };
        let call = Call {
            name,
            text: text.to_owned(),
        };
        begin(&disk, &call, cut);
        let seen = seen(&disk, &call);
        if whole {
            finish(&mut disk, &call, seen, &mut places);
        } else {
            syncing.insert(thread, seen);
            open.insert(thread, call);
        }
    }
}

/// A telling counts from its beginning.
fn begin(disk: &Disk, call: &Call<'_>, cut: &mut dyn FnMut(&Disk, &str)) {
    if !matches!(call.name, "sendto" | "write" | "writev") || !call.text.contains(r"\x61\x72\x63") {
        return;
    }
    for text in strings(&call.text) {
        let text = String::from_utf8_lossy(&text).into_owned();
        if !text.contains(r#""type":"archived""#) || !text.contains(r#""archived":true"#) {
            continue;
        }
        let after = text.split_once(r#""id":""#).expect("an identifier").1;
        cut(disk, after.split('"').next().unwrap_or_default());
    }
}

fn seen(disk: &Disk, call: &Call<'_>) -> Option<Vec<u8>> {
    let (_, path) = descriptor(&call.text)?;
    let syncs = matches!(call.name, "fsync" | "fdatasync");
    let file = disk.files.get(&path).filter(|_| syncs)?;
    Some(file.seen.clone())
}

fn finish(
    disk: &mut Disk,
    call: &Call<'_>,
    seen: Option<Vec<u8>>,
    places: &mut BTreeMap<u32, usize>,
) {
    let Some((arguments, result)) = call.text.rsplit_once(" = ") else {
        return;
    };
    let (arguments, result) = (arguments.trim_end().trim_end_matches(')'), result.trim());
    if result.starts_with('-') {
        return;
    }
    match call.name {
        "openat" => opened(disk, arguments, result, places),
        "rename" => {
            if let [from, to] = &strings(arguments)[..] {
                let (from, to) = (path(from), path(to));
                if let Some(file) = disk.files.remove(&from) {
                    let file = File {
                        named: false,
                        ..file
                    };
                    disk.files.insert(to, file);
                }
            }
        }
        // A name that is gone may come back after a cut; SQLite's log of a closed store is all there is.
        "unlink" => {}
        _ => {
            let Some((number, path)) = descriptor(arguments) else {
                return;
            };
            let digits = result.split(|c: char| !c.is_ascii_digit()).next();
            let count: usize = digits.unwrap_or_default().parse().unwrap_or(0);
            let place = places.entry(number).or_default();
            match call.name {
                "lseek" => *place = count,
                "write" | "writev" => {
                    let bytes = strings(arguments).concat();
                    let at = *place;
                    *place += count;
                    disk.put(&path, at, &bytes[..count.min(bytes.len())]);
                }
                "pwrite64" => {
                    let at = arguments
                        .rsplit_once(", ")
                        .and_then(|(_, at)| at.parse().ok());
                    let bytes = strings(arguments).concat();
                    disk.put(
                        &path,
                        at.expect("a place"),
                        &bytes[..count.min(bytes.len())],
                    );
                }
                "ftruncate" => {
                    let length = arguments
                        .rsplit_once(", ")
                        .and_then(|(_, l)| l.parse().ok());
                    if let Some(file) = disk.files.get_mut(&path) {
                        file.seen.resize(length.expect("a length"), 0);
                    }
                }
                "fsync" | "fdatasync" => disk.sync(&path, seen),
                _ => {}
            }
        }
    }
}

fn opened(disk: &mut Disk, arguments: &str, result: &str, places: &mut BTreeMap<u32, usize>) {
    let Some((number, path)) = descriptor(result) else {
        return;
    };
    places.insert(number, 0);
    if !path.starts_with(&disk.top) || is_map(&path) || disk.folders.contains(&path) {
        return;
    }
    let writes = arguments.contains("O_CREAT");
    if writes {
        let file = disk.files.entry(path).or_default();
        if arguments.contains("O_TRUNC") {
            file.seen.clear();
        }
    }
}

/// Number and path of `12</path>` at the beginning of a text; paths may be written in hexadecimal.
fn descriptor(text: &str) -> Option<(u32, PathBuf)> {
    let (number, rest) = text.split_once('<')?;
    let (name, _) = rest.split_once('>')?;
    let name = if name.starts_with("\\x") {
        unescaped(name)
    } else {
        name.as_bytes().to_vec()
    };
    Some((number.trim().parse().ok()?, path(&name)))
}

fn path(bytes: &[u8]) -> PathBuf {
    PathBuf::from(String::from_utf8_lossy(bytes).into_owned())
}

/// The quoted strings of a call, which `-xx` writes as `"\x61\x62"`.
fn strings(text: &str) -> Vec<Vec<u8>> {
    let quoted = text.split('"').skip(1).step_by(2);
    quoted.map(unescaped).collect()
}

fn unescaped(text: &str) -> Vec<u8> {
    let bytes = text.split("\\x").skip(1);
    bytes
        .filter_map(|hex| u8::from_str_radix(hex.get(..2)?, 16).ok())
        .collect()
}
