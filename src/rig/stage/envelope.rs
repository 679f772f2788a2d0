//! An envelope before a threshold: what people use as a delay when they have nothing else.
//!
//! The voltage rises from 0 to a `peak`, holds it (if it follows a gate) and falls; the next input reads high from where
//! the voltage rises through `threshold-rise` to where it falls through `threshold-fall`. All in closed form:
//!
//! | shape | rise | fall |
//! |---|---|---|
//! | linear | `peak` in `attack` | `peak` in `decay` |
//! | exponential, to the peak | aims at 1.5 · `peak` with τ = `attack`/ln 3, so that it is at the peak after `attack` | towards 0 with τ = `decay` |
//! | exponential, time constant | aims at `peak` with τ = `attack` | the same |
//!
//! So an exponential rise to the peak covers the first two thirds of the way to its aim: that is how a timer works which
//! charges a capacitor and stops at two thirds of its supply (t = ln 3·RC). One that is told by its time constant never
//! reaches its peak; following a trigger it counts as there, and turns, after five time constants, at 99.3 % of it. An
//! exponential fall counts as over (for `retrigger = "ignore"`) at e⁻⁵ of the peak too. A new start from a voltage above
//! 0 goes on with the same slope or time constant, and so is there sooner.
//!
//! Sources: closed forms of the ramp and of the one-pole step response; the factor 1.5 is this program's choice.

pub mod bound;

use super::approach::{Approach, later};
use super::{Out, Stage};
use crate::patch::{self, AttackMeans, Follows, Retrigger, Shape, StageKind};
use crate::rig::{Chance, Edge};
use crate::time::Instant;

/// ln 3: how many time constants it takes to two thirds.
const LN_3: f64 = 1.098_612_288_668_109_8;
/// e⁻⁵: what five time constants leave.
const E_MINUS_5: f64 = 0.006_737_946_999_085_467;

/// The stage at work.
#[derive(Debug)]
pub struct Envelope {
    set: Slopes,
    phase: Phase,
    since: Instant,
    /// The voltage at `since`.
    from: f64,
    /// Of the pulse that is out, or on its way out.
    number: i64,
    /// Whether the gate that is open was not taken.
    ignoring: bool,
    /// The level of its input.
    high: bool,
    /// Where what is set anew draws from, and how this device stands among all: attack, decay.
    device: Chance,
    standing: [Option<f64>; 2],
}

/// What this device is set to.
#[derive(Clone, Copy, Debug)]
struct Slopes {
    rise: Course,
    fall: Course,
    /// Where a rise ends.
    top: f64,
    /// At and below this the envelope is over.
    over: f64,
    reads_high: f64,
    reads_low: f64,
    follows: Follows,
    retrigger: Retrigger,
    late: bool,
}

/// A way up or down.
#[derive(Clone, Copy, Debug)]
enum Course {
    Line {
        /// A voltage, with its sign.
        volts: f64,
        /// In this many picoseconds.
        ps: f64,
    },
    Curve(Approach),
}

#[derive(Clone, Copy, Debug)]
enum Phase {
    /// Up, and at the top after so many picoseconds from `since`.
    Up(f64),
    /// It falls from `since` on.
    Down,
}

impl Course {
    /// The voltage so much later, not stopping anywhere.
    fn after(self, from: f64, elapsed: f64) -> f64 {
        match self {
            _ if elapsed <= 0.0 => from,
            Self::Line { volts, ps } => from + volts * (elapsed / ps),
            Self::Curve(approach) => approach.after(from, elapsed),
        }
    }

    fn time_to(self, from: f64, level: f64, up: bool) -> Option<f64> {
        match self {
            Self::Line { volts, ps } => Some(((level - from) / volts * ps).max(0.0)),
            Self::Curve(approach) => approach.time_to(from, level, up),
        }
    }
}

