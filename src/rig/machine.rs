use super::Pulse;
use crate::patch::{OnTie, ResetMode, Sequencer};
use crate::time::{Instant, Span};

/// A sequencer at work: what it remembers between edges.
///
/// Edges must come in order of time. Of those at one instant, falls come first; then [`Machine::reset_first`] says
/// which of two rises is to be handed in first.
#[derive(Clone, Debug)]
pub struct Machine<'a> {
    sequencer: &'a Sequencer,
    /// The next clock rise plays step 1.
    armed: bool,
    /// The step that a rise plays if nothing else decides, from 0.
    next: usize,
    /// How many pulses of the step under way have come; 0: the next one begins a step.
    count: u32,
    /// When the clock input rose last; power-up counts as 0.
    last_rise: Instant,
    /// When step 1 was last played.
    last_one: Option<Instant>,
    /// The clock pulse that came last, and whether it has been played as step 1.
    high: Option<(Pulse, bool)>,
    /// The earliest reset that waits for a clock rise (`next-clock`).
    pending: Option<Instant>,
    /// Clock rises up to and at this instant are ignored (`immediate`).
    deaf_until: Option<Instant>,
    /// Since when the reset input is high.
    reset_high: Option<Instant>,
}

/// A step that was played, a rest included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Play {
    /// The event that caused it. The hit sounds `latency` later.
    pub at: Instant,
    /// The pulse of the clock's output that it belongs to.
    pub pulse: i64,
    /// Which step of the pattern is played, from 0.
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
            count: 0,
            last_rise: Instant::START,
            last_one: None,
            high: None,
            pending: None,
            deaf_until: None,
            reset_high: None,
        }
    }

    /// Whether a reset rise is read before a clock rise at the same instant.
    ///
    /// `this-clock` arms and lets the rise play step 1; `immediate` and `held` play and ignore the rise; `sampled` sees
    /// the reset high. A `next-clock` box that needs some time between the two reads the clock first in any case.
    #[must_use]
    pub fn reset_first(&self) -> bool {
        match self.mode() {
            Some(ResetMode::NextClock { setup_time, on_tie }) => {
                *on_tie == OnTie::ResetFirst && *setup_time == Span::ZERO
            }
            _ => true,
        }
    }

    /// Sets the machine anew: what it counts goes on from where it stands, taken round in a shorter pattern; a reset that waits
    /// goes on waiting, where the new mode lets one wait. `levels` says of its inputs, clock and reset, which read another
    /// level from here on because they read another edge.
    pub fn refit(&mut self, sequencer: &'a Sequencer, at: Instant, levels: [Option<bool>; 2]) {
        self.sequencer = sequencer;
        self.next %= sequencer.steps.len();
        self.count %= sequencer.pulses_per_step;
        let waits = matches!(self.mode(), Some(ResetMode::NextClock { .. }));
        self.pending = self.pending.filter(|_| waits);
        let [clock, reset] = levels;
        if clock == Some(false) {
            self.clock_falls(at);
        }
        match reset {
            Some(true) => self.reset_high = Some(at),
            Some(false) => self.reset_high = None,
            None => {}
        }
    }

    fn mode(&self) -> Option<&'a ResetMode> {
        self.sequencer.reset.as_ref().map(|r| &r.mode)
    }

    /// The clock input rises. Where the fall is not known yet, it is at the end of time, and [`Machine::clock_falls`]
    /// says so later.
    pub fn clock(&mut self, pulse: Pulse) -> Option<Play> {
        let at = pulse.rise;
        let idle = at - std::mem::replace(&mut self.last_rise, at);
        let held = matches!(self.mode(), Some(ResetMode::Held)) && self.reset_high.is_some();
        if held || self.deaf_until.is_some_and(|until| at <= until) {
            return None;
        }
        if self.sequencer.idle_reset.is_some_and(|limit| idle >= limit) {
            self.armed = true;
        }
        let asked = match self.mode() {
            Some(ResetMode::NextClock { setup_time, .. }) => {
                let asked = self.pending.is_some_and(|reset| at - reset >= *setup_time);
                self.pending = self.pending.filter(|_| !asked);
                asked
            }
            Some(ResetMode::Sampled { setup_time }) => self.reset_high.is_some_and(|since| at - since >= *setup_time),
            _ => false,
        };
        if self.armed || asked {
            self.high = Some((pulse, true));
            // Whether or not the count begins anew, this pulse is part of it.
            self.count = (self.count + 1) % self.sequencer.pulses_per_step;
            return Some(self.one(at, pulse.number));
        }
        let begins = self.count == 0;
        self.count = (self.count + 1) % self.sequencer.pulses_per_step;
        if !begins {
            self.high = Some((pulse, false));
            return None;
        }
        let step = self.next;
        self.high = Some((pulse, step == 0));
        Some(self.play(at, pulse.number, step))
    }

    /// Takes note that the clock input falls.
    pub fn clock_falls(&mut self, at: Instant) {
        if let Some((pulse, _)) = &mut self.high {
            pulse.fall = pulse.fall.min(at);
        }
    }

    /// The reset input rises. `first_pulse` gives the first pulse of the clock meant for the reset's beat or later.
    pub fn reset(&mut self, at: Instant, first_pulse: impl FnOnce() -> i64) -> Option<Play> {
        self.reset_high = Some(at);
        match self.mode()? {
            ResetMode::Ignored | ResetMode::Sampled { .. } => None,
            ResetMode::NextClock { .. } => {
                // Of several that wait, the earliest is satisfied first, and satisfies all.
                self.pending.get_or_insert(at);
                None
            }
            ResetMode::ThisClock { grace } => match self.high {
                Some((pulse, is_one)) if grace.map_or(at < pulse.fall, |grace| at - pulse.rise <= grace) => {
                    if is_one {
                        return None;
                    }
                    self.high = Some((pulse, true));
                    Some(self.one(at, pulse.number))
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
                Some(self.one(at, first_pulse()))
            }
            ResetMode::Held => Some(self.one(at, first_pulse())),
        }
    }

    /// Whether the reset input was high before the start, which is no rise; if so, for long enough to be read as high.
    pub fn reset_was_high(&mut self, high: bool) {
        let setup = if let Some(ResetMode::Sampled { setup_time }) = self.mode() { *setup_time } else { Span::ZERO };
        self.reset_high = high.then_some(Instant(-setup.0));
    }

    /// Takes note that the reset input falls.
    pub fn reset_falls(&mut self) {
        self.reset_high = None;
    }

    /// Plays step 1 out of turn. Its pulse, or the reset in its place, counts as the step's first, unless the count of
    /// pulses within a step goes its own way.
    fn one(&mut self, at: Instant, pulse: i64) -> Play {
        if self.sequencer.reset_clears_count {
            self.count = 1 % self.sequencer.pulses_per_step;
        }
        self.play(at, pulse, 0)
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
