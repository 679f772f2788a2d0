//! Files that are opened as plain files, or not at all: no link is followed, no pipe or device is waited for.

use std::fs::{File, OpenOptions};
use std::io::{self, ErrorKind};
use std::path::Path;

/// What stands where a plain file belongs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Odd {
    /// A link, where none is followed.
    Link,
    /// A pipe, a device, a socket.
    Special,
}

impl std::fmt::Display for Odd {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Link => "a link",
            Self::Special => "a pipe or a device",
        })
    }
}

/// What lies where a plain file was looked for.
#[derive(Debug)]
pub(super) enum Opened {
    /// A plain file, open.
    File(File),
    /// Something else: it was not touched.
    Odd(Odd),
}

/// Opens what is there without waiting for anybody; with `follow`, through links. Folders are left to the system's own words.
///
/// # Errors
/// What the system says.
pub(super) fn open(how: &OpenOptions, path: &Path, follow: bool) -> io::Result<Opened> {
    let mut how = how.clone();
    let file = match at_once(&mut how, follow).open(path) {
        Ok(file) => file,
        Err(e) if !follow && is_link(path) => {
            // A link that comes and goes is somebody's game: what the system said stands.
            return if e.kind() == ErrorKind::AlreadyExists { Err(e) } else { Ok(Opened::Odd(Odd::Link)) };
        }
        // A socket, or a pipe that nobody reads: neither can be opened so.
        Err(_) if is_special(path) => return Ok(Opened::Odd(Odd::Special)),
        Err(e) => return Err(e),
    };
    // Asked of what is open, not of the name: that may lead elsewhere by now.
    let about = file.metadata()?;
    Ok(if about.is_file() || about.is_dir() { Opened::File(file) } else { Opened::Odd(Odd::Special) })
}

fn is_link(path: &Path) -> bool {
    std::fs::symlink_metadata(path).is_ok_and(|about| about.is_symlink())
}

fn is_special(path: &Path) -> bool {
    std::fs::metadata(path).is_ok_and(|about| !about.is_file() && !about.is_dir())
}

/// To open a pipe is to wait for whoever is at its other end, unless one says otherwise.
#[cfg(unix)]
fn at_once(how: &mut OpenOptions, follow: bool) -> &mut OpenOptions {
    use std::os::unix::fs::OpenOptionsExt;
    how.custom_flags(libc::O_NONBLOCK | if follow { 0 } else { libc::O_NOFOLLOW })
}

#[cfg(not(unix))]
fn at_once(how: &mut OpenOptions, _: bool) -> &mut OpenOptions {
    how
}
