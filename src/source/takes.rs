//! The files of takes, read beside the patch.

use super::SourceError;
use crate::hits::{MOST_BYTES, ReadError, read, too_large};
use crate::patch::{Recording, Take, shown};
use crate::store::{Contents, contents};
use std::io;
use std::path::{Path, PathBuf};

/// Reads what the takes of some variants ask for; what two ask for alike is read once.
#[derive(Clone, Debug)]
pub(super) struct Reader {
    /// Where the patch lies: takes are named from there.
    folder: PathBuf,
    known: Vec<Take>,
}

impl Reader {
    /// For the takes of a patch file.
    #[must_use]
    pub(super) fn new(patch: &Path) -> Self {
        Self { folder: patch.parent().map(Path::to_owned).unwrap_or_default(), known: Vec::new() }
    }

    /// Hands takes what their files hold.
    ///
    /// # Errors
    /// If a file cannot be read, or holds no take.
    pub(super) fn fill(&mut self, takes: &mut [Take]) -> Result<(), SourceError> {
        for take in takes {
            take.recording = Recording::default();
            let alike = |known: &&Take| Take { recording: Recording::default(), ..(*known).clone() } == *take;
            take.recording = match self.known.iter().find(alike) {
                Some(known) => known.recording.clone(),
                None => {
                    let recording = self.read(take)?;
                    self.known.push(Take { recording: recording.clone(), ..take.clone() });
                    recording
                }
            };
        }
        Ok(())
    }

    fn read(&self, take: &Take) -> Result<Recording, SourceError> {
        let path = self.folder.join(&take.file);
        let what = format!("the take `{}` (`{}`)", take.name, shown(&path.display().to_string()));
        let most = u64::try_from(MOST_BYTES).unwrap_or(u64::MAX);
        let bytes = contents(&path, most).map_err(|e| {
            let help = match e.kind() {
                io::ErrorKind::NotFound => "look at the spelling: `file` is relative to the patch file",
                io::ErrorKind::PermissionDenied => "this user may not read it: change its permissions, or copy it",
                io::ErrorKind::InvalidInput => "write what comes out of it into a file first, and name that",
                _ => "a take is a file that can be read from start to end",
            };
            SourceError::File(format!("{what} could not be read: {e}\nhelp: {help}"))
        })?;
        let bad = |e: ReadError| SourceError::refused(format!("{what}: {e}"), &e.help);
        match bytes {
            Contents::Bytes(bytes) => read(&bytes, take).map_err(bad),
            Contents::TooLarge(length) => Err(bad(too_large(length.unwrap_or(most + 1)))),
        }
    }
}
