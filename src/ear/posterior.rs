use super::Level;
use super::prior::{CURVES, Curves, GAPS, LAPSES, LOWEST, SLOPES, STEP};

/// How likely every gap, slope and lapse rate is after some answers: a grid, by the rule of Bayes. Sums, products and quotients alone,
/// in one order: the page comes to the same bits.
#[derive(Clone, Debug, PartialEq)]
pub struct Posterior {
    curves: Curves,
    /// Gap by gap, and for each gap curve by curve; together 1.
    weights: Vec<f64>,
    /// How much likelier the answers are for listeners of the prior than for one who guesses.
    against_guessing: f64,
}

impl Posterior {
    /// Before there is an answer: of the gap at which `share` of the answers are right, where guessing gives `guess_rate`. `None` for
    /// a share that some listeners never reach.
    #[must_use]
    pub fn new(guess_rate: f64, share: f64) -> Option<Self> {
        let curves = Curves::new(guess_rate, share)?;
        let whole = curves.weights.iter().sum::<f64>() * GAPS as f64;
        let weights = (0..GAPS).flat_map(|_| curves.weights.iter().map(|w| w / whole)).collect();
        Some(Self { curves, weights, against_guessing: 1.0 })
    }

    /// The gap of the grid at a place.
    const fn gap(n: usize) -> i32 {
        LOWEST.0 + STEP * n as i32
    }

    pub(super) const fn curves(&self) -> &Curves {
        &self.curves
    }

    pub(super) fn weights(&self) -> &[f64] {
        &self.weights
    }

    /// Takes an answer.
    pub fn answer(&mut self, level: Level, right: bool) {
        let mut sum = 0.0;
        for (n, of_gap) in self.weights.chunks_exact_mut(CURVES).enumerate() {
            for (weight, share) in of_gap.iter_mut().zip(self.curves.right(level.0 - Self::gap(n))) {
                *weight *= if right { share } else { 1.0 - share };
                sum += *weight;
            }
        }
        for weight in &mut self.weights {
            *weight /= sum;
        }
        let guess = self.curves.guess_rate();
        self.against_guessing *= sum / if right { guess } else { 1.0 - guess };
    }

    /// How likely each gap of the grid is.
    #[must_use]
    pub fn gaps(&self) -> Vec<f64> {
        self.weights
            .chunks_exact(CURVES)
            .map(|of_gap| {
                let mut sum = 0.0;
                for weight in of_gap {
                    sum += weight;
                }
                sum
            })
            .collect()
    }

    /// The gap below which a share of what is likely lies, in millionths of an octave above 1 ms: within a step of the grid evenly.
    #[must_use]
    pub fn quantile(&self, share: f64) -> f64 {
        let mut sum = 0.0;
        for (n, weight) in self.gaps().into_iter().enumerate() {
            if sum + weight >= share {
                return f64::from(Self::gap(n)) + ((share - sum) / weight - 0.5) * f64::from(STEP);
            }
            sum += weight;
        }
        f64::from(Self::gap(GAPS - 1))
    }

    /// The ends of the middle 95 %: see [`quantile`](Self::quantile).
    #[must_use]
    pub fn between(&self) -> [f64; 2] {
        [self.quantile(0.025), self.quantile(0.975)]
    }

    /// How likely it is that the gap is larger than one.
    #[must_use]
    pub fn above(&self, level: Level) -> f64 {
        let mut sum = 0.0;
        for (n, weight) in self.gaps().into_iter().enumerate() {
            if Self::gap(n) > level.0 {
                sum += weight;
            }
        }
        sum
    }

    /// How many times likelier the answers are for some listener who hears gaps than for one who guesses. Whoever guesses, and whenever
    /// he stops, passes a figure K in at most 1 of K sessions (Ville's inequality; from memory).
    #[must_use]
    pub const fn against_guessing(&self) -> f64 {
        self.against_guessing
    }

