//! What a run made in a folder beside its files, and how it goes away again.

use super::error::StoreError;
use super::lock::Lock;
use super::run::clean_own;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// How long a run that is about to end waits for the folder's lock: so long that a file that is getting its name gets into
/// the manifest too, so short that nobody thinks the program deaf.
const WAIT: Duration = Duration::from_millis(500);

/// What a run made beside its files: where it places none, all of it goes again.
#[derive(Debug)]
pub(super) struct Traces {
    /// Folders, the outer before the inner.
    folders: Vec<PathBuf>,
    dir: PathBuf,
    pub(super) lock: bool,
    placed: AtomicBool,
}

impl Traces {
    /// Makes the folder.
    pub(super) fn make(dir: &Path) -> Result<Self, StoreError> {
        let mut folders: Vec<PathBuf> =
            dir.ancestors().take_while(|d| !d.as_os_str().is_empty() && !d.exists()).map(Path::to_path_buf).collect();
        folders.reverse();
        fs::create_dir_all(dir).map_err(|e| StoreError::folder(dir, e))?;
        Ok(Self { folders, dir: dir.to_path_buf(), lock: false, placed: AtomicBool::new(false) })
    }

    /// From now on the run leaves something.
    pub(super) fn keep(&self) {
        self.placed.store(true, Ordering::Relaxed);
    }

    /// What cannot be removed is in use, or another's.
    fn clear(&self, lock: impl FnOnce() -> Option<Lock>) {
        if self.placed.load(Ordering::Relaxed) {
            return;
        }
        if self.lock {
            lock().into_iter().for_each(Lock::withdraw);
        }
        for folder in self.folders.iter().rev() {
            if fs::remove_dir(folder).is_err() {
                break;
            }
        }
    }
}

impl Drop for Traces {
    fn drop(&mut self) {
        self.clear(|| Lock::take_now(&self.dir));
    }
}

/// What a run has unfinished in a folder, for a program that must end while its [`super::Store`] is in other hands.
#[derive(Clone, Debug)]
pub struct Leftovers {
    traces: Arc<Traces>,
    mark: String,
}

impl Leftovers {
    pub(super) fn new(traces: Arc<Traces>, mark: String) -> Self {
        Self { traces, mark }
    }

    /// Clears it away. What is just getting its name gets it first, if that is a matter of moments; after this the run must do
    /// no more in the folder.
    pub fn remove(&self) {
        let lock = Lock::take_within(&self.traces.dir, WAIT).ok();
        clean_own(&self.traces.dir, &self.mark);
        self.traces.clear(|| lock);
    }
}
