//! The lock under which a folder's manifest changes, and a listener's ear file.

use super::error::{Act, StoreError};
use std::fs::{self, File, OpenOptions, TryLockError};
use std::path::Path;
use std::thread::sleep;
use std::time::Duration;

/// The file that all runs lock. It stays: were it removed, two runs could each lock a file of that name.
const LOCK: &str = ".hitgap-lock";
/// How long a run waits for the others. A merge takes milliseconds, and a second or two where it must read a large
/// file again; who holds the lock longer is stopped or hangs.
const WAIT: Duration = Duration::from_secs(60);
/// Asked again that often: short beside a merge with its writes to the disk, so that no run starves.
const PAUSE: Duration = Duration::from_millis(2);

/// Holds the folder's lock until it is dropped; the system lets go of it if the program dies.
#[derive(Debug)]
pub struct Lock {
    _file: File,
}

impl Lock {
    /// Takes the lock, and waits for it if need be.
    ///
    /// The file is opened anew each time, so that the lock holds between threads of one program too. It is asked for
    /// again and again: a call that waits could not be given up when its holder hangs.
    ///
    /// # Errors
    ///
    /// When the folder takes no such file, and when another run holds the lock for a minute.
    pub fn take(dir: &Path) -> Result<Self, StoreError> {
        Self::take_within(dir, WAIT)
    }

    fn take_within(dir: &Path, wait: Duration) -> Result<Self, StoreError> {
        let path = dir.join(LOCK);
        let file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(&path)
            .map_err(|e| StoreError::io(Act::Write, &path, e))?;
        let mut waited = Duration::ZERO;
        loop {
            match file.try_lock() {
                Ok(()) => return Ok(Self { _file: file }),
                Err(TryLockError::Error(e)) => return Err(StoreError::io(Act::Lock, &path, e)),
                Err(TryLockError::WouldBlock) if waited >= wait => {
                    return Err(StoreError::Busy { dir: dir.to_path_buf(), seconds: wait.as_secs() });
                }
                Err(TryLockError::WouldBlock) => sleep(PAUSE),
            }
            waited += PAUSE;
        }
    }
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
}
