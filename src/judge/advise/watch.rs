use std::sync::atomic::{AtomicBool, Ordering};

/// A watch on advice while it is worked out: it may take a while, and somebody may want to stop it.
#[derive(Clone, Copy)]
pub struct Watch<'a> {
    /// Is told how many pulses have been played since it was last told.
    pub progress: &'a (dyn Fn(u64) + Sync),
    /// Once it is set, the work ends with [`AdviseError::Cancelled`](super::AdviseError::Cancelled).
    pub cancel: &'a AtomicBool,
}

static NEVER: AtomicBool = AtomicBool::new(false);

impl Watch<'static> {
    /// A watch of nobody: nothing is told, and nothing stops it.
    #[must_use]
    pub fn nobody() -> Self {
        Self { progress: &|_| {}, cancel: &NEVER }
    }
}

impl Watch<'_> {
    pub(super) fn is_cancelled(&self) -> bool {
        self.cancel.load(Ordering::Relaxed)
    }

    pub(super) fn played(&self, pulses: u64) {
        (self.progress)(pulses);
    }
}

impl std::fmt::Debug for Watch<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Watch").finish_non_exhaustive()
    }
}
