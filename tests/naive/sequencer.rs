//! One sequencer: what arrives at its two inputs, in order, and what it plays.

use super::Exact;
use super::outputs::{beat_by_formula, first_pulse_meant_for, through_path};
use hitgap::patch::{OnTie, ResetMode, Rig, Sequencer};
use hitgap::time::Tempo;

/// A step that was played, rests too.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Play {
    /// The event that caused it, in picoseconds.
    pub(crate) at: i64,
    /// The number of the pulse that it belongs to.
    pub(crate) k: i128,
    /// From 1.
    pub(crate) step: usize,
}

/// What can happen at an input.
enum Event {
    ClockFalls,
    ClockRises { k: i128 },
    ResetRises { meant_for: Exact },
}

/// The pulse that is high at the clock input.
struct High {
    k: i128,
    last_played_as: usize,
}

struct Machine<'a> {
    it: &'a Sequencer,
    armed: bool,
    last_step: usize,
    high: Option<High>,
    pending: Vec<i64>,
    immediate_reset_at: Option<i64>,
    step_1_at: Option<i64>,
    last_rise: i64,
    plays: Vec<Play>,
}

/// All that happens at the inputs of a sequencer, sorted.
fn events(rig: &Rig, tempo: Tempo, sequencer: &Sequencer) -> Vec<(i64, Event)> {
    // A pulse is high while "rise ≤ `tr` < fall", so at one instant a fall comes first.
    //
    // "A clock rise at the very instant of the reset is an ordinary step, unless `on-tie = "reset-first"`", which is
    // said of `next-clock`. `this-clock` ("If it rises at `tr` itself, it plays step 1 and nothing else") and
    // `immediate` ("clock rises from `tr` until `tr + holdoff` …, both ends included, are ignored") need the reset
    // first.
    let clock_first = match sequencer.reset.as_ref().map(|reset| &reset.mode) {
        // "unless `on-tie = "reset-first"` … and `setup-time` is 0"
        Some(ResetMode::NextClock { on_tie, setup_time }) => *on_tie == OnTie::ClockFirst || setup_time.0 > 0,
        _ => false,
    };
    let rank = |event: &Event| match event {
        Event::ClockFalls => 0,
        Event::ClockRises { .. } if clock_first => 1,
        Event::ResetRises { .. } => 2,
        Event::ClockRises { .. } => 3,
    };
    let mut events = Vec::new();
    for pulse in through_path(rig, tempo, &sequencer.clock) {
        events.push((pulse.rise, Event::ClockRises { k: pulse.k }));
        events.push((pulse.fall, Event::ClockFalls));
    }
    if let Some(reset) = &sequencer.reset {
        for pulse in through_path(rig, tempo, &reset.path) {
            let meant_for = beat_by_formula(&rig.outputs[reset.path.output], pulse.k);
            events.push((pulse.rise, Event::ResetRises { meant_for }));
        }
    }
    events.sort_by_key(|(at, event)| (*at, rank(event)));
    events
}

/// Everything that a sequencer plays, in the order in which it plays it.
pub(crate) fn plays(rig: &Rig, tempo: Tempo, sequencer: &Sequencer) -> Vec<Play> {
    let n = sequencer.steps.len();
    let power_up = sequencer.power_up_step;
    let mut it = Machine {
        it: sequencer,
        // "A sequencer of *n* steps starts *armed*: the first clock pulse plays step 1. (`power-up-step = 7` starts it
        // so that the first pulse plays step 7.)"
        armed: power_up == 1,
        last_step: if power_up == 1 { n } else { power_up - 1 },
        high: None,
        pending: Vec::new(),
        immediate_reset_at: None,
        step_1_at: None,
        last_rise: 0,
        plays: Vec::new(),
    };
    for (at, event) in events(rig, tempo, sequencer) {
        match event {
            Event::ClockFalls => it.high = None,
            Event::ClockRises { k } => it.clock_rises(at, k),
            Event::ResetRises { meant_for } => {
                // "For a step 1 that a reset caused without a clock pulse, *k* is the first pulse meant for the
                // reset's beat or later." An output that pulses once has only that pulse to offer.
                let k = first_pulse_meant_for(&rig.outputs[sequencer.clock.output], meant_for).unwrap_or(0);
                it.reset_rises(at, k);
            }
        }
    }
    it.plays
}

