//! K-weighting: how loud voices are against one another.

use super::{Drum, NoiseKey, Settings, VoiceError};
use crate::dsp::{Biquad, MASTER_RATE, Master, run};
use core::f64::consts::PI;

/// The K-weighted energy that [`balance_db`] brings voices to, in seconds at full scale: a mean square of −10 dB that
/// lasts 100 ms. It is near that of the built-in kick at its own peak of 1.
pub const K_REFERENCE: f64 = 0.01;

/// The two filters of K-weighting (ITU-R BS.1770-5, annex 1), for any sampling rate.
///
/// The recommendation prints coefficients for 48 kHz. These are computed from analogue prototypes that give them: a
/// high shelf and a high-pass, with the figures that open meters (the `ebur128` crate among them) use for this.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KFilter {
    rate: f64,
    stages: [Biquad; 2],
}

impl KFilter {
    /// The filters for `rate` samples a second.
    #[must_use]
    pub fn new(rate: f64) -> Self {
        let k = libm::tan(PI * 1_681.974_450_955_533 / rate);
        let q = 0.707_175_236_955_419_6;
        let high = libm::pow(10.0, 3.999_843_853_973_347 / 20.0);
        let band = libm::pow(high, 0.499_666_774_154_541_6);
        let norm = 1.0 + k / q + k * k;
        let shelf = Biquad {
            b: [
                (high + band * k / q + k * k) / norm,
                2.0 * (k * k - high) / norm,
                (high - band * k / q + k * k) / norm,
            ],
            a: [2.0 * (k * k - 1.0) / norm, (1.0 - k / q + k * k) / norm],
        };
        let low = Biquad::high_pass(38.135_470_876_024_44, 0.500_327_037_323_877_3, rate);
        // The recommendation gives this stage a numerator of 1, −2, 1 at 48 kHz, so its gain is a little above 1. At
        // another rate the gain far above the corner stays what it is there.
        let printed = Biquad::high_pass(38.135_470_876_024_44, 0.500_327_037_323_877_3, 48_000.0).b[0];
        let low = Biquad { b: low.b.map(|b| b / printed), ..low };
        Self { rate, stages: [shelf, low] }
    }

    /// The gain at `frequency`, in decibels.
    #[must_use]
    pub fn gain_db(&self, frequency: f64) -> f64 {
        let power: f64 = self.stages.iter().map(|stage| stage.power(frequency / self.rate)).product();
        10.0 * libm::log10(power)
    }

    /// The coefficients of each stage, b0, b1, b2, a1 and a2, where `y[n] = b0 x[n] + b1 x[n−1] + b2 x[n−2] − a1 y[n−1] − a2
    /// y[n−2]`.
    #[must_use]
    pub fn coefficients(&self) -> [[f64; 5]; 2] {
        self.stages.map(|Biquad { b: [b0, b1, b2], a: [a1, a2] }| [b0, b1, b2, a1, a2])
    }

    /// Filters from rest, in place.
    pub fn run(&self, samples: &mut [f64]) {
        run(&self.stages, samples);
    }
}

/// The K-weighted energy of a hit: the integral of its weighted square over all time, in seconds at full scale. A
/// stretch of `T` seconds that a loudness meter reads as `L` LKFS has `T · 10^((L + 0.691) / 10)`.
#[must_use]
pub fn k_energy(master: &Master) -> f64 {
    let rate = f64::from(MASTER_RATE);
    let mut samples: Vec<f64> = master.samples.iter().copied().map(f64::from).collect();
    // The high-pass rings on at 38 Hz, critically damped: after 0.1 s by more than 150 dB down.
    samples.resize(samples.len() + MASTER_RATE as usize / 10, 0.0);
    KFilter::new(rate).run(&mut samples);
    samples.iter().map(|x| x * x).sum::<f64>() / rate
}

/// The gain, in decibels to one place, that brings a voice at its peak of 1 to the K-weighted energy [`K_REFERENCE`]:
/// with it, unlike voices are about equally loud. Its noise is drawn by a fixed key; other draws differ a little.
///
/// # Errors
///
/// As [`Settings::check`].
pub fn balance_db(settings: &Settings) -> Result<f64, VoiceError> {
    Ok(Drum::new(settings)?.balance_db())
}

impl Drum {
    /// The gain, in decibels, that brings it to [`K_REFERENCE`]: see [`balance_db`].
    #[must_use]
    pub fn balance_db(&self) -> f64 {
        let master = self.master(&NoiseKey::new(0, "balance"));
        libm::round(100.0 * libm::log10(K_REFERENCE / k_energy(&master))) / 10.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn coefficients_at_48_khz_are_those_of_the_recommendation() {
        // ITU-R BS.1770-5, annex 1, tables 1 and 2, printed to 14 decimals; computed through tan and pow, so the last
        // digits may differ.
        let [shelf, low] = KFilter::new(48_000.0).stages;
        let printed = [
            (shelf.b[0], 1.535_124_859_586_97),
            (shelf.b[1], -2.691_696_189_406_38),
            (shelf.b[2], 1.198_392_810_852_85),
            (shelf.a[0], -1.690_659_293_182_41),
            (shelf.a[1], 0.732_480_774_215_85),
            (low.b[0], 1.0),
            (low.b[1], -2.0),
            (low.b[2], 1.0),
            (low.a[0], -1.990_047_454_833_98),
            (low.a[1], 0.990_072_250_366_21),
        ];
        for (found, expected) in printed {
            assert!((found - expected).abs() < 1e-12, "{found} {expected}");
        }
    }

    #[test]
    fn gains_are_those_of_the_printed_coefficients_at_48_khz_and_near_them_at_96() {
        // Closed form of the printed coefficients, worked out apart from this program.
        let table = [
            (20.0, -13.2754),
            (50.0, -3.9341),
            (100.0, -1.1335),
            (200.0, -0.2649),
            (500.0, 0.0425),
            (997.0, 0.69101),
            (1000.0, 0.69770),
            (2000.0, 3.0713),
            (4000.0, 3.9680),
            (10_000.0, 4.0419),
        ];
        for (frequency, expected) in table {
            let at_48 = KFilter::new(48_000.0).gain_db(frequency);
            assert!((at_48 - expected).abs() < 1e-4, "{frequency}: {at_48}");
            // The bilinear transform keeps a corner and bends the rest; the shelf's slope moves a little.
            let at_96 = KFilter::new(96_000.0).gain_db(frequency);
            assert!((at_96 - expected).abs() < 0.05, "{frequency}: {at_96}");
        }
    }
}
