//! A resistor and a capacitor before a threshold: a slow edge.
//!
//! The driver's voltage comes through its own resistance and `r` to the capacitor, beside which the next input lies as
//! a `load`. By Thévenin that is one source and one resistance: v∞ = low + (high − low)·load/(r + source + load) and
//! τ = c·((r + source) ∥ load). A `discharge` path to the low voltage lies in parallel while the input is low. Between
//! edges the voltage nears v∞ (or low) exponentially, **from wherever it is**: charge that is left from the pulse before
//! makes the next one come sooner. A pulse that ends before the threshold is reached is lost; one that comes before the
//! voltage has fallen through the lower threshold is one with the pulse before.
//!
//! Sources: closed form of the one-pole step response; the figures that the tests hold it against stand beside them.

use super::approach::{Approach, later};
use super::{HeldUp, Out, Stage};
use crate::patch::{self, StageKind};
use crate::rig::{Chance, Edge};
use crate::time::{Instant, Span};

/// The stage at work.
#[derive(Debug)]
pub struct Rc {
    network: Network,
    high: bool,
    /// The voltage at the last edge.
    volts: f64,
    since: Instant,
    /// Of the pulse that is out, or on its way out.
    number: i64,
    /// Where this device stands among all.
    device: Chance,
    /// When the pulse came that is out, or on its way out.
    came: Instant,
    /// By how much the rise that is on its way out is late.
    foretold: Span,
    held_up: Option<HeldUp>,
}

/// One run's resistors, capacitor and thresholds, as what they do.
#[derive(Clone, Copy, Debug)]
struct Network {
    charge: Approach,
    discharge: Approach,
    reads_high: f64,
    reads_low: f64,
}

impl Network {
    fn new(rc: &patch::Rc, r: f64, c: f64, reads_high: f64, reads_low: f64) -> Self {
        let series = r + rc.source;
        // 1 without a load, not infinity by infinity.
        let share = if rc.load.is_finite() { rc.load / (series + rc.load) } else { 1.0 };
        let parallel = series * share;
        let with_discharge =
            if rc.discharge.is_finite() { parallel * rc.discharge / (parallel + rc.discharge) } else { parallel };
        let tau = |ohms: f64| c * ohms * 1e12;
        Self {
            charge: Approach { aim: rc.low + (rc.high - rc.low) * share, tau: tau(parallel) },
            discharge: Approach { aim: rc.low, tau: tau(with_discharge) },
            reads_high,
            // One comparator does not read low above where it reads high.
            reads_low: reads_low.min(reads_high),
        }
    }

    /// Draws a device from its sheets. One device draws the same standing again, whatever its sheet says.
    fn drawn(settings: &patch::Rc, mut device: Chance) -> Self {
        let r = device.sheet(settings.r);
        let c = device.sheet(settings.c);
        let reads_high = device.clone().sheet(settings.threshold_rise);
        let reads_low = device.sheet(settings.threshold_fall);
        Self::new(settings, r, c, reads_high, reads_low)
    }

    fn course(&self, high: bool) -> Approach {
        if high { self.charge } else { self.discharge }
    }

    /// Whether the output needs a picosecond at least from one level to the other and back.
    fn has_hysteresis(&self) -> bool {
        let up = self.charge.time_to(self.reads_low, self.reads_high, true);
        let down = self.discharge.time_to(self.reads_high, self.reads_low, false);
        up.is_none_or(|ps| ps >= 1.0) && down.is_none_or(|ps| ps >= 1.0)
    }
}

impl Rc {
    /// An RC stage with these settings; tolerances are drawn here, once a run. The two thresholds are one comparator's: one
    /// draw places both between their least and their most.
    #[must_use]
    pub fn new(settings: &patch::Rc, device: Chance) -> Self {
        Self {
            network: Network::drawn(settings, device.clone()),
            high: false,
            volts: settings.low,
            since: Instant::START,
            number: 0,
            device,
            came: Instant::START,
            foretold: Span::ZERO,
            held_up: None,
        }
    }

    /// When a level is crossed; where a loop may be closed, not at the instant of the cause.
    fn crossing(&self, level: f64, up: bool) -> Option<Instant> {
        let ps = self.network.course(self.high).time_to(self.volts, level, up)?;
        later(self.since, if self.is_late() { ps.max(1.0) } else { ps })
    }
}