impl Slopes {
    fn of(settings: &patch::Envelope, device: &mut Chance, standing: &mut [Option<f64>; 2]) -> Self {
        let peak = settings.peak;
        let [of_attack, of_decay] = standing;
        let attack = device.standing_time(of_attack, settings.attack).0 as f64;
        let decay = device.standing_time(of_decay, settings.decay).0 as f64;
        let by_time_constant = settings.attack_means == AttackMeans::TimeConstant;
        let (rise, fall, top, over) = match settings.shape {
            Shape::Linear => {
                (Course::Line { volts: peak, ps: attack }, Course::Line { volts: -peak, ps: decay }, peak, 0.0)
            }
            Shape::Exponential => {
                let (aim, tau) = if by_time_constant { (peak, attack) } else { (1.5 * peak, attack / LN_3) };
                let turns_short = by_time_constant && settings.follows == Follows::Trigger;
                let top = if turns_short { peak * (1.0 - E_MINUS_5) } else { peak };
                let fall = Approach { aim: 0.0, tau: decay };
                (Course::Curve(Approach { aim, tau }), Course::Curve(fall), top, peak * E_MINUS_5)
            }
        };
        let (reads_high, reads_low) = (settings.threshold_rise, settings.threshold_fall.min(settings.threshold_rise));
        // At least a picosecond from one level to the other and back, and nothing that falls at once.
        let takes_time = |course: Course, from, to, up| course.time_to(from, to, up).is_none_or(|ps| ps >= 1.0);
        let late = settings.retrigger != Retrigger::FromZero
            && takes_time(rise, reads_low, reads_high, true)
            && takes_time(fall, reads_high, reads_low, false);
        let (follows, retrigger) = (settings.follows, settings.retrigger);
        Self { rise, fall, top, over, reads_high, reads_low, follows, retrigger, late }
    }
}

impl Envelope {
    /// An envelope with these settings; the tolerances of its two times are drawn here, once a run.
    #[must_use]
    pub fn new(settings: &patch::Envelope, mut device: Chance) -> Self {
        let mut standing = [None; 2];
        let set = Slopes::of(settings, &mut device, &mut standing);
        Self {
            set,
            phase: Phase::Down,
            since: Instant::START,
            from: 0.0,
            number: 0,
            ignoring: false,
            high: false,
            device,
            standing,
        }
    }

    /// The voltage at a moment, and whether it is on its way up.
    fn now(&self, at: Instant) -> (f64, bool) {
        let elapsed = (at - self.since).0 as f64;
        match self.phase {
            Phase::Up(at_top) if elapsed < at_top => (self.set.rise.after(self.from, elapsed).min(self.set.top), true),
            Phase::Up(at_top) => match self.set.follows {
                Follows::Gate => (self.set.top, false),
                Follows::Trigger => (self.set.fall.after(self.set.top, elapsed - at_top).max(0.0), false),
            },
            Phase::Down => (self.set.fall.after(self.from, elapsed).max(0.0), false),
        }
    }

    /// How long from `since` until the way up crosses the threshold.
    fn crosses(&self) -> Option<f64> {
        if self.set.reads_high > self.set.top {
            None
        } else {
            self.set.rise.time_to(self.from, self.set.reads_high, true)
        }
    }

    fn send(&self, ps: Option<f64>, rise: bool, out: &mut Out) {
        // A start from zero leaves a gap, however fast it rises.
        let takes_time = self.set.late || (rise && self.set.retrigger == Retrigger::FromZero);
        let ps = ps.map(|ps| if takes_time { ps.max(1.0) } else { ps });
        if let Some(at) = ps.and_then(|ps| later(self.since, ps)) {
            out.send(0, Edge { at, rise, number: self.number });
        }
    }

    /// Takes back what was foretold and has not come about by now.
    fn forget(at: Instant, out: &mut Out) {
        while let Some(edge) = out.last(0).filter(|e| e.at > at) {
            out.take_back(0);
            out.tally.lost += u64::from(edge.rise);
        }
    }

    fn start(&mut self, edge: Edge, out: &mut Out) {
        let (volts, rising) = self.now(edge.at);
        let from = match self.set.retrigger {
            // On its way already: nothing changes.
            Retrigger::FromHere if rising => {
                if self.crosses().is_some() {
                    out.tally.merged += 1;
                } else {
                    out.tally.lost += 1;
                }
                return;
            }
            Retrigger::Ignore if rising || volts > self.set.over => {
                out.tally.lost += 1;
                self.ignoring = true;
                return;
            }
            Retrigger::FromZero => 0.0,
            Retrigger::FromHere | Retrigger::Ignore => volts,
        };
        Self::forget(edge.at, out);
        if self.set.retrigger == Retrigger::FromZero {
            out.send(0, Edge { at: edge.at, rise: false, number: self.number });
        }
        (self.since, self.from) = (edge.at, from);
        let at_top = self.set.rise.time_to(from, self.set.top, true).unwrap_or(f64::INFINITY);
        self.phase = Phase::Up(at_top);
        if out.level(0) {
            out.tally.merged += 1;
        } else {
            self.number = edge.number;
            let crosses = self.crosses();
            // A gate's pulse is given up for lost when the gate closes.
            out.tally.lost += u64::from(crosses.is_none() && self.set.follows == Follows::Trigger);
            self.send(crosses, true, out);
        }
        if self.set.follows == Follows::Trigger && out.level(0) {
            let falls = self.set.fall.time_to(self.set.top, self.set.reads_low, false);
            self.send(falls.map(|ps| at_top + ps), false, out);
        }
    }

