//! A solenoid or a motor that strikes a drum.
//!
//! From the trigger until the beater moves it takes `rise` (the current builds up); then the beater is driven evenly
//! from rest over `stroke` and arrives with the speed `v = speed·velocity/127`. Under even acceleration its mean speed
//! is half the last one, so that the way takes `2·stroke/v` (closed form): 8 mm at 2 m/s take 8 ms at velocity 127 and
//! 10.16 ms at 100. Accents come early. Each strike has its own scatter, normal and cut at 4 standard deviations, though
//! none arrives before its trigger. A trigger that comes sooner than `recovery` after the last one that was taken finds
//! the beater still on its way back, and is lost.

use super::passing::{HitStage, Passing, span};
use crate::patch::{self, StageKind};
use crate::rig::Chance;
use crate::time::{Instant, Span};

/// A beater at work.
#[derive(Debug)]
pub struct Strike {
    /// Where this device stands among all: stroke and speed; then its rise.
    device: Chance,
    standing: Option<f64>,
    /// From the trigger until it moves.
    rise: Span,
    /// From its first movement to the drum at velocity 1, in seconds.
    slowest: f64,
    spread: Span,
    recovery: Span,
    /// When it last took a trigger.
    taken: Option<Instant>,
    events: Chance,
}

impl Strike {
    /// Draws stroke, speed and rise of this run from `device`, each strike's scatter from `events`.
    pub(crate) fn new(settings: &patch::Strike, mut device: Chance, events: Chance) -> Self {
        let start = device.clone();
        let slowest = slowest(settings, &mut device);
        let mut standing = None;
        Self {
            rise: device.standing_time(&mut standing, settings.rise),
            device: start,
            standing,
            slowest,
            spread: settings.spread,
            recovery: settings.recovery,
            taken: None,
            events,
        }
    }
}

/// From the first movement to the drum at velocity 1, in seconds.
fn slowest(settings: &patch::Strike, device: &mut Chance) -> f64 {
    let (stroke, speed) = (device.sheet(settings.stroke), device.sheet(settings.speed));
    2.0 * stroke * 127.0 / speed
}

impl HitStage for Strike {
    fn pass(&mut self, hit: Passing) -> Option<Passing> {
        if self.taken.is_some_and(|taken| hit.at - taken < self.recovery) {
            return None;
        }
        self.taken = Some(hit.at);
        let way = span(self.slowest / f64::from(hit.velocity.max(1)));
        let scatter = self.events.normal_time(self.spread);
        let takes = Span((self.rise.0 + way.0 + scatter.0).max(0));
        Some(Passing { at: hit.at + takes, ..hit })
    }

