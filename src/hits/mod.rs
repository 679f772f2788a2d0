//! The hit list: what sounded, when, and when it was due.

mod csv;

pub use csv::{decimal, write_csv};

use crate::patch::Rig;
use crate::rig::Performance;
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
    /// Index into [`Rig::sequencers`].
    pub sequencer: usize,
    /// The step that was played, from 1.
    pub step: usize,
    /// From 1 to 127.
    pub velocity: u8,
    /// What the way to the ear adds to its level, in thousandths of a decibel.
    pub level_mdb: i32,
}

/// All hits of a performance, in order of time, then of the sequencer's name, then of step.
#[must_use]
pub fn list(rig: &Rig, performance: &Performance) -> Vec<Hit> {
    let mut hits: Vec<Hit> = Vec::with_capacity(performance.tracks.iter().map(|t| t.sounds.len()).sum());
    for (sequencer, track) in performance.tracks.iter().enumerate() {
        let counting = &performance.countings[sequencer];
        let clock = &performance.timelines[rig.origin(&rig.sequencers[sequencer].clock)];
        hits.extend(track.sounds.iter().map(|s| Hit {
            at: s.at,
            beat: counting.meant(clock, s.pulse),
            due: counting.meant(clock, s.due),
            sequencer,
            step: s.step as usize,
            velocity: s.velocity,
            level_mdb: s.level_mdb,
        }));
    }
    let name = |h: &Hit| rig.sequencers[h.sequencer].name.as_str();
    hits.sort_by(|a, b| (a.at, name(a), a.step).cmp(&(b.at, name(b), b.step)));
    hits
}
