//! The files of takes, read beside the patch.

use super::SourceError;
use super::beside::{is_inside, unreadable};
use crate::hits::{MOST_BYTES, ReadError, read, too_large};
use crate::patch::{Recording, Take, shown};
use crate::store::{Contents, contents};
use std::path::{Path, PathBuf};

/// Reads what the takes of some variants ask for; what two ask for alike is read once.
#[derive(Clone, Debug)]
pub(super) struct Reader {
    /// Where the patch lies: takes are named from there.
    folder: PathBuf,
    known: Vec<Take>,
    /// Every file that was asked for, whether it could be read or not.
    tried: Vec<PathBuf>,
    /// Whether files outside of the folder are refused.
    inside: bool,
}

impl Reader {
    /// For the takes of a patch file.
    #[must_use]
    pub(super) fn new(patch: &Path, inside: bool) -> Self {
        let folder = patch.parent().map(Path::to_owned).unwrap_or_default();
        Self { folder, known: Vec::new(), tried: Vec::new(), inside }
    }

    /// Every file that was asked for, whether it could be read or not.
    pub(super) fn tried(&self) -> &[PathBuf] {
        &self.tried
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
                    self.tried.push(self.folder.join(&take.file));
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
        if self.inside && !is_inside(&self.folder, &take.file) {
            let help = "put it below the folder of the patch: nothing else is read here";
            return Err(SourceError::refused(format!("{what} lies outside of the patch's folder"), help));
        }
        let most = u64::try_from(MOST_BYTES).unwrap_or(u64::MAX);
        let bytes = contents(&path, most).map_err(|e| unreadable(&what, &e, "a take"))?;
        let bad = |e: ReadError| SourceError::refused(format!("{what}: {e}"), &e.help);
        match bytes {
            Contents::Bytes(bytes) => read(&bytes, take).map_err(bad),
            Contents::TooLarge(length) => Err(bad(too_large(length.unwrap_or(most + 1)))),
        }
    }
}