    /// Mean and standard deviation of the gap's natural logarithm, in ms.
    #[must_use]
    pub fn ln_moments(&self) -> (f64, f64) {
        let (mut mean, mut square) = (0.0, 0.0);
        for (n, weight) in self.gaps().into_iter().enumerate() {
            let ln = Level(Self::gap(n)).ln_ms();
            mean += weight * ln;
            square += weight * ln * ln;
        }
        (mean, (square - mean * mean).max(0.0).sqrt())
    }

    /// The mean slope, as a geometric one, and the mean lapse rate.
    #[must_use]
    pub fn slope_and_lapse_rate(&self) -> (f64, f64) {
        let (mut ln_slope, mut lapse_rate) = (0.0, 0.0);
        for of_gap in self.weights.chunks_exact(CURVES) {
            for (curve, weight) in of_gap.iter().enumerate() {
                ln_slope += weight * libm::log(SLOPES[curve / LAPSES.len()].0);
                lapse_rate += weight * LAPSES[curve % LAPSES.len()].0;
            }
        }
        (libm::exp(ln_slope), lapse_rate)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the rule of Bayes written out: every product of the prior and all likelihoods, normalised once.
    #[test]
    fn answers_one_by_one_are_all_at_once() {
        let (guess_rate, share) = (1.0 / 3.0, 0.8035);
        let mut posterior = Posterior::new(guess_rate, share).expect("reached");
        let answers = [(5_000_000, true), (3_000_000, true), (1_000_000, false), (2_400_000, true), (2_300_000, false)];
        for (level, right) in answers {
            posterior.answer(Level(level), right);
        }
        let mut all = Vec::new();
        let mut guessed = 1.0;
        for (_, right) in answers {
            guessed *= if right { guess_rate } else { 1.0 - guess_rate };
        }
        for n in 0..GAPS {
            for (slope, a) in SLOPES {
                for (lapse_rate, b) in LAPSES {
                    let high = 1.0 - guess_rate - lapse_rate;
                    let f: f64 = (share - guess_rate) / high;
                    let mut product = a * b;
                    for (level, right) in answers {
                        let z =
                            slope * (Level(level).ln_ms() - Level(Posterior::gap(n)).ln_ms()) + (f / (1.0 - f)).ln();
                        let p = guess_rate + high / (1.0 + (-z).exp());
                        product *= if right { p } else { 1.0 - p };
                    }
                    all.push(product);
                }
            }
        }
        let whole: f64 = all.iter().sum();
        for (own, other) in posterior.weights().iter().zip(&all) {
            // Rounding, and an exponential of its own.
            assert!((own - other / whole).abs() < 1e-12);
        }
        let prior: f64 =
            SLOPES.iter().map(|s| s.1).sum::<f64>() * LAPSES.iter().map(|l| l.1).sum::<f64>() * GAPS as f64;
        assert!((posterior.against_guessing() / (whole / prior / guessed) - 1.0).abs() < 1e-10);
    }

    /// Before there is an answer all gaps are alike: quantiles are those of an even spread, by hand.
    #[test]
    fn an_even_spread_has_its_quantiles() {
        let posterior = Posterior::new(0.5, 0.8035).expect("reached");
        let low = f64::from(LOWEST.0) - 50_000.0;
        for share in [0.025, 0.25, 0.5, 0.9] {
            assert!((posterior.quantile(share) - (low + share * 11_100_000.0)).abs() < 1.0, "{share}");
        }
        assert!((posterior.above(Level(6_950_000)) - 11.0 / 111.0).abs() < 1e-12);
        let (mean, sd) = posterior.ln_moments();
        // The variance of 111 even steps: (111² − 1)/12.
        let step = 0.1 * std::f64::consts::LN_2;
        assert!(
            (mean - 2.5 * std::f64::consts::LN_2).abs() < 1e-9
                && (sd - step * (12_320.0_f64 / 12.0).sqrt()).abs() < 1e-9
        );
    }
}
