//! What a run made in a folder beside its files, and how it goes away again.

use super::error::StoreError;
use super::lock::Lock;
use super::run::clean_own;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError, TryLockError};
use std::thread::sleep;
use std::time::{Duration, Instant};

/// How long a program that must end waits for its own run to bring the folder in order: files that are getting their names get
/// them, and the manifest says so. That is a wait for the disk or two; a disk that hangs is not waited for.
const WAIT: Duration = Duration::from_secs(5);
const PAUSE: Duration = Duration::from_millis(2);

/// What a run made beside its files: where it places none, all of it goes again.
#[derive(Debug)]
pub(super) struct Traces {
    /// Folders, the outer before the inner.
    folders: Vec<PathBuf>,
    dir: PathBuf,
    /// Whether it made the file that is locked.
    lock: AtomicBool,
    placed: AtomicBool,
    /// What tells this run's files from those of others.
    mark: OnceLock<String>,
    /// Held while the folder is not in order, or while something is made in it.
    gate: Mutex<()>,
}

impl Traces {
    /// Makes the folder.
    pub(super) fn make(dir: &Path) -> Result<Self, StoreError> {
        let mut folders: Vec<PathBuf> =
            dir.ancestors().take_while(|d| !d.as_os_str().is_empty() && !d.exists()).map(Path::to_path_buf).collect();
        folders.reverse();
        fs::create_dir_all(dir).map_err(|e| StoreError::folder(dir, e))?;
        let (lock, placed, mark, gate) =
            (AtomicBool::default(), AtomicBool::default(), OnceLock::new(), Mutex::default());
        Ok(Self { folders, dir: dir.to_path_buf(), lock, placed, mark, gate })
    }

    /// Before anything is made or named in the folder, and until it is done. Past the end of a run ([`Leftovers::remove`]) this
    /// does not come back.
    pub(super) fn enter(&self) -> MutexGuard<'_, ()> {
        self.gate.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The run's own mark in the folder.
    pub(super) fn marked(&self, mark: &str) {
        let _ = self.mark.set(mark.to_owned());
    }

    /// The run made the file that is locked.
    pub(super) fn made_lock(&self) {
        self.lock.store(true, Ordering::Relaxed);
    }

    /// Notes that the run leaves something from now on.
    pub(super) fn keep(&self) {
        self.placed.store(true, Ordering::Relaxed);
    }

    /// What cannot be removed is in use, or another's.
    fn clear(&self) {
        if self.placed.load(Ordering::Relaxed) {
            return;
        }
        let lock = if self.lock.load(Ordering::Relaxed) { Lock::take_now(&self.dir) } else { None };
        lock.into_iter().for_each(Lock::withdraw);
        for folder in self.folders.iter().rev() {
            if fs::remove_dir(folder).is_err() {
                break;
            }
        }
    }
}

impl Drop for Traces {
    fn drop(&mut self) {
        self.clear();
    }
}

/// What a run has unfinished in a folder, for a program that must end while its [`super::Store`] is in other hands.
#[derive(Clone, Debug)]
pub struct Leftovers(pub(super) Arc<Traces>);

impl Leftovers {
    /// Clears it away. What is just getting its name gets it first, if that is a matter of moments. After this whoever wants to
    /// make something in the folder waits, until the program has ended.
    pub fn remove(&self) {
        let traces = &*self.0;
        let since = Instant::now();
        loop {
            match traces.gate.try_lock() {
                Ok(gate) => break std::mem::forget(gate),
                Err(TryLockError::Poisoned(gate)) => break std::mem::forget(gate),
                Err(TryLockError::WouldBlock) if since.elapsed() < WAIT => sleep(PAUSE),
                Err(TryLockError::WouldBlock) => break,
            }
        }
        if let Some(mark) = traces.mark.get() {
            clean_own(&traces.dir, mark);
        }
        traces.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::{Facts, Kind, Store};
    use std::error::Error;
    use std::io::Write;

    fn open(dir: &Path) -> Result<(Store, Leftovers), Box<dyn Error>> {
        let mut seen = None;
        let store = Store::open_watched(dir, false, |leftovers| seen = Some(leftovers))?;
        Ok((store, seen.ok_or("nothing to clear away")?))
    }

    #[test]
    #[cfg(unix)]
    fn of_a_run_that_placed_nothing_nothing_stays() -> Result<(), Box<dyn Error>> {
        let dir = tempfile::tempdir()?;
        let (store, leftovers) = open(&dir.path().join("out/deep"))?;
        let draft = store.begin("a.wav")?;
        draft.file().write_all(b"half")?;
        leftovers.remove();
        assert!(!dir.path().join("out").exists());
        Ok(())
    }

    #[test]
    fn what_has_its_name_stays() -> Result<(), Box<dyn Error>> {
        let dir = tempfile::tempdir()?;
        let (store, leftovers) = open(dir.path())?;
        store.begin("a.wav")?.commit(Facts::silent(Kind::Page, "check", None, 1))?;
        let _half = store.begin("b.wav")?;
        leftovers.remove();
        let mut names: Vec<_> = fs::read_dir(dir.path())?.flatten().map(|e| e.file_name()).collect();
        names.sort();
        assert_eq!(names, [".hitgap-lock", "a.wav", "manifest.json"]);
        Ok(())
    }
}
