//! The lock under which a folder's manifest changes, and a listener's ear file.

use super::error::{Act, StoreError};
use super::plain_file::{self, Opened};
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};
use std::thread::sleep;
use std::time::Duration;

/// The file that all runs lock. Where a run has put something beside it, it stays.
const LOCK: &str = ".hitgap-lock";
/// How long a run waits for the others. A merge takes milliseconds, and a second or two where it must read a large
/// file again; who holds the lock longer is stopped or hangs.
const WAIT: Duration = Duration::from_secs(60);
/// Asked again that often: short beside a merge with its writes to the disk, so that no run starves.
const PAUSE: Duration = Duration::from_millis(2);

/// Holds the folder's lock until it is dropped; the system lets go of it if the program dies.
#[derive(Debug)]
pub struct Lock {
    // Closed, and with that unlocked, after a withdrawal has removed it.
    _file: File,
    path: PathBuf,
    made: bool,
}

impl Lock {
    /// Takes the lock, and waits for it if need be.
    ///
    /// The file is opened anew each time, so that the lock holds between threads of one program too. It is asked for
    /// again and again: a call that waits could not be given up when its holder hangs.
    ///
    /// # Errors
    ///
    /// When the folder takes no such file, when what has its name is no plain file or another user's, and when another run
    /// holds the lock for a minute.
    pub fn take(dir: &Path) -> Result<Self, StoreError> {
        Self::take_within(dir, WAIT)
    }

    fn take_within(dir: &Path, wait: Duration) -> Result<Self, StoreError> {
        let path = dir.join(LOCK);
        let mut waited = Duration::ZERO;
        loop {
            if let Some((file, made)) = open(dir, &path)? {
                match file.try_lock() {
                    Ok(()) if stands(&file, &path) => return Ok(Self { _file: file, path, made }),
                    // Who held it has withdrawn it: another of that name is to be made.
                    Ok(()) => {}
                    Err(TryLockError::Error(e)) => return Err(StoreError::io(Act::Lock, &path, e)),
                    Err(TryLockError::WouldBlock) if waited >= wait => {
                        return Err(StoreError::Busy { dir: dir.to_path_buf(), seconds: wait.as_secs() });
                    }
                    Err(TryLockError::WouldBlock) => sleep(PAUSE),
                }
            }
            waited += PAUSE;
        }
    }

    /// Takes the lock if nobody has it.
    pub(super) fn take_now(dir: &Path) -> Option<Self> {
        Self::take_within(dir, Duration::ZERO).ok()
    }

    /// Whether there was no such file before.
    #[must_use]
    pub fn is_new(&self) -> bool {
        self.made
    }

    /// Removes the file, for a run that leaves nothing beside it. Who waits for it finds that it is gone, and makes
    /// another; on systems where that cannot be seen, the file stays.
    pub fn withdraw(self) {
        self.remove();
    }

    /// Removes the file if it was made for this lock, for who cannot let go of it just now. Until it is dropped nobody else has
    /// it.
    pub fn withdraw_if_new(&self) {
        if self.made {
            self.remove();
        }
    }

    fn remove(&self) {
        if cfg!(unix) {
            let _ = fs::remove_file(&self.path);
        }
    }
}

/// The file, and whether it was made; `None` where it was there and is gone again.
///
/// One that is there is opened without leave to make it: in a shared folder some systems refuse that to all but its owner.
fn open(dir: &Path, path: &Path) -> Result<Option<(File, bool)>, StoreError> {
    let fail = |e| StoreError::io(Act::Write, path, e);
    let mut how = OpenOptions::new();
    how.read(true).write(true);
    match how.clone().create_new(true).open(path) {
        Ok(file) => return Ok(Some((file, true))),
        Err(e) if e.kind() == ErrorKind::AlreadyExists => {}
        Err(e) => return Err(fail(e)),
    }
    match plain_file::open(&how, path, false) {
        Ok(Opened::File(file)) => Ok(Some((file, false))),
        Ok(Opened::Odd(what)) => Err(StoreError::OddLock { path: path.to_path_buf(), what }),
        Err(e) if e.kind() == ErrorKind::NotFound => Ok(None),
        Err(e) if e.kind() == ErrorKind::PermissionDenied => Err(StoreError::OthersLock { dir: dir.to_path_buf() }),
        Err(e) => Err(fail(e)),
    }
}

/// Whether the file that is open is the one of that name.
#[cfg(unix)]
fn stands(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let id = |of: io::Result<fs::Metadata>| of.ok().map(|m| (m.dev(), m.ino()));
    let open = id(file.metadata());
    open.is_some() && open == id(fs::symlink_metadata(path))
}

/// Nothing removes it here.
#[cfg(not(unix))]
fn stands(_: &File, _: &Path) -> bool {
    true
}

/// Whether names that differ by case only are one file here: then the lock file answers to capitals too.
pub(super) fn ignores_case(dir: &Path) -> bool {
    fs::symlink_metadata(dir.join(LOCK.to_uppercase())).is_ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_holds_it_and_the_next_waits_or_gives_up() -> Result<(), Box<dyn std::error::Error>> {
        let dir = tempfile::tempdir()?;
        let first = Lock::take(dir.path())?;
        let refused = Lock::take_within(dir.path(), PAUSE);
        assert!(matches!(refused, Err(StoreError::Busy { .. })), "{refused:?}");
        std::thread::scope(|scope| {
            let second = scope.spawn(|| Lock::take(dir.path()).map(drop));
            drop(first);
            assert!(second.join().is_ok_and(|taken| taken.is_ok()));
        });
        Ok(())
    }

    /// Many threads that each take the lock and withdraw the file: never two of them hold it.
    #[cfg(unix)]
    #[test]
    fn a_withdrawn_file_is_nobodys_lock() -> Result<(), Box<dyn std::error::Error>> {
        use std::sync::atomic::{AtomicUsize, Ordering};
        let dir = tempfile::tempdir()?;
        let (inside, most, done) = (AtomicUsize::new(0), AtomicUsize::new(0), AtomicUsize::new(0));
        let work = || {
            for _ in 0..50 {
                let Ok(lock) = Lock::take(dir.path()) else { continue };
                most.fetch_max(inside.fetch_add(1, Ordering::SeqCst) + 1, Ordering::SeqCst);
                std::thread::yield_now();
                inside.fetch_sub(1, Ordering::SeqCst);
                done.fetch_add(1, Ordering::SeqCst);
                lock.withdraw();
            }
        };
        std::thread::scope(|scope| (0..4).for_each(|_| drop(scope.spawn(work))));
        assert_eq!((most.into_inner(), done.into_inner()), (1, 200));
        assert!(fs::read_dir(dir.path())?.next().is_none());
        Ok(())
    }
}