    /// A beater that is on its way arrives; how long it needs to come back is asked of the new value.
    fn refit(&mut self, kind: &StageKind, _at: Instant) {
        let StageKind::Strike(settings) = kind else { return };
        let mut device = self.device.clone();
        self.slowest = slowest(settings, &mut device);
        self.rise = device.standing_time(&mut self.standing, settings.rise);
        (self.spread, self.recovery) = (settings.spread, settings.recovery);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::patch::Tolerance;
    use crate::rig::Run;

    fn solenoid() -> patch::Strike {
        patch::Strike {
            stroke: Tolerance::plain(0.008),
            speed: Tolerance::plain(2.0),
            rise: Tolerance::plain(Span::ZERO),
            spread: Span::ZERO,
            recovery: Span::ZERO,
        }
    }

    fn hit(at: Span, velocity: u8) -> Passing {
        Passing { at: Instant(at.0), velocity, level_db: 0.0, index: 0 }
    }

    fn takes(strike: &mut Strike, velocity: u8) -> Span {
        strike.pass(hit(Span::ZERO, velocity)).expect("nothing was struck before").at - Instant::START
    }

    #[test]
    fn accents_come_early() {
        // 2·0.008/2 s; 127/100 of it (closed form; printed as 8.0 and 10.2 ms).
        let mut strike = Strike::new(&solenoid(), Chance::none(), Chance::none());
        assert_eq!(takes(&mut strike, 127), Span::from_ms(8));
        assert_eq!(takes(&mut strike, 100), Span(10_160_000_000));
        let late = patch::Strike { rise: Tolerance::plain(Span::from_ms(3)), ..solenoid() };
        assert_eq!(takes(&mut Strike::new(&late, Chance::none(), Chance::none()), 127), Span::from_ms(11));
    }

    #[test]
    fn the_way_agrees_with_a_beater_moved_in_small_steps() {
        // Even acceleration a from rest to v over s: a = v²/(2s). Moved step by step instead of by the closed form; a
        // step of 0.1 µs overshoots by at most one.
        for velocity in [40_u8, 100, 127] {
            let v = 2.0 * f64::from(velocity) / 127.0;
            let (step, a) = (1e-7, v * v / (2.0 * 0.008));
            let (mut t, mut speed, mut way) = (0.0, 0.0, 0.0);
            while way < 0.008 {
                way += (speed + a * step / 2.0) * step;
                speed += a * step;
                t += step;
            }
            let closed = takes(&mut Strike::new(&solenoid(), Chance::none(), Chance::none()), velocity);
            assert!((closed.ms() / 1000.0 - t).abs() < 1.01 * step, "{closed:?} {t}");
        }
    }

    #[test]
    fn a_strike_before_recovery_is_lost_and_does_not_count() {
        let settings = patch::Strike { recovery: Span::from_ms(50), ..solenoid() };
        let mut strike = Strike::new(&settings, Chance::none(), Chance::none());
        let heard = [0, 30, 49, 50, 90, 100, 160].map(|ms| strike.pass(hit(Span::from_ms(ms), 127)).is_some());
        assert_eq!(heard, [true, false, false, true, false, true, true]);
    }

    #[test]
    fn each_strike_scatters_by_itself_and_never_before_its_trigger() {
        let settings = patch::Strike { spread: Span::from_ms(1), ..solenoid() };
        let run = Run::Drawn { seed: 1, number: 1 };
        let mut strike = Strike::new(&settings, run.chance("d"), run.chance("e"));
        let n = 20_000;
        let times: Vec<f64> = (0..n).map(|_| takes(&mut strike, 127).ms()).collect();
        let mean = times.iter().sum::<f64>() / f64::from(n);
        let variance = times.iter().map(|t| (t - mean) * (t - mean)).sum::<f64>() / f64::from(n);
        // A normal cut at 4 has a variance of 0.998929 (closed form); five standard errors: 0.035 and 0.05.
        assert!((mean - 8.0).abs() < 0.035, "{mean}");
        assert!((variance - 0.998_929).abs() < 0.05, "{variance}");
        assert!(times.iter().all(|t| (4.0..=12.0).contains(t)));
        let wild = patch::Strike { spread: Span::from_ms(10), ..solenoid() };
        let mut strike = Strike::new(&wild, run.chance("d"), run.chance("e"));
        let least = (0..1000).map(|_| takes(&mut strike, 127)).min();
        assert_eq!(least, Some(Span::ZERO));
    }

    #[test]
    fn a_sheet_is_drawn_once_a_run() {
        let settings = patch::Strike { speed: Tolerance { min: 1.0, typ: 2.0, max: 4.0 }, ..solenoid() };
        let of = |run: Run| {
            let mut strike = Strike::new(&settings, run.chance("d"), run.chance("e"));
            let first = takes(&mut strike, 127);
            assert_eq!(takes(&mut strike, 127), first);
            first
        };
        assert_eq!(of(Run::Typical), Span::from_ms(8));
        let drawn = of(Run::Drawn { seed: 1, number: 2 });
        assert!(drawn != Span::from_ms(8) && drawn >= Span::from_ms(4) && drawn <= Span::from_ms(16));
    }
}