impl Stage for Rc {
    fn edge(&mut self, _port: usize, edge: Edge, out: &mut Out) {
        let ps = (edge.at - self.since).0 as f64;
        self.volts = self.network.course(self.high).after(self.volts, ps);
        (self.since, self.high) = (edge.at, edge.rise);
        // What was foretold and has not come about by now will not.
        if out.last(0).is_some_and(|e| e.at > edge.at) {
            out.take_back(0);
        }
        let was_high = out.level(0);
        match (edge.rise, was_high) {
            (true, true) => out.tally.merged += 1,
            (false, false) => out.tally.lost += 1,
            (true, false) => {
                (self.number, self.came) = (edge.number, edge.at);
                if let Some(at) = self.crossing(self.network.reads_high, true) {
                    self.foretold = at - edge.at;
                    out.send(0, Edge { at, rise: true, number: self.number });
                }
            }
            (false, true) => {
                let first = self.held_up.map_or(self.foretold, |h| h.first);
                self.held_up = Some(HeldUp { first, last: self.foretold });
                if let Some(at) = self.crossing(self.network.reads_low, false) {
                    out.send(0, Edge { at, rise: false, number: self.number });
                }
            }
        }
    }

    /// The charge stays; from here on it goes another way, and another comparator looks at it.
    fn turn(&mut self, kind: &StageKind, now: Instant, out: &mut Out) {
        let StageKind::Rc(settings) = kind else { return };
        self.volts = self.network.course(self.high).after(self.volts, (now - self.since).0 as f64);
        self.since = now;
        if out.last(0).is_some_and(|e| e.at > now) {
            out.take_back(0);
        }
        self.network = Network::drawn(settings, self.device.clone());
        let beyond = if out.level(0) {
            self.high && self.volts < self.network.reads_low
        } else {
            !self.high && self.volts > self.network.reads_high
        };
        if beyond {
            // A threshold has moved past the voltage.
            let rise = !out.level(0);
            out.tally.added += u64::from(rise);
            out.send(0, Edge { at: now, rise, number: self.number });
        }
        let (level, up) = if self.high { (self.network.reads_high, true) } else { (self.network.reads_low, false) };
        if out.level(0) != up
            && let Some(at) = self.crossing(level, up)
        {
            out.tally.added += u64::from(beyond && up);
            if up && !beyond {
                self.foretold = at - self.came;
            }
            out.send(0, Edge { at, rise: up, number: self.number });
        }
    }

    fn settled(&mut self, inputs: &[bool]) -> Vec<bool> {
        self.high = inputs[0];
        self.volts = self.network.course(self.high).aim;
        vec![self.high && self.volts > self.network.reads_high]
    }

    fn is_late(&self) -> bool {
        self.network.has_hysteresis()
    }

    fn held_up(&self) -> Option<HeldUp> {
        self.held_up
    }
}

/// The delays of an RC stage: how much later pulses leave than they came, the first and one after many.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Delays {
    /// Of the first pulse, with no charge left over.
    pub first: Passage,
    /// Of a pulse after many like it.
    pub settled: Passage,
}

/// What becomes of a pulse.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Passage {
    /// Its rise leaves this much after it came.
    After(Span),
    /// It is too short, or the threshold too high.
    Lost,
    /// The output has not fallen yet: pulses run into one.
    Merged,
}

/// The delay of the first and of a settled pulse of an even train, from typical values.
///
/// `period` from rise to rise, `width` below it. The settled voltage at a rise is the fixed point of one charge and one
/// discharge, in closed form.
#[must_use]
pub fn first_and_settled_delay(settings: &patch::Rc, period: Span, width: Span) -> Delays {
    let [r, c] = [settings.r.typ, settings.c.typ];
    let network = Network::new(settings, r, c, settings.threshold_rise.typ, settings.threshold_fall.typ);
    let (w, gap) = (width.0 as f64, (period.0 - width.0) as f64);
    let passage = |from: f64| match network.charge.time_to(from, network.reads_high, true) {
        Some(ps) if ps.round() <= w => Passage::After(Span(ps.round() as i64)),
        _ => Passage::Lost,
    };
    // What is left of a distance after a width, and after a gap.
    let kept = |course: Approach, ps: f64| if ps > 0.0 { libm::exp(-ps / course.tau) } else { 1.0 };
    let (q, p) = (kept(network.charge, w), kept(network.discharge, gap));
    let (aim, low) = (network.charge.aim, network.discharge.aim);
    let least = low + (aim - low) * (1.0 - q) * p / (1.0 - q * p);
    let most = aim + (least - aim) * q;
    let settled = if most > network.reads_high && least > network.reads_low { Passage::Merged } else { passage(least) };
    Delays { first: passage(low), settled }
}

#[cfg(test)]
mod tests;
