//! A search that goes on where it was stopped.

use super::{Failure, terminal};
use crate::store::{Entries, Ledger, LedgerError, WriteError};
use crate::text::{counted, plain};
use std::path::Path;
use std::sync::{Mutex, PoisonError};

/// What an earlier search judged, and the file that this one adds to.
pub(super) struct Resumed {
    entries: Entries,
    /// The ledger, and why nothing more is added to it.
    ledger: Mutex<(Ledger, Option<WriteError>)>,
}

impl Resumed {
    /// Opens or begins the file for what is asked, and says what is found there.
    ///
    /// # Errors
    /// For a file of anything else, which stays as it is.
    pub(super) fn open(file: &Path, asked: &str) -> Result<Self, Failure> {
        let (ledger, entries, aside) = Ledger::open(file, asked).map_err(|error| match error {
            LedgerError::Write(error) => Failure::from(error),
            other => Failure::File(format!("error: {other}\nhelp: {}", other.help())),
        })?;
        let name = plain(&file.display().to_string());
        if let Some(aside) = aside {
            let aside = plain(&aside.display().to_string());
            terminal::say(&format!(
                "warning: `{name}` was damaged: what is whole of it is used, and it is kept as `{aside}`"
            ));
        }
        if entries.count > 0 {
            let sets = counted(usize::try_from(entries.count).unwrap_or(usize::MAX), "set");
            terminal::say(&format!("going on after {sets} that `{name}` holds"));
        }
        Ok(Self { entries, ledger: Mutex::new((ledger, None)) })
    }

    /// The verdicts that are known.
    pub(super) fn known(&self) -> &[u8] {
        &self.entries.bytes
    }

    /// Adds verdicts; once that cannot be done, no more, since those that follow would not be the next.
    pub(super) fn add(&self, count: usize, bytes: &[u8]) {
        let mut ledger = self.ledger.lock().unwrap_or_else(PoisonError::into_inner);
        if ledger.1.is_none() {
            ledger.1 = ledger.0.add(count, bytes).err();
        }
    }

    /// Says where not all could be kept.
    pub(super) fn told(&self) {
        let ledger = self.ledger.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(error) = &ledger.1 {
            terminal::say(&format!(
                "warning: {error}: a later search goes on from what was kept before\nhelp: {}",
                error.help()
            ));
        }
    }
}
