//! Who is told what is made, while it is made.

use crate::store::interrupt;
use std::sync::atomic::AtomicBool;

/// Shows how far the work is, and says what comes of it. Asked from any thread.
pub trait Progress: Send + Sync {
    /// So many frames lie ahead; each is counted once when it is measured and once when it is written.
    fn expect(&self, frames: u64);
    /// So many more are done.
    fn advance(&self, frames: u64);
    /// What is being made: a file's name.
    fn at(&self, name: &str);
    /// A file was written; its path is fit to be shown.
    fn wrote(&self, path: &str);
    /// A sentence for people.
    fn say(&self, text: &str);
    /// All is made.
    fn done(&self);
    /// Set where the work is to be stopped: where the program is asked to end, unless this work can be stopped alone.
    fn stop(&self) -> &AtomicBool {
        interrupt::flag()
    }
}

/// Nobody is told.
#[derive(Clone, Copy, Debug)]
pub struct Silent;

impl Progress for Silent {
    fn expect(&self, _: u64) {}
    fn advance(&self, _: u64) {}
    fn at(&self, _: &str) {}
    fn wrote(&self, _: &str) {}
    fn say(&self, _: &str) {}
    fn done(&self) {}
}
