//! One sequencer, and what it plays.

use super::Exact;
use super::inputs::{Batch, batches, input};
use super::outputs::first_pulse_meant_for;
use super::signal;
use super::signal::{EVER, Pulse, changes, on_one_wire};
use super::turning::Meant;
use super::wires::{Wires, beat_of, first_from, is_plain, meant_to_come, scale};
use hitgap::patch::{OnTie, Path, ResetMode, Sequencer};

/// A step that was played, rests too.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Play {
    /// The event that caused it, in picoseconds.
    pub(crate) at: i64,
    /// The number of the pulse that it belongs to.
    pub(crate) k: i128,
    /// From 1.
    pub(crate) step: usize,
    /// A reset plays it, and no pulse.
    pub(crate) by_reset: bool,
}

/// What a sequencer did.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Played {
    /// In the order in which it played it.
    pub(crate) plays: Vec<Play>,
    /// The numbers of the clock pulses that it saw.
    pub(crate) seen: Vec<i128>,
    /// How many pulses its inputs did not see.
    pub(crate) unseen: usize,
    /// `.step-1`, `.end`, `.hits`.
    pub(crate) taps: [Vec<Pulse>; 3],
    /// `.thru`: "its clock, passed on".
    pub(crate) thru: Vec<Pulse>,
}

impl Played {
    /// All that can be told from outside, each with its time.
    fn told(&self) -> Vec<(i64, String)> {
        let plays = self.plays.iter().map(|p| (p.at, format!("{p:?}")));
        let levels = self.taps.iter().chain([&self.thru]).enumerate();
        let levels = levels.flat_map(|(n, wire)| changes(wire).into_iter().map(move |c| (c.at, format!("{n} {c:?}"))));
        let mut told: Vec<_> = plays.chain(levels).collect();
        told.sort();
        told
    }

    /// When two first are not the same.
    pub(crate) fn first_difference(&self, other: &Self) -> Option<i64> {
        let (mine, others) = (self.told(), other.told());
        let of = |one: &[(i64, String)], two: &[(i64, String)]| one.iter().find(|t| !two.contains(t)).map(|t| t.0);
        of(&mine, &others).into_iter().chain(of(&others, &mine)).min()
    }

    /// Forgets what happened later.
    pub(crate) fn forget_after(&mut self, last: i64) {
        self.plays.retain(|play| play.at <= last);
        for wire in self.taps.iter_mut().chain([&mut self.thru]) {
            let mut all = changes(wire);
            all.retain(|change| change.at <= last);
            *wire = signal::pulses(&all);
        }
    }
}

/// The pulse that is high at the clock input.
struct High {
    k: i128,
    rise: i64,
    /// It has been played as step 1.
    is_step_1: bool,
    /// It has not fallen yet.
    still: bool,
}

struct Machine<'a> {
    it: &'a Sequencer,
    armed: bool,
    last_step: usize,
    /// Pulses of the step under way that have come; back to nought when all have.
    count: u32,
    clock: Option<High>,
    clock_is_high: bool,
    pending: Vec<i64>,
    reset_high_since: Option<i64>,
    immediate_reset_at: Option<i64>,
    step_1_at: Option<i64>,
    last_rise: i64,
    reset_first_at_ties: bool,
    /// When the taps fall if the clock is low, and the number of the step.
    run_out: Option<(i64, i128)>,
    plays: Vec<Play>,
    seen: Vec<i128>,
    taps: [Vec<Pulse>; 3],
}

/// "For a step 1 that a reset caused without a clock pulse, *k* is the first pulse meant for the reset's beat or later."
/// An output that pulses once a start has only the last start to offer.
fn first_pulse_for(rig: &Meant<'_>, clock: &Path, reset: &Path, number: i128) -> i128 {
    let beat: Exact = beat_of(rig, reset, number);
    let output = rig.origin(clock);
    let of_output = first_pulse_meant_for(rig, output, beat).unwrap_or_else(|| rig.last_start());
    if is_plain(rig, clock) && scale(rig, clock) == 1 {
        return of_output;
    }
    meant_to_come(rig, clock, first_from(rig, clock, of_output * scale(rig, clock))).0
}