impl Machine<'_> {
    fn play(&mut self, at: i64, k: i128, step: usize) {
        self.plays.push(Play { at, k, step });
        self.last_step = step;
        self.armed = false;
        if step == 1 {
            self.step_1_at = Some(at);
        }
    }

    fn clock_rises(&mut self, tc: i64, k: i128) {
        let since_last_rise = tc - self.last_rise;
        // "… the last rise, ignored ones included"
        self.last_rise = tc;
        let mode = self.it.reset.as_ref().map(|reset| &reset.mode);

        // "clock rises from `tr` until `tr + holdoff` (default `"1 ms"`), both ends included, are ignored"
        if let (Some(ResetMode::Immediate { holdoff }), Some(tr)) = (mode, self.immediate_reset_at)
            && tr <= tc
            && tc <= tr + holdoff.0
        {
            return;
        }

        // "`idle-reset = "1500 ms"` arms the sequencer for a clock rise that comes that long or longer after power-up
        // or the last rise"
        if let Some(idle) = self.it.idle_reset
            && since_last_rise >= idle.0
        {
            self.armed = true;
        }

        // "the first clock rise at `tc` with `tc > tr` and `tc − tr ≥ setup-time` for any pending reset plays step 1
        // and clears them all." "A clock rise at the very instant of the reset is an ordinary step, unless
        // `on-tie = "reset-first"` (default `"clock-first"`) and `setup-time` is 0."
        let mut called_back = false;
        if let Some(ResetMode::NextClock { setup_time, on_tie }) = mode {
            called_back = self.pending.iter().any(|tr| {
                let late_enough = tc > *tr && tc - tr >= setup_time.0;
                let tied = tc == *tr && *on_tie == OnTie::ResetFirst && setup_time.0 == 0;
                late_enough || tied
            });
            if called_back {
                self.pending.clear();
            }
        }

        // "A clock rise plays step 1 if it is armed, and else the step after the last played, going round."
        let step = if called_back || self.armed { 1 } else { self.last_step % self.it.steps.len() + 1 };
        self.play(tc, k, step);
        self.high = Some(High { k, last_played_as: step });
    }

    fn reset_rises(&mut self, tr: i64, first_pulse_for_its_beat: i128) {
        let Some(reset) = &self.it.reset else { return };
        match reset.mode {
            ResetMode::ThisClock => match &mut self.high {
                // "If it has been played as step 1, nothing happens."
                Some(high) if high.last_played_as == 1 => {}
                // "if the clock input is high at `tr` (rise ≤ `tr` < fall), the pulse that is now high is step 1. If
                // that pulse has been played already as another step, step 1 is played at `tr`, and the wrong hit has
                // sounded."
                Some(high) => {
                    high.last_played_as = 1;
                    let k = high.k;
                    self.play(tr, k, 1);
                }
                // "If the clock input is low, the sequencer is armed." "If it rises at `tr` itself, it plays step 1
                // and nothing else" comes to the same, because that rise is read after the reset.
                None => self.armed = true,
            },
            // "a reset is pending"
            ResetMode::NextClock { .. } => self.pending.push(tr),
            ResetMode::Immediate { holdoff } => {
                // "A reset less than `holdoff` after step 1 was last played does nothing."
                if self.step_1_at.is_some_and(|step_1_at| tr - step_1_at < holdoff.0) {
                    return;
                }
                // "step 1 is played at `tr`"
                self.immediate_reset_at = Some(tr);
                self.play(tr, first_pulse_for_its_beat, 1);
            }
            // "no effect"
            ResetMode::Ignored => {}
        }
    }
}
