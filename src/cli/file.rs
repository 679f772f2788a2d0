//! Single files that are named by their user, outside of any folder of renders.

use super::{Failure, interrupt};
use crate::patch::shown;
use crate::store::in_words;
use std::fs;
use std::io::{self, ErrorKind, Write};
use std::path::Path;

/// Writes a file that appears under its name only when it is whole.
///
/// # Errors
/// Exit status 3: where it cannot be written, or something has its name and may not be overwritten.
pub(super) fn write(path: &Path, bytes: &[u8], overwrite: bool) -> Result<(), Failure> {
    let failed = |e: io::Error| failed(path, &e);
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let _at_work = interrupt::at_work();
    // Opened as any new file, so that it may be read by whom the user lets read.
    let new = |path: &Path| fs::OpenOptions::new().write(true).create_new(true).open(path);
    let mut part = tempfile::Builder::new().make_in(folder, new).map_err(failed)?;
    part.write_all(bytes).map_err(failed)?;
    if overwrite && let Ok(there) = fs::metadata(path) {
        // It stays open or closed to whom its user opened or closed it; some disks know nothing of that.
        let _ = part.as_file().set_permissions(there.permissions());
    }
    // On the disk before it has its name: else a power cut could leave the name with nothing in it.
    part.as_file().sync_all().map_err(failed)?;
    let done = if overwrite { part.persist(path) } else { part.persist_noclobber(path) };
    done.map(drop).map_err(|e| match e.error.kind() {
        ErrorKind::AlreadyExists => {
            let help = "name another file, or write over it with --overwrite";
            Failure::File(format!("error: `{}` is there already\nhelp: {help}", shown(&path.display().to_string())))
        }
        _ => failed(e.error),
    })
}

/// The name of a file without its folder and its ending, after which other files are called.
///
/// # Errors
/// Exit status 2 where it has none, or one that no text can hold: two such could become one name.
pub(super) fn stem(path: &Path) -> Result<String, Failure> {
    let shown = || shown(&path.display().to_string());
    let Some(stem) = path.file_stem() else {
        return Err(Failure::input(format!("`{}` has no file name", shown()), "name a file"));
    };
    let stem = stem.to_string_lossy();
    // What is no Unicode has become this sign, here or before.
    if stem.contains('\u{fffd}') {
        let found = format!("the name of `{}` is not all Unicode, and files are called after it", shown());
        return Err(Failure::input(found, "rename it: two such names could become one"));
    }
    Ok(stem.into_owned())
}

/// What is said of a file that the system does not let be written.
pub(super) fn failed(path: &Path, cause: &io::Error) -> Failure {
    let help = match cause.kind() {
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded => {
            "make room, or name a file on another disk, and run it again"
        }
        ErrorKind::FileTooLarge => "raise the limit on the size of files (`ulimit -f`), or name a file on another disk",
        ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem => {
            "name a file in a folder that you may write into"
        }
        ErrorKind::NotFound | ErrorKind::NotADirectory => "name a file in a folder that is there",
        ErrorKind::IsADirectory => "name a file, not a folder",
        _ => "name another file, best on a disk of this machine",
    };
    let name = shown(&path.display().to_string());
    Failure::File(format!("error: `{name}` could not be written: {}\nhelp: {help}", in_words(cause)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_who_named_no_folder_is_sent_to_one() {
        let missing = "name a file in a folder that is there";
        for (kind, elsewhere) in [
            (ErrorKind::NotFound, false),
            (ErrorKind::NotADirectory, false),
            (ErrorKind::StorageFull, true),
            (ErrorKind::QuotaExceeded, true),
            (ErrorKind::FileTooLarge, true),
            (ErrorKind::PermissionDenied, true),
            (ErrorKind::ReadOnlyFilesystem, true),
            (ErrorKind::Other, true),
        ] {
            let text = failed(Path::new("ear.toml"), &kind.into()).to_string();
            assert_eq!(!text.ends_with(missing), elsewhere, "{text}");
        }
        let full = failed(Path::new("ear.toml"), &ErrorKind::StorageFull.into()).to_string();
        let wanted = "error: `ear.toml` could not be written: the disk is full\nhelp: make room, or name a file on another disk, and run it again";
        assert_eq!(full, wanted);
    }
}