/// Everything that a sequencer plays, in the order in which it plays it.
pub(crate) fn plays(rig: &Meant<'_>, wires: &Wires<'_>, sequencer: &Sequencer) -> Played {
    let n = sequencer.steps.len();
    let power_up = sequencer.power_up_step;
    let (clock_was_high, clock, unseen_clock) =
        input(rig, &wires.path(&sequencer.clock), sequencer.clock_edge, sequencer);
    let (reset_was_high, reset, unseen_reset) = match &sequencer.reset {
        Some(reset) => input(rig, &wires.path(&reset.path), sequencer.reset_edge, sequencer),
        None => (false, Vec::new(), 0),
    };
    // "handles all edges, reset first"; else "A clock rise at the very instant of the reset is an ordinary step, unless
    // `on-tie = "reset-first"`, … and `setup-time` is 0", which is said of `next-clock`; the others need the reset first.
    let reset_first = sequencer.gathers.0 > 0
        || match sequencer.reset.as_ref().map(|reset| &reset.mode) {
            Some(ResetMode::NextClock { on_tie, setup_time }) => *on_tie == OnTie::ResetFirst && setup_time.0 == 0,
            _ => true,
        };
    let mut it = Machine {
        it: sequencer,
        // "A sequencer of *n* steps starts *armed*: the first clock pulse plays step 1. (`power-up-step = 7` starts it
        // so that the first pulse plays step 7.)"
        armed: power_up == 1,
        last_step: if power_up == 1 { n } else { power_up - 1 },
        count: 0,
        clock: None,
        clock_is_high: clock_was_high,
        pending: Vec::new(),
        reset_high_since: reset_was_high.then_some(EVER),
        immediate_reset_at: None,
        step_1_at: None,
        last_rise: 0,
        reset_first_at_ties: reset_first,
        run_out: None,
        plays: Vec::new(),
        seen: Vec::new(),
        taps: [Vec::new(), Vec::new(), Vec::new()],
    };
    for batch in batches(&clock, &reset, sequencer.gathers.0) {
        // What happens at the very end of the millisecond comes before the end.
        it.taps_run_out(batch.at - 1);
        it.handle(rig, batch);
    }
    it.taps_run_out(signal::NEVER);
    Played {
        plays: it.plays,
        seen: it.seen,
        unseen: unseen_clock + unseen_reset,
        taps: it.taps.map(on_one_wire),
        thru: wires.path(&sequencer.clock),
    }
}

