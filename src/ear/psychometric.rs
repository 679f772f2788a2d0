/// The shape of a psychometric function over log time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Shape {
    /// `F = 1/(1 + e^(−s·ln(x/t)))`: ½ at the threshold.
    Logistic,
    /// `F = 1 − e^(−(x/t)^s)`: 1 − 1/e at the threshold.
    Weibull,
}

impl Shape {
    /// The name as people read it.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::Logistic => "logistic",
            Self::Weibull => "Weibull",
        }
    }
}

/// How the share of right answers grows with the gap: `γ + (1 − γ − λ)·F` (Wichmann and Hill, Perception & Psychophysics
/// 63:1293, 2001).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PsychometricFunction {
    /// Which `F`.
    pub shape: Shape,
    /// The natural logarithm of the threshold in ms: the `t` of [`Shape`].
    pub ln_threshold: f64,
    /// The `s` of [`Shape`], per natural logarithm of time.
    pub slope: f64,
    /// γ: the share of right answers that guessing gives.
    pub guess_rate: f64,
    /// λ: the share of answers that go wrong however plain the gap.
    pub lapse_rate: f64,
}

impl PsychometricFunction {
    /// The share of right answers at a gap, by the natural logarithm of its milliseconds.
    #[must_use]
    pub fn at(&self, ln_ms: f64) -> f64 {
        let z = self.slope * (ln_ms - self.ln_threshold);
        let f = match self.shape {
            Shape::Logistic => 1.0 / (1.0 + libm::exp(-z)),
            Shape::Weibull => -libm::expm1(-libm::exp(z)),
        };
        self.guess_rate + (1.0 - self.guess_rate - self.lapse_rate) * f
    }

    /// The natural logarithm of the gap, in ms, with that share of right answers; `None` for a share never reached.
    #[must_use]
    pub fn ln_ms_at(&self, share: f64) -> Option<f64> {
        let f = (share - self.guess_rate) / (1.0 - self.guess_rate - self.lapse_rate);
        if !(f > 0.0 && f < 1.0) {
            return None;
        }
        let z = match self.shape {
            Shape::Logistic => libm::log(f / (1.0 - f)),
            Shape::Weibull => libm::log(-libm::log1p(-f)),
        };
        Some(self.ln_threshold + z / self.slope)
    }

    /// The threshold in milliseconds.
    #[must_use]
    pub fn threshold_ms(&self) -> f64 {
        libm::exp(self.ln_threshold)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn curve(shape: Shape, guess_rate: f64, lapse_rate: f64) -> PsychometricFunction {
        PsychometricFunction { shape, ln_threshold: 1.5, slope: 2.5, guess_rate, lapse_rate }
    }

    /// Closed form at the threshold: see Wichmann and Hill 2001. Six places are given.
    #[test]
    fn shares_at_the_threshold_are_the_closed_form() {
        let rows = [
            (Shape::Weibull, 0.5, 0.0, 0.816_060),
            (Shape::Weibull, 0.5, 0.02, 0.803_418),
            (Shape::Logistic, 0.5, 0.02, 0.74),
            (Shape::Weibull, 0.0, 0.0, 0.632_121),
        ];
        for (shape, guess_rate, lapse_rate, share) in rows {
            assert!(
                (curve(shape, guess_rate, lapse_rate).at(1.5) - share).abs() < 1e-6,
                "{shape:?} {guess_rate} {lapse_rate}"
            );
        }
    }

    #[test]
    fn from_a_gap_to_a_share_and_back() {
        for shape in [Shape::Logistic, Shape::Weibull] {
            let curve = curve(shape, 1.0 / 3.0, 0.02);
            for x in [0.5, 1.0, 1.5, 2.0, 2.6] {
                let back = curve.ln_ms_at(curve.at(x)).expect("within");
                // Rounding, steep at the curve's ends.
                assert!((back - x).abs() < 1e-10, "{shape:?} {x} {back}");
            }
            assert!(curve.ln_ms_at(0.3).is_none() && curve.ln_ms_at(0.99).is_none());
            // The ends.
            assert!((curve.at(-40.0) - 1.0 / 3.0).abs() < 1e-9 && (curve.at(40.0) - 0.98).abs() < 1e-9);
        }
    }
}
