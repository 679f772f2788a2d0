use crate::time::Instant;

/// The record of one sequencer in a performance: what it played and where its counting stood.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Track {
    /// Clock pulses that came to its input.
    pub pulses: u64,
    /// Changes at its inputs that were too short to be seen.
    pub unseen: u64,
    /// Hits that were lost between it and the ear.
    pub lost: u64,
    /// All that it played, in the order in which it sounded.
    pub sounds: Vec<Sound>,
    /// Where its counting stood at the end of each stretch between two ones in which it played.
    pub settled: Vec<Settled>,
    /// Where its counting moved against the one, from pulse to pulse, transients at a reset included.
    pub moves: Vec<Move>,
    /// When it first played something after its reset input had first risen, that rise included; `None` where no reset
    /// came, or none is obeyed.
    pub reset_acted: Option<Instant>,
}

/// One hit, with beats still as pulse numbers of the sequencer's own clock output.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sound {
    /// When it sounds, latency included.
    pub at: Instant,
    /// The number of the clock pulse that it belongs to.
    pub pulse: i64,
    /// The pulse on which its step was due, nearest to it; it may be negative.
    pub due: i64,
    /// Which step of the pattern it is, from 1.
    pub step: u16,
    /// How hard it is struck, from 1 to 127.
    pub velocity: u8,
    /// What the way to the ear adds to its level, in thousandths of a decibel.
    pub level_mdb: i32,
}

/// The counting of a sequencer when all has settled after a one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settled {
    /// Which of the ones it was, from 0.
    pub one: i64,
    /// How many pulses late step 1 stands; negative is early.
    pub pulses_late: i64,
}

/// A move of a sequencer's counting against the one: from this pulse on it stood so.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Move {
    /// The instant from which on this holds.
    pub at: Instant,
    /// The number of the clock pulse at which it moved.
    pub pulse: i64,
    /// How many pulses late step 1 stands; negative is early.
    pub pulses_late: i64,
}