impl Machine<'_> {
    /// A pulse is high while "rise ≤ `tr` < fall", so falls come first; but never before the rise of their own pulse.
    fn handle(&mut self, rig: &Meant<'_>, mut batch: Batch) {
        if let Some(fall) = batch.clock.front().copied().filter(|c| !c.rise) {
            batch.clock.pop_front();
            self.clock_falls(batch.at, fall.k);
        }
        if batch.reset.front().is_some_and(|c| !c.rise) {
            batch.reset.pop_front();
            self.reset_high_since = None;
        }
        let order = if self.reset_first_at_ties { [false, true] } else { [true, false] };
        for clock_now in order {
            if clock_now {
                for change in &batch.clock {
                    if change.rise {
                        self.clock_rises(batch.at, change.k);
                    } else {
                        self.clock_falls(batch.at, change.k);
                    }
                }
            } else {
                for change in &batch.reset {
                    if change.rise {
                        let Some(reset) = &self.it.reset else { continue };
                        let k = first_pulse_for(rig, &self.it.clock, &reset.path, change.k);
                        self.reset_rises(batch.at, k);
                    } else {
                        self.reset_high_since = None;
                    }
                }
            }
        }
    }

    fn clock_falls(&mut self, at: i64, k: i128) {
        self.clock_is_high = false;
        if let Some(clock) = &mut self.clock {
            clock.still = false;
        }
        // Taps "stay high until the clock input falls".
        for pulse in self.taps.iter_mut().flatten().filter(|pulse| at < pulse.fall) {
            (pulse.fall, pulse.k_fall) = (at, k);
        }
    }

    /// "1 ms after a step that a reset caused while the clock is low": if it is low then, too; else with the clock's fall.
    fn taps_run_out(&mut self, until: i64) {
        let Some((at, k)) = self.run_out.filter(|(at, _)| *at <= until) else { return };
        self.run_out = None;
        if !self.clock_is_high {
            for pulse in self.taps.iter_mut().flatten().filter(|pulse| at < pulse.fall) {
                (pulse.fall, pulse.k_fall) = (at, k);
            }
        }
    }

    fn play(&mut self, at: i64, k: i128, step: usize, by_reset: bool) {
        self.plays.push(Play { at, k, step, by_reset });
        self.last_step = step;
        self.armed = false;
        if step == 1 {
            self.step_1_at = Some(at);
        }
        let on = [step == 1, step == self.it.steps.len(), self.it.steps[step - 1].velocity().is_some()];
        if !self.clock_is_high {
            self.run_out = Some((at + 1_000_000_000, k));
        }
        for (tap, _) in self.taps.iter_mut().zip(on).filter(|(_, on)| *on) {
            tap.push(Pulse { k, rise: at, fall: signal::NEVER, k_fall: k });
        }
    }

    /// Step 1 out of turn: "a reset clears the count within the step, unless `reset-clears-count = false`"; then the pulse,
    /// or the reset itself, is the step's first.
    fn play_step_1(&mut self, at: i64, k: i128, by_reset: bool) {
        if self.it.reset_clears_count {
            self.count = 1 % self.it.pulses_per_step;
        }
        self.play(at, k, 1, by_reset);
    }

    fn clock_rises(&mut self, tc: i64, k: i128) {
        self.seen.push(k);
        self.clock_is_high = true;
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
        // "clock rises while the reset is high are ignored"
        if mode == Some(&ResetMode::Held) && self.reset_high_since.is_some() {
            return;
        }

        // "`idle-reset = "1500 ms"` arms the sequencer for a clock rise that comes that long or longer after power-up
        // or the last rise"
        if let Some(idle) = self.it.idle_reset
            && since_last_rise >= idle.0
        {
            self.armed = true;
        }

        let mut called_back = false;
        match mode {
            // "the first clock rise at `tc` with `tc > tr` and `tc − tr ≥ setup-time` for any pending reset plays step 1
            // and clears them all." "A clock rise at the very instant of the reset is an ordinary step, unless
            // `on-tie = "reset-first"` (default `"clock-first"`) and `setup-time` is 0."
            Some(ResetMode::NextClock { setup_time, .. }) => {
                called_back = self.pending.iter().any(|tr| {
                    let late_enough = tc > *tr && tc - tr >= setup_time.0;
                    let tied = tc == *tr && self.reset_first_at_ties && setup_time.0 == 0;
                    late_enough || tied
                });
                if called_back {
                    self.pending.clear();
                }
            }
            // "the reset is read at each clock rise; high for at least `setup-time` plays step 1, again at every rise
            // while it stays high; a reset that ended before is lost"
            Some(ResetMode::Sampled { setup_time }) => {
                called_back = self.reset_high_since.is_some_and(|since| tc - since >= setup_time.0);
            }
            _ => {}
        }

        // "A clock rise plays step 1 if it is armed, and else the step after the last played, going round."
        let begins = self.count == 0;
        self.count = (self.count + 1) % self.it.pulses_per_step;
        let mut is_step_1 = false;
        if called_back || self.armed {
            self.play_step_1(tc, k, false);
            is_step_1 = true;
        } else if begins {
            let step = self.last_step % self.it.steps.len() + 1;
            self.play(tc, k, step, false);
            is_step_1 = step == 1;
        }
        self.clock = Some(High { k, rise: tc, is_step_1, still: true });
    }

    fn reset_rises(&mut self, tr: i64, first_pulse_for_its_beat: i128) {
        self.reset_high_since = Some(tr);
        let Some(reset) = &self.it.reset else { return };
        match reset.mode {
            ResetMode::ThisClock { grace } => {
                // "`grace = TIME` for a `this-clock` box whose firmware has a fixed window instead of looking whether
                // the clock is high"
                let counts = self.clock.as_mut().filter(|clock| match grace {
                    Some(grace) => tr - clock.rise <= grace.0,
                    None => clock.still,
                });
                match counts {
                    // "If it has been played as step 1, nothing happens."
                    Some(clock) if clock.is_step_1 => {}
                    // "if the clock input is high at `tr` (rise ≤ `tr` < fall), the pulse that is now high is step 1.
                    // If that pulse has been played already as another step, step 1 is played at `tr`, and the wrong
                    // hit has sounded."
                    Some(clock) => {
                        clock.is_step_1 = true;
                        let k = clock.k;
                        self.play_step_1(tr, k, true);
                    }
                    // "If the clock input is low, the sequencer is armed." "If it rises at `tr` itself, it plays step 1
                    // and nothing else" comes to the same, because that rise is read after the reset.
                    None => self.armed = true,
                }
            }
            // "a reset is pending"
            ResetMode::NextClock { .. } => self.pending.push(tr),
            ResetMode::Immediate { holdoff } => {
                // "A reset less than `holdoff` after step 1 was last played does nothing."
                if self.step_1_at.is_some_and(|step_1_at| tr - step_1_at < holdoff.0) {
                    return;
                }
                // "step 1 is played at `tr`"
                self.immediate_reset_at = Some(tr);
                self.play_step_1(tr, first_pulse_for_its_beat, true);
            }
            // "step 1 at `tr`; clock rises while the reset is high are ignored; the next plays step 2"
            ResetMode::Held => self.play_step_1(tr, first_pulse_for_its_beat, true),
            // "the reset is read at each clock rise"
            ResetMode::Sampled { .. } => {}
            // "no effect"
            ResetMode::Ignored => {}
        }
    }
}
