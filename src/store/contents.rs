//! Files that are read whole, if they are not too large and ever end.

use std::fs::{File, Metadata};
use std::io::{self, Read};
use std::path::Path;

/// What a file holds, or how much it is if that is too much.
pub enum Contents {
    /// All of it.
    Bytes(Vec<u8>),
    /// More than it may be: so many bytes, or `None` where it does not say.
    TooLarge(Option<u64>),
}

/// Reads a file of at most so many bytes. One that says it is larger is not read at all.
///
/// # Errors
/// If it cannot be read, or is a pipe that somebody has yet to write into.
pub fn contents(path: &Path, most: u64) -> io::Result<Contents> {
    // Asked by its name: to open such a pipe is to wait for whoever writes.
    if waits(path, &std::fs::metadata(path)?) {
        return Err(io::Error::new(io::ErrorKind::InvalidInput, "it is a pipe, which may never be written into"));
    }
    let file = File::open(path)?;
    let length = file.metadata()?.len();
    if length > most {
        return Ok(Contents::TooLarge(Some(length)));
    }
    let mut bytes = Vec::new();
    // Not every file says how long it is.
    file.take(most + 1).read_to_end(&mut bytes)?;
    Ok(if bytes.len() as u64 > most { Contents::TooLarge(None) } else { Contents::Bytes(bytes) })
}

/// Whether it is a pipe with a name of its own. Those below `/dev` are open already: a shell's `<(...)`, or the input.
#[cfg(unix)]
fn waits(path: &Path, about: &Metadata) -> bool {
    use std::os::unix::fs::FileTypeExt;
    about.file_type().is_fifo() && !path.starts_with("/dev")
}

#[cfg(not(unix))]
fn waits(_: &Path, _: &Metadata) -> bool {
    false
}
