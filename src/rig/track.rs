use super::book::Book;
use super::chain::Chain;
use super::swayed::Swayed;
use super::{Counting, Machine, Run, Timeline};
use crate::patch::{Rig, Sequencer};
use crate::time::Instant;
use std::cmp::Ordering;

/// What one sequencer did.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Track {
    /// Clock pulses that came to its input.
    pub pulses: u64,
    /// Changes at its inputs that were too short to be seen.
    pub unseen: u64,
    /// Hits that were lost between it and the ear.
    pub lost: u64,
    /// Its hits, in the order in which they sounded.
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
    /// The pulse that it belongs to.
    pub pulse: i64,
    /// The pulse on which its step was due, nearest to it; it may be negative.
    pub due: i64,
    /// The step, from 1.
    pub step: u16,
    /// From 1 to 127.
    pub velocity: u8,
    /// What the way to the ear adds to its level, in thousandths of a decibel.
    pub level_mdb: i32,
}

/// The counting of a sequencer when all has settled after a one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settled {
    /// The number of the one.
    pub one: i64,
    /// How many pulses late step 1 stands; negative is early.
    pub pulses_late: i64,
}

/// From this pulse on, a sequencer's counting stood so.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Move {
    /// When.
    pub at: Instant,
    /// The number of the pulse.
    pub pulse: i64,
    /// How many pulses late step 1 stands; negative is early.
    pub pulses_late: i64,
}

impl Track {
    /// Runs a sequencer that hangs on the clock by plain delays to the end of the patch: two lazy streams of pulses,
    /// merged. What needs more is run by the [`circuit`](super::circuit), which says the same of these.
    pub(super) fn play(
        rig: &Rig,
        sequencer: &Sequencer,
        timelines: &[Timeline],
        counting: &Counting,
        run: Run,
    ) -> Self {
        let mut machine = Machine::new(sequencer);
        let mut book = Book::new(rig, sequencer, timelines, counting);
        let clock = &timelines[rig.origin(&sequencer.clock)];
        let chain = Chain::new(rig, &sequencer.clock);
        let mut rises = Swayed::new(clock.pulses(rig.end), rig, run, false).map(|p| chain.pass(p)).peekable();
        let path = sequencer.reset.as_ref().map(|r| &r.path);
        let resets = path.map(|p| (rig.origin(p), Chain::new(rig, p)));
        let mut resets = resets
            .into_iter()
            .flat_map(|(o, chain)| {
                Swayed::new(timelines[o].pulses(rig.end), rig, run, false).map(move |p| (o, chain.pass(p)))
            })
            .peekable();
        loop {
            let reset_is_next = match (rises.peek(), resets.peek()) {
                (None, None) => break,
                (Some(_), None) => false,
                (None, Some(_)) => true,
                (Some(c), Some((_, r))) => match r.rise.cmp(&c.rise) {
                    Ordering::Less => true,
                    Ordering::Equal => machine.reset_first(),
                    Ordering::Greater => false,
                },
            };
            if reset_is_next {
                if let Some((output, pulse)) = resets.next() {
                    book.reset(pulse.rise);
                    let meant = || clock.first_from(timelines[output].meant(pulse.number));
                    book.note_of_reset(machine.reset(pulse.rise, meant));
                }
            } else if let Some(pulse) = rises.next() {
                book.rise(pulse.number);
                book.note(machine.clock(pulse));
            }
        }
        book.close()
    }
}
