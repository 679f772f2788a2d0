//! A clock that jitters and wanders by itself.
//!
//! Whatever the clock sends at one instant is moved alike: the draw goes with the instant at which it would be sent, so
//! that all outputs share it and it cancels between boxes whose pulses were sent together. The model is that of the
//! `jitter` stage about its middle: to either side by at most 4 standard deviations (or half the range) and the furthest
//! of the wander, 0 in the run without chance. A pulse keeps its width; none rises before the start, and none overtakes
//! the one before on its output: where it would, the two are one.

use super::stage::Sway;
use super::{Pulse, Run, Wire};
use crate::patch::{Jitter, Rig, Scatter};
use crate::rig::{CUT, Chance};
use crate::time::{Instant, Span};

/// The furthest, either way, that a clock is off by itself.
pub(super) fn furthest(jitter: &Jitter) -> Span {
    let each = match jitter.each {
        Some(Scatter::Gaussian(sd)) => CUT as i64 * sd.0,
        // To the larger half of an odd range.
        Some(Scatter::Uniform(range)) => range.0 / 2 + range.0 % 2,
        None => 0,
    };
    Span(each + jitter.wander.map_or(0, |w| w.most.0))
}

/// Where a clock stands against its ideal time.
#[derive(Clone, Debug)]
struct ClockSway {
    sway: Sway,
    /// A stream for every instant.
    instants: Chance,
    middle: Span,
}

impl ClockSway {
    /// By how much what is sent at an instant is late; negative is early, but never before the start.
    fn late(&mut self, at: Instant) -> Span {
        let drawn = self.sway.late_by(at, &mut self.instants.at(at));
        Span((drawn.0 - self.middle.0).max(-at.0.max(0)))
    }
}

/// The pulses of an output as its clock really sends them.
#[derive(Clone, Debug)]
pub(super) struct Swayed<I> {
    pulses: I,
    sway: Option<ClockSway>,
    /// A level: its end is no end of a pulse but an instant of its own.
    is_level: bool,
    last: Instant,
}

impl<I: Iterator<Item = Pulse>> Swayed<I> {
    /// Pulses as the clock's own jitter moves them in a run. Nothing is moved where it has none, or without chance.
    pub(super) fn new(pulses: I, rig: &Rig, run: Run, is_level: bool) -> Wire<Self> {
        let sway = rig.jitter.as_ref().filter(|_| run != Run::Typical).map(|jitter| ClockSway {
            middle: Sway::new(jitter, Chance::none(), Chance::none()).late_by(Instant::START, &mut Chance::none()),
            sway: Sway::new(jitter, run.chance("clock/wander"), Chance::none()),
            instants: run.chance("clock/each"),
        });
        Wire::new(Self { pulses, sway, is_level, last: Instant::START })
    }
}

impl<I: Iterator<Item = Pulse>> Iterator for Swayed<I> {
    type Item = Pulse;

    fn next(&mut self) -> Option<Pulse> {
        let pulse = self.pulses.next()?;
        let Some(sway) = &mut self.sway else { return Some(pulse) };
        let late = sway.late(pulse.rise);
        let rise = (pulse.rise + late).max(self.last);
        let falls = if self.is_level { sway.late(pulse.fall) } else { rise - pulse.rise };
        self.last = rise;
        Some(Pulse { rise, fall: pulse.fall + falls, ..pulse })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::patch::{self, Wander};

    fn jitter(each: Option<Scatter>, wander: Option<Wander>) -> patch::Jitter {
        patch::Jitter { each, wander }
    }

    fn sway(settings: &patch::Jitter, number: u64) -> ClockSway {
        let run = Run::Drawn { seed: 1, number };
        ClockSway {
            middle: Sway::new(settings, Chance::none(), Chance::none()).late_by(Instant::START, &mut Chance::none()),
            sway: Sway::new(settings, run.chance("clock/wander"), Chance::none()),
            instants: run.chance("clock/each"),
        }
    }

    #[test]
    fn an_instant_has_one_draw_and_all_have_the_moments_of_the_model() {
        let sd = Span::from_ms(1);
        let settings = jitter(Some(Scatter::Gaussian(sd)), None);
        let mut sway = sway(&settings, 1);
        let n = 20_000;
        let all: Vec<f64> = (1..=n).map(|k| sway.late(Instant(k * 20_000_000_000)).ms()).collect();
        assert_eq!(sway.late(Instant(20_000_000_000)).ms(), all[0]);
        let mean = all.iter().sum::<f64>() / n as f64;
        let variance = all.iter().map(|l| (l - mean).powi(2)).sum::<f64>() / n as f64;
        // A Gaussian cut at 4 has a variance of 0.998929 (closed form); five standard errors: 0.035 and 0.05.
        assert!(mean.abs() < 0.035 && (variance - 0.998_929).abs() < 0.05, "{mean} {variance}");
        assert!(all.iter().all(|l| l.abs() <= furthest(&settings).ms()));
    }

    #[test]
    fn it_stays_within_its_furthest_and_after_the_start() {
        let wander = Wander { most: Span::from_ms(3), period: Span::from_ms(4_000) };
        for settings in [
            jitter(Some(Scatter::Uniform(Span(3_000_000_001))), None),
            jitter(None, Some(wander)),
            jitter(Some(Scatter::Gaussian(Span::from_ms(2))), Some(wander)),
        ] {
            let mut sway = sway(&settings, 3);
            let furthest = furthest(&settings);
            for at in (0..2_000).map(|k| Instant(k * 7_000_000_000)) {
                let late = sway.late(at);
                assert!(late.abs() <= furthest && at + late >= Instant::START, "{at:?} {late:?}");
            }
        }
    }
}
