//! The files of takes, read beside the patch.

use super::{Failure, terminal};
use crate::hits::{MOST_BYTES, ReadError, read, too_large};
use crate::patch::{Recording, Rig, Take, shown};
use crate::show::report::left_out;
use crate::store::{Contents, contents};
use crate::time::Tempo;
use std::io;
use std::path::{Path, PathBuf};

/// Says on stderr what takes leave out where variants are played at tempos, each thing once.
pub(super) fn say_left_out<'a>(played: impl IntoIterator<Item = (&'a Rig, Tempo)>) {
    let mut said: Vec<String> = Vec::new();
    for note in played.into_iter().flat_map(|(rig, tempo)| left_out(rig, tempo)) {
        if !said.contains(&note) {
            terminal::say(&note);
            said.push(note);
        }
    }
}

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
    /// Exit status 3 if a file cannot be read, 2 if it holds no take.
    pub(super) fn fill(&mut self, takes: &mut [Take]) -> Result<(), Failure> {
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

    fn read(&self, take: &Take) -> Result<Recording, Failure> {
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
            Failure::File(format!("error: {what} could not be read: {e}\nhelp: {help}"))
        })?;
        let bad = |e: ReadError| Failure::input(format!("{what}: {e}"), &e.help);
        match bytes {
            Contents::Bytes(bytes) => read(&bytes, take).map_err(bad),
            Contents::TooLarge(length) => Err(bad(too_large(length.unwrap_or(most + 1)))),
        }
    }
}
