//! One long question at a time: who is gone, or asks another, is not worked for any more.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

/// The question that is worked at.
#[derive(Debug, Default)]
pub(super) struct Asking {
    last: Mutex<Option<Arc<AtomicBool>>>,
    count: Arc<Count>,
}

/// How many are worked at, one that was called off until it looks; and how many were called off.
#[derive(Debug, Default)]
struct Count {
    at_work: AtomicUsize,
    called_off: AtomicUsize,
}

/// Somebody who waits for an answer: where that ends, so does the work.
#[derive(Debug)]
pub(super) struct Waits(Arc<AtomicBool>);

/// Work at a question.
#[derive(Debug)]
pub(super) struct AtWork {
    /// Set as soon as nobody waits for it.
    pub(super) cancel: Arc<AtomicBool>,
    count: Arc<Count>,
}

impl Asking {
    /// A question more; the one before is called off. Whoever waits holds the first, and whoever works the second.
    pub(super) fn begin(&self) -> (Waits, AtWork) {
        let cancel = Arc::<AtomicBool>::default();
        let before = self.last.lock().unwrap_or_else(PoisonError::into_inner).replace(Arc::clone(&cancel));
        before.into_iter().for_each(|before| before.store(true, Ordering::Relaxed));
        self.count.at_work.fetch_add(1, Ordering::Relaxed);
        (Waits(Arc::clone(&cancel)), AtWork { cancel, count: Arc::clone(&self.count) })
    }

    #[cfg(test)]
    pub(super) fn counts(&self) -> [usize; 2] {
        [&self.count.at_work, &self.count.called_off].map(|count| count.load(Ordering::Relaxed))
    }
}

impl Drop for Waits {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

impl Drop for AtWork {
    fn drop(&mut self) {
        self.count.called_off.fetch_add(usize::from(self.cancel.load(Ordering::Relaxed)), Ordering::Relaxed);
        self.count.at_work.fetch_sub(1, Ordering::Relaxed);
    }
}
