use super::Pulse;
use crate::patch::{OnTie, ResetMode, Sequencer};
use crate::time::{Instant, Span};

/// A sequencer at work: what it remembers between edges.
///
/// Edges must come in order of time; [`Machine::reset_first`] says which of two at one instant is to be handed in first.
#[derive(Clone, Debug)]
pub struct Machine<'a> {
    sequencer: &'a Sequencer,
    /// The next clock rise plays step 1.
    armed: bool,
    /// The step that a rise plays if nothing else decides, from 0.
    next: usize,
    /// When the clock input rose last; power-up counts as 0.
    last_rise: Instant,
    /// When step 1 was last played.
    last_one: Option<Instant>,
    /// The clock pulse that came last, and the step it was played as.
    high: Option<(Pulse, usize)>,
    /// The earliest reset that waits for a clock rise (`next-clock`).
    pending: Option<Instant>,
    /// Clock rises up to and at this instant are ignored (`immediate`).
    deaf_until: Option<Instant>,
}

/// A step that was played, a rest included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Play {
    /// The event that caused it. The hit sounds `latency` later.
    pub at: Instant,
    /// The pulse of the clock's output that it belongs to.
    pub pulse: i64,
    /// The step, from 0.
    pub step: usize,
}

impl<'a> Machine<'a> {
    /// A sequencer that has just been switched on.
    #[must_use]
    pub fn new(sequencer: &'a Sequencer) -> Self {
        Self {
            sequencer,
            armed: sequencer.power_up_step == 1,
            next: sequencer.power_up_step - 1,
            last_rise: Instant::START,
            last_one: None,
            high: None,
            pending: None,
            deaf_until: None,
        }
    }

    /// Whether a reset rise is read before a clock rise at the same instant.
    ///
    /// `this-clock` arms and lets the rise play step 1; `immediate` plays and ignores the rise. A `next-clock` box that
    /// needs some time between the two reads the clock first in any case.
    #[must_use]
    pub fn reset_first(&self) -> bool {
        match self.mode() {
            Some(ResetMode::NextClock { setup_time, on_tie }) => {
                *on_tie == OnTie::ResetFirst && *setup_time == Span::ZERO
            }
            _ => true,
        }
    }

    fn mode(&self) -> Option<&'a ResetMode> {
        self.sequencer.reset.as_ref().map(|r| &r.mode)
    }

    /// The clock input rises.
    pub fn clock(&mut self, pulse: Pulse) -> Option<Play> {
        let at = pulse.rise;
        let idle = at - std::mem::replace(&mut self.last_rise, at);
        if self.deaf_until.is_some_and(|until| at <= until) {
            return None;
        }
        if self.sequencer.idle_reset.is_some_and(|limit| idle >= limit) {
            self.armed = true;
        }
        let asked = self.pending.is_some_and(|reset| at - reset >= self.setup_time());
        if asked {
            self.pending = None;
        }
        let step = if self.armed || asked { 0 } else { self.next };
        self.high = Some((pulse, step));
        Some(self.play(at, pulse.number, step))
    }

    /// The reset input rises. `first_pulse` gives the first pulse of the clock meant for the reset's beat or later.
    pub fn reset(&mut self, at: Instant, first_pulse: impl FnOnce() -> i64) -> Option<Play> {
        match self.mode()? {
            ResetMode::Ignored => None,
            ResetMode::NextClock { .. } => {
                // Of several that wait, the earliest is satisfied first, and satisfies all.
                self.pending.get_or_insert(at);
                None
            }
            ResetMode::ThisClock => match self.high {
                Some((pulse, step)) if at < pulse.fall => {
                    if step == 0 {
                        return None;
                    }
                    self.high = Some((pulse, 0));
                    Some(self.play(at, pulse.number, 0))
                }
                _ => {
                    self.armed = true;
                    None
                }
            },
            ResetMode::Immediate { holdoff } => {
                if self.last_one.is_some_and(|one| at - one < *holdoff) {
                    return None;
                }
                self.deaf_until = Some(at + *holdoff);
                Some(self.play(at, first_pulse(), 0))
            }
        }
    }

    fn setup_time(&self) -> Span {
        match self.mode() {
            Some(ResetMode::NextClock { setup_time, .. }) => *setup_time,
            _ => Span::ZERO,
        }
    }

    fn play(&mut self, at: Instant, pulse: i64, step: usize) -> Play {
        self.armed = false;
        self.next = (step + 1) % self.sequencer.steps.len();
        if step == 0 {
            self.last_one = Some(at);
        }
        Play { at, pulse, step }
    }
}
