//! Sound on its way from a drum to an ear.
//!
//! The speed of sound in air is `c = 343.2·√(T/293.15)` m/s, with *T* in kelvin (ISO 9613-1, as open code quotes it that
//! cites ISO 17497-1, equation 2); the way takes `distance/c`. The level of a small source falls with the distance,
//! `−20·log₁₀(d/1 m)` dB, 6.02 dB a doubling (closed form of the inverse square law). Within a metre it is left alone:
//! nearer than that no drum is small. What the air itself takes from the treble is not modelled.

use super::passing::{HitStage, Passing, span};
use crate::patch::{self, StageKind};
use crate::rig::Chance;
use crate::time::{Instant, Span};

/// A distance through air, at work.
#[derive(Debug)]
pub struct Air {
    /// Where this way stands among all.
    device: Chance,
    delay: Span,
    level_db: f64,
}

impl Air {
    /// Draws the distance and the temperature of this run from `device`. No hit has a chance of its own.
    pub(crate) fn new(settings: &patch::Air, device: Chance) -> Self {
        let mut drawn = device.clone();
        let distance = drawn.sheet(settings.distance);
        let speed = speed_of_sound(drawn.sheet(settings.temperature));
        let level_db = if settings.level && distance > 1.0 { -20.0 * libm::log10(distance) } else { 0.0 };
        Self { device, delay: span(distance / speed), level_db }
    }
}

impl HitStage for Air {
    fn pass(&mut self, hit: Passing) -> Option<Passing> {
        Some(Passing { at: hit.at + self.delay, level_db: hit.level_db + self.level_db, ..hit })
    }

    fn refit(&mut self, kind: &StageKind, _at: Instant) {
        if let StageKind::Air(settings) = kind {
            *self = Self::new(settings, self.device.clone());
        }
    }
}

/// The speed of sound in air in metres a second, at a temperature in degrees Celsius (ISO 9613-1).
#[must_use]
pub fn speed_of_sound(celsius: f64) -> f64 {
    343.2 * libm::sqrt((celsius + 273.15) / 293.15)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::patch::Tolerance;
    use crate::rig::Run;
    use crate::time::Instant;

    fn air(metres: f64, celsius: f64, level: bool) -> Air {
        let settings = patch::Air { distance: Tolerance::plain(metres), temperature: Tolerance::plain(celsius), level };
        Air::new(&settings, Chance::none())
    }

    fn pass(air: &mut Air) -> Passing {
        air.pass(Passing { at: Instant(7), velocity: 100, level_db: -1.0, index: 3 }).expect("air loses nothing")
    }

    #[test]
    fn sound_is_as_fast_as_the_standard_says() {
        // ISO 9613-1's formula as quoted in open code (ISO 17497-1, equation 2), printed to a millimetre a second.
        for (celsius, speed) in [(0.0, 331.286), (10.0, 337.296), (20.0, 343.2), (30.0, 349.005)] {
            assert!((speed_of_sound(celsius) - speed).abs() < 0.000_5, "{celsius} °C");
        }
    }

    #[test]
    fn a_metre_takes_2_9138_ms() {
        // 1/343.2 s, printed to a tenth of a microsecond.
        let by = pass(&mut air(1.0, 20.0, false)).at - Instant(7);
        assert!((by.ms() - 2.9138).abs() < 0.000_05, "{by:?}");
        assert_eq!(pass(&mut air(0.0, 20.0, true)).at, Instant(7));
    }

    #[test]
    fn the_level_falls_6_02_db_a_doubling_from_a_metre_on() {
        // 20·log₁₀ 2 = 6.0206 dB (closed form).
        let level = |metres, on| pass(&mut air(metres, 20.0, on)).level_db;
        assert_eq!([level(0.5, true), level(1.0, true), level(8.0, false)], [-1.0; 3]);
        for doublings in 1..6 {
            let metres = f64::from(1 << doublings);
            assert!((level(metres, true) - (-1.0 - 6.0206 * f64::from(doublings))).abs() < 0.000_1);
        }
    }

    #[test]
    fn a_distance_with_a_tolerance_is_drawn_once_a_run() {
        let settings = patch::Air {
            distance: Tolerance { min: 2.0, typ: 3.0, max: 4.0 },
            temperature: Tolerance::plain(20.0),
            level: false,
        };
        let delay = |number| Air::new(&settings, Run::Drawn { seed: 1, number }.chance("stage/air")).delay;
        assert_ne!(delay(1), delay(2));
        assert_eq!(delay(1), delay(1));
        let (least, most) = (span(2.0 / 343.2), span(4.0 / 343.2));
        assert!((1..100).map(delay).all(|d| d >= least && d <= most));
        assert_eq!(Air::new(&settings, Chance::none()).delay, span(3.0 / 343.2));
    }
}
