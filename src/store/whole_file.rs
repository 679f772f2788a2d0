//! Single files that are named by their user, outside of any folder of renders.

use super::{Lock, StoreError, in_words};
use crate::text::shown;
use std::fs;
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};

/// Why a file could not be written.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// Something has its name, and may not be overwritten.
    #[error("`{}` is there already", named(.0))]
    There(PathBuf),
    /// The system does not let it be written.
    #[error("`{}` could not be written: {}", named(.path), in_words(.cause))]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system says.
        cause: io::Error,
    },
}

fn named(path: &Path) -> String {
    shown(&path.display().to_string())
}

impl WriteError {
    /// What to do, for after `help: `.
    #[must_use]
    pub fn help(&self) -> &'static str {
        let Self::Io { cause, .. } = self else { return "name another file, or write over it with --overwrite" };
        match cause.kind() {
            ErrorKind::StorageFull | ErrorKind::QuotaExceeded => {
                "make room, or name a file on another disk, and run it again"
            }
            ErrorKind::FileTooLarge => {
                "raise the limit on the size of files (`ulimit -f`), or name a file on another disk"
            }
            ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem => {
                "name a file in a folder that you may write into"
            }
            ErrorKind::NotFound | ErrorKind::NotADirectory => "name a file in a folder that is there",
            ErrorKind::IsADirectory => "name a file, not a folder",
            _ => "name another file, best on a disk of this machine",
        }
    }
}

/// The folder that a file lies in.
fn folder(path: &Path) -> &Path {
    path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// Writes a file that appears under its name only when it is whole. With `overwrite`, one that is there is replaced.
///
/// # Errors
/// Where it cannot be written, or something has its name and may not be overwritten.
pub fn write_whole(path: &Path, bytes: &[u8], overwrite: bool) -> Result<(), WriteError> {
    let failed = |cause: io::Error| WriteError::Io { path: path.to_owned(), cause };
    // Opened as any new file, so that it may be read by whom the user lets read.
    let new = |path: &Path| fs::OpenOptions::new().write(true).create_new(true).open(path);
    let mut part = tempfile::Builder::new().make_in(folder(path), new).map_err(failed)?;
    part.write_all(bytes).map_err(failed)?;
    if overwrite && let Ok(there) = fs::metadata(path) {
        // It stays open or closed to whom its user opened or closed it; some disks know nothing of that.
        let _ = part.as_file().set_permissions(there.permissions());
    }
    // On the disk before it has its name: else a power cut could leave the name with nothing in it.
    part.as_file().sync_all().map_err(failed)?;
    let done = if overwrite { part.persist(path) } else { part.persist_noclobber(path) };
    done.map(drop).map_err(|e| match e.error.kind() {
        ErrorKind::AlreadyExists => WriteError::There(path.to_owned()),
        _ => failed(e.error),
    })
}

/// The lock on the folder of a single file. Nobody else needs it there: it goes away with its own file, if that was made for it.
#[derive(Debug)]
pub struct FileLock(Lock);

impl FileLock {
    /// Waits for the lock of the folder that a file lies in.
    ///
    /// # Errors
    /// If the folder cannot be locked.
    pub fn take(file: &Path) -> Result<Self, StoreError> {
        Lock::take(folder(file)).map(Self)
    }
}

impl Drop for FileLock {
    fn drop(&mut self) {
        self.0.withdraw_if_new();
    }
}

/// Where a name leads: through links to the file that is there, or is to be made there.
#[must_use]
pub fn resolved(file: &Path) -> PathBuf {
    /// So many links the usual systems follow; past them, none is followed and the system says why.
    const MOST: usize = 40;
    let mut path = file.to_path_buf();
    for _ in 0..MOST {
        let Ok(to) = fs::read_link(&path) else { return path };
        path = path.parent().unwrap_or(Path::new("")).join(to);
    }
    file.to_path_buf()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(kind: ErrorKind) -> String {
        let error = WriteError::Io { path: "ear.toml".into(), cause: kind.into() };
        format!("{error}; {}", error.help())
    }

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
            assert_eq!(!said(kind).ends_with(missing), elsewhere, "{}", said(kind));
        }
        let wanted = "`ear.toml` could not be written: the disk is full; make room, or name a file on another disk, and run it again";
        assert_eq!(said(ErrorKind::StorageFull), wanted);
    }
}
