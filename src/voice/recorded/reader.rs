//! Reads a wave anywhere between its samples, without what a master does not hold.

use crate::dsp::{kaiser, kaiser_beta, sinc};
use core::f64::consts::PI;
use rubato::interpolation::{get_nearest_times_4, interp_cubic};
use rubato::sinc_interpolator::{AlignedBuf, SincInterpolator};

/// The top of what is kept, in hertz: from here on nothing is left, and all stays as it is up to nine tenths of it, which is
/// the 18 kHz that drawn voices have.
const TOP: f64 = 20_000.0;
const PASS: f64 = 0.9;
/// How far down that is which is not kept, and by how much that strays which is: −140 dB.
const DEPTH_DB: f64 = 140.0;

/// The kernel at a few places between two samples, a row each: a sinc under Kaiser's window.
///
/// `rubato` reads between the rows by a cubic through four of them. Its own rows come from the platform's sine, and its own
/// sums from whatever the processor adds fastest; these come from `libm` and are summed in one order, so that they are the
/// same everywhere.
struct Rows {
    rows: Vec<AlignedBuf<f64>>,
    taps: usize,
}

impl Rows {
    /// For a wave of so many samples a second.
    fn new(rate: f64) -> Self {
        let stop = TOP.min(rate / 2.0);
        let pass = PASS * stop;
        // The length by Kaiser's formula, (A − 7.95)/(2.285·Δω): the documentation of `scipy.signal.kaiserord`.
        let taps = libm::ceil((DEPTH_DB - 7.95) / (2.285 * 2.0 * PI * (stop - pass) / rate)) as usize;
        let taps = taps.next_multiple_of(8);
        // A cubic between rows leaves (2πf/(rate·count))⁴·3/128 at f: −140 dB or less.
        let count: usize = if rate > 64_000.0 { 32 } else { 128 };
        let cutoff = (pass + stop) / rate;
        let half = taps as f64 / 2.0;
        let row = |r: usize| {
            let tap = |k: usize| {
                // Where `rubato` has the middle of a row.
                let t = k as f64 - (half - 1.0 + (r + 1) as f64 / count as f64);
                cutoff * sinc(cutoff * t) * kaiser(t / half, kaiser_beta(DEPTH_DB))
            };
            let row: Vec<f64> = (0..taps).map(tap).collect();
            AlignedBuf::from_slice(&row)
        };
        Self { rows: (0..count).map(row).collect(), taps }
    }
}

impl SincInterpolator<f64> for Rows {
    /// The sum of products, in an order that is fixed and that suits a machine that adds eight at a time.
    fn get_sinc_dot_product(&self, wave: &[f64], index: usize, row: &[f64]) -> f64 {
        let mut sums = [0.0; 8];
        for (near, taps) in wave[index..].chunks_exact(8).zip(row.chunks_exact(8)) {
            for ((sum, x), tap) in sums.iter_mut().zip(near).zip(taps) {
                *sum += x * tap;
            }
        }
        sums.iter().sum()
    }

    fn get_sincs(&self) -> &[AlignedBuf<f64>] {
        &self.rows
    }

    fn nbr_points(&self) -> usize {
        self.taps
    }

    fn nbr_sincs(&self) -> usize {
        self.rows.len()
    }
}

/// A wave that can be read anywhere.
pub(super) struct Reader {
    rows: Rows,
    /// With silence around it.
    wave: Vec<f64>,
    length: usize,
}

impl Reader {
    /// Of so many samples a second.
    pub(super) fn new(samples: &[f64], rate: u32) -> Self {
        let rows = Rows::new(f64::from(rate));
        let around = rows.taps + 2;
        let mut wave = vec![0.0; around];
        wave.extend_from_slice(samples);
        wave.resize(samples.len() + 2 * around, 0.0);
        Self { rows, wave, length: samples.len() }
    }

    /// How many samples before its first and after its last it rings.
    pub(super) fn reach(&self) -> f64 {
        self.rows.taps as f64 / 2.0
    }

