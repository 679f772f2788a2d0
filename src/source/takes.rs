//! The files of takes, read beside the patch.

use super::SourceError;
use crate::hits::{MOST_BYTES, ReadError, read, too_large};
use crate::patch::{Recording, Take, shown};
use crate::store::{Contents, contents};
use std::io;
use std::path::{Component, Path, PathBuf};

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
        if self.inside && !self.is_inside(&take.file) {
            let help = "put it below the folder of the patch: nothing else is read here";
            return Err(SourceError::refused(format!("{what} lies outside of the patch's folder"), help));
        }
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

    /// Whether a file lies below the folder, by its name and by where links lead.
    fn is_inside(&self, file: &str) -> bool {
        let plain = Path::new(file).components().all(|part| matches!(part, Component::Normal(_) | Component::CurDir));
        let folder = if self.folder.as_os_str().is_empty() { Path::new(".") } else { &self.folder };
        // What is not there leads nowhere: that is told when it is read.
        let leads = |folder: PathBuf| match self.folder.join(file).canonicalize() {
            Ok(whole) => whole.starts_with(folder),
            Err(_) => true,
        };
        plain && folder.canonicalize().is_ok_and(leads)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_leads_out_of_the_folder_is_seen() {
        let dir = tempfile::tempdir().expect("a folder");
        let folder = dir.path().join("in");
        std::fs::create_dir_all(folder.join("deep")).expect("folders");
        for file in ["out.csv", "in/a.csv", "in/deep/b.csv"] {
            std::fs::write(dir.path().join(file), "").expect("a file");
        }
        let reader = Reader::new(&folder.join("patch.toml"), true);
        let out = dir.path().join("out.csv").display().to_string();
        for (file, inside) in [
            ("a.csv", true),
            ("./deep/b.csv", true),
            ("none.csv", true),
            ("../out.csv", false),
            ("deep/../../out.csv", false),
            (&out, false),
        ] {
            assert_eq!(reader.is_inside(file), inside, "{file}");
        }
        #[cfg(unix)]
        {
            std::os::unix::fs::symlink(dir.path().join("out.csv"), folder.join("link.csv")).expect("a link");
            assert!(!reader.is_inside("link.csv"));
        }
    }
}
