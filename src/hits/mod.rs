//! The hit list: what sounded, when, and when it was due.

use crate::time::{Beat, Instant};

/// One sounding of a voice.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hit {
    /// When it sounds, from the clock's start.
    pub at: Instant,
    /// The beat that its pulse is meant for.
    pub beat: Beat,
    /// The beat on which its step was due, nearest to it.
    pub due: Beat,
    /// Index into [`Rig::sequencers`](crate::patch::Rig::sequencers).
    pub sequencer: usize,
    /// The step that was played, from 1.
    pub step: usize,
    /// From 1 to 127.
    pub velocity: u8,
}
