use super::{Machine, Ones, Play, Timeline, stage::Chain};
use crate::patch::{ResetMode, Rig, Sequencer};
use crate::time::{Instant, LineError};
use std::cmp::Ordering;

/// What one sequencer did.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Track {
    /// Clock pulses that came to its input.
    pub pulses: u64,
    /// Its hits, in the order in which they sounded.
    pub sounds: Vec<Sound>,
    /// Where its counting stood at the end of each stretch between two ones in which it played.
    pub settled: Vec<Settled>,
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
    pub step: u32,
    /// From 1 to 127.
    pub velocity: u8,
}

/// The counting of a sequencer when all has settled after a one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settled {
    /// The number of the one.
    pub one: i64,
    /// How many pulses late step 1 stands; negative is early.
    pub pulses_late: i64,
}

impl Track {
    /// Runs a sequencer to the end of the patch.
    ///
    /// # Errors
    /// With the output's index, if an instant does not fit.
    pub(super) fn play(rig: &Rig, sequencer: &Sequencer, timelines: &[Timeline]) -> Result<Self, (usize, LineError)> {
        let mut machine = Machine::new(sequencer);
        let mut book = Book::new(rig, sequencer, timelines);
        let clock = &timelines[sequencer.clock.output];
        let chain = Chain::new(rig, &sequencer.clock);
        let mut rises = clock.pulses(rig.end).map(|p| chain.pass(p)).peekable();
        let path = sequencer.reset.as_ref().map(|r| &r.path);
        let resets = path.map(|p| (p.output, Chain::new(rig, p)));
        let mut resets = resets
            .into_iter()
            .flat_map(|(o, chain)| timelines[o].pulses(rig.end).map(move |p| (o, chain.pass(p))))
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
                    book.note(machine.reset(pulse.rise, meant));
                }
            } else if let Some(pulse) = rises.next() {
                book.rise(pulse.number);
                book.note(machine.clock(pulse));
            }
        }
        Ok(book.close())
    }
}

/// Writes down what a machine plays.
struct Book<'a> {
    sequencer: &'a Sequencer,
    ones: Ones<'a>,
    track: Track,
    /// Clock rises in the stretch of the last one.
    in_last_stretch: u32,
    first_reset: Option<Instant>,
}

impl<'a> Book<'a> {
    fn new(rig: &Rig, sequencer: &'a Sequencer, timelines: &'a [Timeline]) -> Self {
        let ones = Ones::new(rig, sequencer, timelines);
        Self { sequencer, ones, track: Track::default(), in_last_stretch: 0, first_reset: None }
    }

    fn rise(&mut self, number: i64) {
        self.track.pulses += 1;
        if self.ones.of(number).0 == self.ones.last() {
            self.in_last_stretch = self.in_last_stretch.saturating_add(1);
        }
    }

    fn reset(&mut self, at: Instant) {
        let obeyed = self.sequencer.reset.as_ref().is_some_and(|r| r.mode != ResetMode::Ignored);
        self.first_reset = self.first_reset.or(obeyed.then_some(at));
    }

    fn note(&mut self, play: Option<Play>) {
        let Some(Play { at, pulse, step }) = play else { return };
        if self.track.reset_acted.is_none() && self.first_reset.is_some() {
            self.track.reset_acted = Some(at);
        }
        let (one, pulses_late) = self.ones.offset(pulse, step, self.sequencer.steps.len());
        self.settle(Settled { one, pulses_late });
        if let Some(velocity) = self.sequencer.steps[step].velocity() {
            self.track.sounds.push(Sound {
                at: at + self.sequencer.latency,
                pulse,
                due: pulse - pulses_late,
                step: u32::try_from(step + 1).unwrap_or(u32::MAX),
                velocity,
            });
        }
    }

    /// The last play of a stretch is the one that counts. A reset that runs ahead of a late clock can make stretches
    /// overlap by a pulse or two, hence the look back.
    fn settle(&mut self, new: Settled) {
        match self.track.settled.iter_mut().rev().take_while(|s| s.one >= new.one).find(|s| s.one == new.one) {
            Some(old) => old.pulses_late = new.pulses_late,
            None => {
                let place = self.track.settled.partition_point(|s| s.one < new.one);
                self.track.settled.insert(place, new);
            }
        }
    }

    fn close(mut self) -> Track {
        let settled = &mut self.track.settled;
        let cut_short = settled.last().is_some_and(|s| s.one == self.ones.last()) && self.in_last_stretch < 2;
        if cut_short && settled.len() > 1 {
            settled.pop();
        }
        self.track
    }
}