    fn release(&mut self, at: Instant, out: &mut Out) {
        if std::mem::take(&mut self.ignoring) {
            return;
        }
        (self.from, _) = self.now(at);
        (self.since, self.phase) = (at, Phase::Down);
        let foretold = out.last(0).is_some_and(|e| e.at > at);
        Self::forget(at, out);
        if out.level(0) {
            self.send(self.set.fall.time_to(self.from, self.set.reads_low, false), false, out);
        } else if !foretold {
            out.tally.lost += 1;
        }
    }

    /// What is to come, where all that was foretold has been taken back at `since`.
    fn foretell(&mut self, now: Instant, was_to_cross: bool, out: &mut Out) {
        let (volts, _) = self.now(now);
        let (high, low) = (self.set.reads_high, self.set.reads_low);
        let rises = matches!(self.phase, Phase::Up(at_top) if at_top > 0.0);
        let beyond = if out.level(0) { volts < low } else { !rises && volts > high };
        if beyond && (rises || !out.level(0)) {
            // A threshold has moved past the voltage.
            out.tally.added += u64::from(!out.level(0));
            out.send(0, Edge { at: now, rise: !out.level(0), number: self.number });
        }
        match self.phase {
            Phase::Up(at_top) => {
                if !out.level(0) && rises {
                    let crosses = self.crosses();
                    let trigger = self.set.follows == Follows::Trigger;
                    match (crosses, was_to_cross) {
                        (None, true) if trigger => out.tally.lost += 1,
                        (Some(_), false) if trigger => out.tally.lost = out.tally.lost.saturating_sub(1),
                        _ => {}
                    }
                    out.tally.added += u64::from(beyond && crosses.is_some());
                    self.send(crosses, true, out);
                } else if out.level(0) && !rises && volts < low {
                    self.send(Some(0.0), false, out);
                }
                if self.set.follows == Follows::Trigger && out.level(0) {
                    let falls = self.set.fall.time_to(self.set.top, low, false);
                    self.send(falls.map(|ps| at_top + ps), false, out);
                }
            }
            Phase::Down if out.level(0) => {
                self.send(self.set.fall.time_to(volts, low, false), false, out);
            }
            Phase::Down => {}
        }
    }
}

impl Stage for Envelope {
    fn edge(&mut self, _port: usize, edge: Edge, out: &mut Out) {
        self.high = edge.rise;
        match (edge.rise, self.set.follows) {
            (true, _) => self.start(edge, out),
            (false, Follows::Gate) => self.release(edge.at, out),
            (false, Follows::Trigger) => {}
        }
    }

    /// The voltage stays (but a peak that is held follows its knob); from here on it goes another way.
    fn turn(&mut self, kind: &StageKind, now: Instant, out: &mut Out) {
        let StageKind::Envelope(settings) = kind else { return };
        let (volts, rising) = self.now(now);
        let held = !rising && matches!(self.phase, Phase::Up(_)) && self.set.follows == Follows::Gate;
        let follows = self.set.follows;
        let was_to_cross = out.level(0) || self.crosses().is_some();
        while out.last(0).is_some_and(|e| e.at > now) {
            out.take_back(0);
        }
        self.set = Slopes::of(settings, &mut self.device, &mut self.standing);
        if follows == Follows::Trigger {
            self.ignoring = false;
        }
        (self.since, self.from) = (now, volts);
        let opens = self.set.follows == Follows::Trigger || self.high;
        self.phase = match (rising && opens, held && self.high && self.set.follows == Follows::Gate) {
            (true, _) if volts < self.set.top => {
                Phase::Up(self.set.rise.time_to(volts, self.set.top, true).unwrap_or(f64::INFINITY))
            }
            (true, _) if self.set.follows == Follows::Gate => Phase::Up(0.0),
            (_, true) => Phase::Up(0.0),
            _ => Phase::Down,
        };
        self.foretell(now, was_to_cross, out);
    }

    fn settled(&mut self, inputs: &[bool]) -> Vec<bool> {
        self.high = inputs[0];
        // A gate that was open for ever holds its peak; a trigger is long over.
        let holds = inputs[0] && self.set.follows == Follows::Gate;
        if holds {
            (self.phase, self.from) = (Phase::Up(0.0), self.set.top);
        }
        vec![holds && self.crosses().is_some()]
    }

    fn is_late(&self) -> bool {
        self.set.late
    }
}

#[cfg(test)]
mod tests;
