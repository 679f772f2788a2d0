//! The hit list: what sounded, when, and when it was due.

mod csv;
mod csv_read;
mod error;
mod json;
mod midi;
mod number;
mod order;
mod piece;
mod placed;
mod taken;

pub use csv::write_csv;
pub use csv_read::{read_csv, too_large};
pub use error::{FilePlace, ReadError};
pub use json::write_json;
pub use midi::{MidiError, TICKS_PER_BEAT, half_tick, may_mean, midi_tempo, read_midi, tempo_meant, write_midi};
pub use order::{in_order, played_in_order};
pub use piece::recorded;
pub use placed::{FLAM, last_due};
pub use taken::{Taken, taken};

/// The most bytes of a file of hits: 64 MiB.
pub const MOST_BYTES: usize = 64 << 20;
/// The most hits of one file.
pub const MOST_HITS: usize = 1_000_000;

use crate::patch::{Era, Recording, Rig, Take, TakeKind};
use crate::rig::Performance;
use crate::time::{Beat, Instant, Tempo};

/// One sounding of a voice.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hit {
    /// When it sounds, from the clock's start.
    pub at: Instant,
    /// The beat that its pulse is meant for.
    pub beat: Beat,
    /// The beat on which its step was due, nearest to it.
    pub due: Beat,
    /// Who plays it: an index into [`Rig::sequencers`] or, counting on, into [`Rig::takes`].
    pub sequencer: usize,
    /// The step that was played, from 1.
    pub step: usize,
    /// How hard it was struck, from 1 to 127.
    pub velocity: u8,
    /// What the way to the ear adds to its level, in thousandths of a decibel.
    pub level_mdb: i32,
    /// Index into [`Rig::voices`].
    pub voice: usize,
}

/// All hits of a performance, those of takes included, in order of time, then of the sequencer's name, then of step.
#[must_use]
pub fn list(rig: &Rig, performance: &Performance) -> Vec<Hit> {
    in_order(rig, performance).collect()
}

/// The eras of a rig at a tempo, each with the moment at which it begins.
pub(crate) struct Eras<'r> {
    eras: &'r [Era],
    /// In order of time.
    from: Vec<Instant>,
}

impl<'r> Eras<'r> {
    pub(crate) fn new(rig: &'r Rig, tempo: Tempo) -> Self {
        let eras = &rig.course.eras;
        let clockwork = (!eras.is_empty()).then(|| rig.clockwork(tempo));
        let from = clockwork.iter().flat_map(|clockwork| eras.iter().map(|era| clockwork.instant(era.from)));
        Self { eras, from: from.collect() }
    }

    /// The era in which a moment lies; `None` before anything has changed.
    pub(crate) fn at(&self, at: Instant) -> Option<&'r Era> {
        self.from.partition_point(|from| *from <= at).checked_sub(1).map(|last| &self.eras[last])
    }
}

/// Reads a take from the bytes of its file.
///
/// # Errors
/// The first fault of the file, with its place.
pub fn read(bytes: &[u8], take: &Take) -> Result<Recording, ReadError> {
    match take.kind {
        TakeKind::Csv => read_csv(bytes, take),
        TakeKind::Midi => read_midi(bytes, take),
    }
}
