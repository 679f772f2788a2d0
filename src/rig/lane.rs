//! A sequencer that hangs on the clock by plain delays, played between two streams of pulses.

use super::chain::Chain;
use super::jittered::Swayed;
use super::recorder::Recorder;
use super::{Counting, Machine, Pulse, Pulses, Run, Sound, Timeline, Track, Wire};
use crate::patch::{Path, Rig, Sequencer};
use std::cmp::Ordering;
use std::iter::Peekable;

impl Track {
    /// Runs a sequencer that hangs on the clock by plain delays to the end of the patch. What needs more is run by the
    /// [`circuit`](super::circuit), which says the same of these.
    pub(super) fn play(
        rig: &Rig,
        sequencer: &Sequencer,
        timelines: &[Timeline],
        counting: &Counting,
        run: Run,
    ) -> Self {
        let mut lane = Lane::new(rig, sequencer, timelines, counting, run);
        while lane.goes_on() {}
        lane.book.close()
    }

    /// The sounds of a sequencer that hangs on the clock by plain delays, one after the other, in order of time and then of step: nothing of them is kept.
    pub(super) fn sounds<'a>(
        rig: &'a Rig,
        sequencer: &'a Sequencer,
        timelines: &'a [Timeline],
        counting: &'a Counting,
        run: Run,
    ) -> impl Iterator<Item = Sound> + 'a {
        let mut lane = Lane::new(rig, sequencer, timelines, counting, run);
        lane.book.only_sounds();
        let mut held: Vec<Sound> = Vec::new();
        std::iter::from_fn(move || {
            // A reset can play step 1 at the instant at which the clock has played another: all of an instant are awaited.
            let at = |sound: Option<&Sound>| sound.map(|s| s.at);
            while at(held.first()) == at(held.last()) && lane.goes_on() {
                lane.book.hand_over(&mut held);
            }
            let now = held.iter().enumerate().take_while(|(_, s)| s.at == held[0].at);
            let (next, _) = now.min_by_key(|(_, s)| s.step)?;
            Some(held.remove(next))
        })
    }
}

/// The pulses of a path as they come to its end.
type Arriving<'a> = Peekable<Passed<Wire<Swayed<Wire<Pulses<'a>>>>>>;

/// Pulses behind plain delays.
struct Passed<I> {
    pulses: I,
    chain: Chain,
}

impl<I: Iterator<Item = Pulse>> Iterator for Passed<I> {
    type Item = Pulse;

    fn next(&mut self) -> Option<Pulse> {
        Some(self.chain.pass(self.pulses.next()?))
    }
}

/// A sequencer between two streams of pulses, in order of time.
struct Lane<'a> {
    machine: Machine<'a>,
    book: Recorder<'a>,
    clock: &'a Timeline,
    rises: Arriving<'a>,
    /// The output from which resets stem, and what comes of it.
    resets: Option<(&'a Timeline, Arriving<'a>)>,
}

impl<'a> Lane<'a> {
    fn new(
        rig: &'a Rig,
        sequencer: &'a Sequencer,
        timelines: &'a [Timeline],
        counting: &'a Counting,
        run: Run,
    ) -> Self {
        let arriving = |path: &Path| {
            let timeline = &timelines[rig.origin(path)];
            let pulses = Swayed::new(timeline.pulses(rig.end), rig, run, false);
            (timeline, Passed { pulses, chain: Chain::new(rig, path) }.peekable())
        };
        let (clock, rises) = arriving(&sequencer.clock);
        Self {
            machine: Machine::new(sequencer),
            book: Recorder::new(rig, sequencer, timelines, counting),
            clock,
            rises,
            resets: sequencer.reset.as_ref().map(|r| arriving(&r.path)),
        }
    }

    /// Hands the next pulse to the machine; `false` where there is none.
    fn goes_on(&mut self) -> bool {
        let Self { machine, book, clock, rises, resets } = self;
        let reset = resets.as_mut().and_then(|(from, resets)| {
            let reset = resets.peek()?;
            let is_next = rises.peek().is_none_or(|rise| match reset.rise.cmp(&rise.rise) {
                Ordering::Less => true,
                Ordering::Equal => machine.reset_first(),
                Ordering::Greater => false,
            });
            if is_next { Some((*from, resets.next()?)) } else { None }
        });
        if let Some((from, pulse)) = reset {
            book.reset(pulse.rise);
            let meant = || clock.first_from(from.meant(pulse.number));
            book.note_of_reset(machine.reset(pulse.rise, meant));
            return true;
        }
        let Some(pulse) = rises.next() else { return false };
        book.rise(pulse.number);
        book.note(machine.clock(pulse));
        true
    }
}
