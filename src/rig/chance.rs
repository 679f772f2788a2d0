use crate::dsp::{self, stream};
use crate::patch::Tolerance;
use crate::time::Span;
use rand_chacha::ChaCha8Rng;

/// A source of random draws for one purpose of one device in one run, or none where everything is typical.
///
/// Every run and purpose has a [`stream`] of its own, by the seed, the run and the purpose in words. A draw more or less for
/// one purpose changes nothing for another, and neither does the order in which runs are made.
///
/// Draws are written out and not taken from a library: the figures that `check --runs` prints for a seed, and a file of hits of
/// one run, hang on them.
#[derive(Clone, Debug)]
pub struct Chance {
    /// `None` without chance: everything is typical, and nothing is scattered.
    bits: Option<ChaCha8Rng>,
}

/// A run of a rig: which draws it makes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Run {
    /// Without chance: typical values, no scatter.
    Typical,
    /// With all that a seed and a number draw.
    Drawn {
        /// What the user gives; all runs of a rig share it.
        seed: u64,
        /// Which of the runs it is, from 1.
        number: u64,
    },
}

impl Run {
    /// The draws of a purpose, such as `stage/gate` (once a run for a device) or `stage/gate/2` (for a channel's events).
    #[must_use]
    pub fn chance(self, purpose: &str) -> Chance {
        let bits = match self {
            Self::Typical => None,
            Self::Drawn { seed, number } => {
                Some(stream(&[b"run", &seed.to_le_bytes(), &number.to_le_bytes(), purpose.as_bytes()]))
            }
        };
        Chance { bits }
    }
}

/// The place at which every Gaussian is cut, in standard deviations: in runs and in bounds alike.
pub const CUT: f64 = 4.0;

impl Chance {
    /// A source that draws nothing: typical values, no scatter.
    #[must_use]
    pub const fn none() -> Self {
        Self { bits: None }
    }

    /// A stream of its own for an instant: the same for all who ask for it.
    pub(super) fn at(&self, at: crate::time::Instant) -> Self {
        let bits = self.bits.as_ref().map(|bits| {
            let mut bits = bits.clone();
            bits.set_stream(at.0 as u64);
            bits.set_word_pos(0);
            bits
        });
        Self { bits }
    }

    /// Whether anything is left to chance.
    #[must_use]
    pub const fn is_drawn(&self) -> bool {
        self.bits.is_some()
    }

    /// A uniform draw from 0 up to, and not, 1; ½ without chance.
    pub fn uniform(&mut self) -> f64 {
        self.bits.as_mut().map_or(0.5, dsp::uniform)
    }

    /// A normal draw of mean 0 and SD 1, cut at [`CUT`]: what falls beyond is drawn again. 0 without chance.
    ///
    /// The cut leaves out 6.3·10⁻⁵ of the draws (two-sided Gaussian tail) and takes 0.11 % off the variance.
    pub fn normal(&mut self) -> f64 {
        if self.bits.is_none() {
            return 0.0;
        }
        loop {
            // Box and Muller: one of their two draws, √(−2 ln u) · cos 2πv (rubydoc.info/gems/distrb, BoxMullerTransform).
            let (u, v) = (1.0 - self.uniform(), self.uniform());
            let z = (-2.0 * libm::log(u)).sqrt() * libm::cos(std::f64::consts::TAU * v);
            if z.abs() <= CUT {
                return z;
            }
        }
    }

    /// A value of a data sheet: half of all devices lie evenly between least and usual, half between usual and most.
    pub fn sheet(&mut self, sheet: Tolerance<f64>) -> f64 {
        at_standing(sheet, self.uniform())
    }

    /// A time of a data sheet, drawn as [`Self::sheet`] draws, rounded to a picosecond.
    pub fn sheet_time(&mut self, sheet: Tolerance<Span>) -> Span {
        if sheet.is_plain() || self.bits.is_none() {
            return sheet.typ;
        }
        self.standing_time(&mut None, sheet)
    }

    /// A time of a data sheet for a device that may be set anew in the course of a run: it keeps its standing among all
    /// devices, drawn when it is first needed.
    pub fn standing_time(&mut self, standing: &mut Option<f64>, sheet: Tolerance<Span>) -> Span {
        if sheet.is_plain() || self.bits.is_none() {
            return sheet.typ;
        }
        let u = *standing.get_or_insert_with(|| self.uniform());
        let ps = |s: Span| s.0 as f64;
        let drawn = at_standing(Tolerance { min: ps(sheet.min), typ: ps(sheet.typ), max: ps(sheet.max) }, u);
        Span((drawn.round() as i64).clamp(sheet.min.0, sheet.max.0))
    }

    /// A time of `sd` times a normal draw, rounded to a picosecond.
    pub fn normal_time(&mut self, sd: Span) -> Span {
        Span((self.normal() * sd.0 as f64).round() as i64)
    }
}

/// The value of a device of which this share of all devices is below.
fn at_standing(sheet: Tolerance<f64>, u: f64) -> f64 {
    let t = 2.0 * u;
    if t < 1.0 { sheet.min + t * (sheet.typ - sheet.min) } else { sheet.typ + (t - 1.0) * (sheet.max - sheet.typ) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn normal_draws_have_the_moments_of_a_cut_gaussian() {
        let mut chance = Run::Drawn { seed: 1, number: 1 }.chance("test");
        let draws: Vec<f64> = (0..200_000).map(|_| chance.normal()).collect();
        let n = draws.len() as f64;
        let mean = draws.iter().sum::<f64>() / n;
        let variance = draws.iter().map(|z| z * z).sum::<f64>() / n;
        // 1 − 2·4·φ(4)/(2Φ(4) − 1) = 0.998929; standard errors 0.0022 and 0.0032, five of each.
        assert!(mean.abs() < 0.011, "{mean}");
        assert!((variance - 0.998_929).abs() < 0.016, "{variance}");
        // Beyond one and two standard deviations: 0.317311 and 0.0455003 of all (Gaussian tails, closed form).
        let beyond = |k: f64| draws.iter().filter(|z| z.abs() > k).count() as f64 / n;
        assert!((beyond(1.0) - 0.317_311).abs() < 0.005);
        assert!((beyond(2.0) - 0.045_500).abs() < 0.0025);
    }

    #[test]
    fn runs_and_purposes_draw_apart_and_always_alike() {
        let first = |number, purpose| Run::Drawn { seed: 1, number }.chance(purpose).uniform();
        assert_eq!(first(1, "a"), first(1, "a"));
        assert_ne!(first(1, "a"), first(2, "a"));
        assert_ne!(first(1, "a"), first(1, "b"));
        assert_eq!(Run::Typical.chance("a").uniform(), 0.5);
    }

    #[test]
    fn half_of_all_devices_lie_below_the_usual_value() {
        let sheet = Tolerance { min: 0.0, typ: 1.0, max: 5.0 };
        let mut chance = Run::Drawn { seed: 2, number: 1 }.chance("test");
        let draws: Vec<f64> = (0..20_000).map(|_| chance.sheet(sheet)).collect();
        let below = draws.iter().filter(|x| **x < 1.0).count() as f64 / 20_000.0;
        // Standard error 0.0035, five of it.
        assert!((below - 0.5).abs() < 0.018);
        assert!(draws.iter().all(|x| (0.0..=5.0).contains(x)));
        assert_eq!(Chance::none().sheet(sheet), 1.0);
    }
}