    /// Its value at a place, in samples from its first on; 0 where it does not reach.
    pub(super) fn at(&self, place: f64) -> f64 {
        let reach = self.reach();
        if !(-reach..=self.length as f64 + reach).contains(&place) {
            return 0.0;
        }
        let count = self.rows.rows.len();
        // As the documentation of `rubato::sinc_interpolator` maps a place to rows; exact, since the count is a power of two.
        let around = (self.rows.taps + 2) as f64;
        let t = place + around - reach + 1.0 - 1.0 / count as f64;
        let mut nearest = [(0, 0); 4];
        get_nearest_times_4(t, count as isize, &mut nearest);
        let read = |(index, row): (isize, isize)| {
            self.rows.get_sinc_interpolated(&self.wave, index.unsigned_abs(), row.unsigned_abs())
        };
        let part = t * count as f64;
        let part = part - libm::floor(part);
        if part == 0.0 { read(nearest[1]) } else { interp_cubic(part, &nearest.map(read)) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dsp::decibels;

    /// A tone under a window that neither begins nor ends with an edge, and its closed form anywhere.
    fn tone(hz: f64, rate: f64, length: f64) -> impl Fn(f64) -> f64 {
        move |place: f64| {
            let part = place / length;
            // Four times the Hann window's exponent: its skirts are past −200 dB within 20 of its lines.
            let window = if (0.0..=1.0).contains(&part) { libm::pow(libm::sin(PI * part), 8.0) } else { 0.0 };
            window * libm::sin(2.0 * PI * hz / rate * place)
        }
    }

    /// The largest error against the closed form, over the tone's peak, at 96 kHz and odd places: ripple, images and time in one.
    fn worst(hz: f64, rate: u32, meant: f64) -> f64 {
        let length = f64::from(rate) * 0.05;
        let tone = tone(hz, f64::from(rate), length);
        let samples: Vec<f64> = (0..length as u32).map(|n| tone(f64::from(n))).collect();
        let reader = Reader::new(&samples, rate);
        let step = f64::from(rate) / 96_000.0;
        let error = |n: i32| {
            let place = 0.371 + f64::from(n) * step;
            (reader.at(place) - meant * tone(place)).abs()
        };
        (-200..5_000).map(error).fold(0.0, f64::max)
    }

    #[test]
    fn what_a_master_holds_is_read_at_any_place_and_rate() {
        // Closed form: a sampled tone is the tone. The same sums in numpy, with the Bessel function of scipy, leave −146 dB or less.
        for rate in [8_000, 11_025, 22_050, 44_100, 48_000, 88_200, 96_000, 192_000, 384_000] {
            let top = PASS * TOP.min(f64::from(rate) / 2.0);
            for part in [0.01, 0.3, 0.77, 0.97] {
                let error = decibels(worst(part * top, rate, 1.0));
                assert!(error < -140.0, "{} Hz of {rate}: {error} dB", part * top);
            }
        }
    }

    #[test]
    fn the_kernel_is_that_of_another_library() {
        // By numpy.sinc and scipy.special.i0, with the lengths and the cutoff of this file.
        let reader = Reader::new(&[1.0], 44_100);
        for (place, meant) in [
            (0.0, 0.861_678_004_535_147),
            (0.371, 0.723_891_730_432_963),
            (1.5, -0.168_454_521_739_740),
            (-10.25, 0.014_596_540_369_994),
            (60.7, 0.000_313_471_401_772),
        ] {
            assert!((reader.at(place) - meant).abs() < 1e-13, "{place}: {}", reader.at(place));
        }
    }

    #[test]
    fn what_a_master_does_not_hold_is_gone() {
        // From 20 kHz on, and so all that would fold at 96 kHz.
        for (hz, rate) in
            [(20_500.0, 48_000), (21_900.0, 44_100), (30_000.0, 96_000), (60_000.0, 192_000), (95_000.0, 384_000)]
        {
            let left = decibels(worst(hz, rate, 0.0));
            assert!(left < -140.0, "{hz} Hz of {rate}: {left} dB");
        }
    }
}
