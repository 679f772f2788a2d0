//! The threads that share the work.

use rayon::{ThreadPool, ThreadPoolBuilder};

/// Sees to the threads before anything asks for them: where the system gives none, this thread does all the work. What is
/// handed back must be kept until the program ends.
pub(super) fn ready() -> Option<ThreadPool> {
    if ThreadPoolBuilder::new().build_global().is_ok() {
        return None;
    }
    ThreadPoolBuilder::new().num_threads(1).use_current_thread().build().ok()
}
