//! Files that only this user may read: secrets, keys, the archive. Modes and writing; what stands in them is for
//! others.

use std::fs::{self, DirBuilder, File, OpenOptions, Permissions};
use std::io::{self, Write as _};
use std::os::unix::fs::{
    DirBuilderExt as _, MetadataExt as _, OpenOptionsExt as _, PermissionsExt as _,
};
use std::path::Path;

/// What others than the owner may not have.
const OTHERS: u32 = 0o077;
/// Secrets are short; a longer file is something else.
const BYTES_MAX: u64 = 1024 * 1024;

/// From here on new files and folders are for this user only, whatever the shell says.
pub fn by_default() {
    nix::sys::stat::umask(nix::sys::stat::Mode::from_bits_truncate(OTHERS));
}

/// A folder that only this user may enter; one that exists is made so.
///
/// # Errors
/// When it cannot be made or belongs to somebody else.
pub fn folder(dir: &Path) -> io::Result<()> {
    DirBuilder::new().recursive(true).mode(0o700).create(dir)?;
    if fs::metadata(dir)?.mode() & OTHERS != 0 {
        fs::set_permissions(dir, Permissions::from_mode(0o700))?;
    }
    Ok(())
}

/// The text of a secret file.
///
/// # Errors
/// When it cannot be read, is too long, or others may read or write it.
pub fn read(path: &Path) -> io::Result<String> {
    let found = fs::metadata(path)?;
    if found.mode() & OTHERS != 0 {
        let words = format!(
            "other users may read or change it: chmod 600 {}",
            path.display()
        );
        return Err(io::Error::new(io::ErrorKind::PermissionDenied, words));
    }
    if found.len() > BYTES_MAX {
        return Err(io::Error::new(io::ErrorKind::InvalidData, "too long"));
    }
    fs::read_to_string(path)
}

/// Writes a secret file whole: whoever reads it, whenever the power goes, finds the old text or the new one.
///
/// # Errors
/// When the folder cannot be written.
pub fn write(path: &Path, text: &str) -> io::Result<()> {
    let beside = path.with_added_extension("new");
    let mut file = create(&beside, true)?;
    file.write_all(text.as_bytes())?;
    file.sync_all()?;
    fs::rename(&beside, path)?;
    let dir = path.parent().filter(|dir| !dir.as_os_str().is_empty());
    File::open(dir.unwrap_or(Path::new(".")))?.sync_all()
}

/// A new secret file; with `again` one that exists is emptied.
///
/// # Errors
/// When it cannot be made, or exists.
pub fn create(path: &Path, again: bool) -> io::Result<File> {
    let mut how = OpenOptions::new();
    how.write(true).mode(0o600).create_new(!again);
    how.create(again).truncate(again);
    let file = how.open(path)?;
    file.set_permissions(Permissions::from_mode(0o600))?;
    Ok(file)
}

/// A secret file to write behind its end.
///
/// # Errors
/// When it cannot be made or written.
pub fn append(path: &Path) -> io::Result<File> {
    OpenOptions::new()
        .append(true)
        .create(true)
        .mode(0o600)
        .open(path)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn secrets_are_for_this_user_only() {
        let dir = std::env::temp_dir().join(format!("whin-private-{}", std::process::id()));
        fs::create_dir_all(&dir).unwrap();
        fs::set_permissions(&dir, Permissions::from_mode(0o755)).unwrap();
        folder(&dir).unwrap();
        let mode = |path: &Path| fs::metadata(path).unwrap().mode() & 0o777;
        assert_eq!(mode(&dir), 0o700);
        let path = dir.join("a.toml");
        write(&path, "first").unwrap();
        write(&path, "second").unwrap();
        assert_eq!(
            (read(&path).unwrap().as_str(), mode(&path)),
            ("second", 0o600)
        );
        assert!(create(&path, false).is_err(), "never over another");
        fs::set_permissions(&path, Permissions::from_mode(0o640)).unwrap();
        let said = read(&path).unwrap_err().to_string();
        assert!(said.contains("chmod 600"), "{said}");
        fs::remove_dir_all(dir).unwrap();
    }
}
