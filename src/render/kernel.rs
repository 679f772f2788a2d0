use super::bank::{MASTER_RATE, Master};
use super::error::RenderError;
use std::f64::consts::PI;

/// Lowest sample rate that can be rendered, in hertz.
pub const LOWEST_RATE: u32 = 8_000;
/// Highest sample rate that can be rendered, in hertz.
pub const HIGHEST_RATE: u32 = 384_000;

/// From this rate on half the sample rate lies above the 18 kHz in which masters live, and nothing has to be taken away.
const FULL_BAND_FROM: u32 = 40_000;
/// Taps where nothing has to be taken away: between 18 kHz and the first image at 78 kHz, 12.5 give 120 dB.
const FULL_BAND_TAPS: usize = 16;
/// Rows a tap distance at the full band; straight lines between them leave −135 dB at 18 kHz.
const FULL_BAND_STEPS: usize = 1024;

/// Reads a master between its samples: a windowed sinc, tabulated.
///
/// Kaiser's window; its length and shape from his formulas (from memory: `N = (A − 8) / 2.285 Δω`,
/// `β = 0.1102 (A − 8.7)`), held in the tests against the response that comes out.
#[derive(Clone, Debug)]
pub(super) struct Kernel {
    /// The rate that is read out, in hertz.
    rate: u32,
    taps: usize,
    steps: usize,
    /// `steps + 1` rows of `taps`: row `p` reads at `p / steps` of the way from one sample to the next.
    rows: Vec<f32>,
}

impl Kernel {
    pub(super) fn new(rate: u32) -> Result<Self, RenderError> {
        if !(LOWEST_RATE..=HIGHEST_RATE).contains(&rate) {
            return Err(RenderError::SampleRate { found: rate, least: LOWEST_RATE, most: HIGHEST_RATE });
        }
        let master = f64::from(MASTER_RATE);
        let (cutoff, taps, steps, depth) = if rate >= FULL_BAND_FROM {
            (0.5, FULL_BAND_TAPS, FULL_BAND_STEPS, 120.0)
        } else {
            // All must be gone at half the rate; what lies below 0.85 of that stays.
            let (pass, stop, depth) = (0.425 * f64::from(rate), 0.5 * f64::from(rate), 100.0);
            let taps = (depth - 8.0) / (2.285 * 2.0 * PI * (stop - pass) / master);
            let cutoff = 0.5 * (pass + stop) / master;
            let steps = (FULL_BAND_STEPS as f64 * 2.0 * cutoff).ceil() as usize;
            (cutoff, (taps.ceil() as usize).next_multiple_of(8), steps.next_power_of_two(), depth)
        };
        let beta = 0.1102 * (depth - 8.7);
        let half = taps / 2;
        let mut rows = Vec::with_capacity((steps + 1) * taps);
        let mut row = vec![0.0; taps];
        for p in 0..=steps {
            for (j, h) in row.iter_mut().enumerate() {
                let t = p as f64 / steps as f64 - (j as f64 - (half as f64 - 1.0));
                *h = sinc(2.0 * cutoff * t) * kaiser(t / half as f64, beta);
            }
            // A steady level must stay steady: every row sums to one.
            let sum: f64 = row.iter().sum();
            rows.extend(row.iter().map(|h| (h / sum) as f32));
        }
        Ok(Self { rate, taps, steps, rows })
    }

    /// The rate that is read out, in hertz.
    pub(super) fn rate(&self) -> u32 {
        self.rate
    }

    /// The output samples, counted from the hit, outside which a master that lasts from `pre` samples before the hit
    /// to `post` after it is silent, whatever part of a sample it is delayed by.
    pub(super) fn reach(&self, pre: usize, post: usize) -> (i64, i64) {
        let (rate, master) = (i128::from(self.rate), i128::from(MASTER_RATE));
        let out = |samples: i128| (samples * rate).div_euclid(master) as i64;
        let half = (self.taps / 2) as i128;
        (out(-(pre as i128) - half) - 2, out(post as i128 + half) + 3)
    }

    /// Reads a master at the output rate, delayed by `num / den` of an output sample: `out[a]` is the master
    /// `first + a − num/den` output samples after its hit.
    pub(super) fn read(&self, master: &Master, first: i64, (num, den): (u64, u64), out: &mut [f32]) {
        let whole = i128::from(self.rate) * i128::from(den);
        let step = i128::from(MASTER_RATE) * i128::from(den);
        let start = (i128::from(first) * i128::from(den) - i128::from(num)) * i128::from(MASTER_RATE);
        let (step_at, step_rem) = (step.div_euclid(whole) as i64, step.rem_euclid(whole) as u64);
        let (mut at, mut rem) = (start.div_euclid(whole) as i64 + master.pre as i64, start.rem_euclid(whole) as u64);
        let whole = whole as u64;
        let row = |rem: u64| {
            let fine = rem as f64 / whole as f64 * self.steps as f64;
            let row = (fine as usize).min(self.steps - 1);
            let row_of = |p: usize| &self.rows[p * self.taps..(p + 1) * self.taps];
            (row_of(row), row_of(row + 1), (fine - row as f64) as f32)
        };
        let between = |(a, b, part): (&[f32], &[f32], f32)| -> Vec<f32> {
            a.iter().zip(b).map(|(a, b)| a + (b - a) * part).collect()
        };
        // Where the master's rate is a multiple of the output's, every sample lies at the same part of the way.
        let only = (step_rem == 0).then(|| between(row(rem)));
        let mut edge = vec![0.0; self.taps];
        for y in out {
            let from = at + 1 - (self.taps / 2) as i64;
            let inside = usize::try_from(from).ok().and_then(|from| master.samples.get(from..from + self.taps));
            let near = inside.unwrap_or_else(|| {
                // Silence surrounds the master.
                for (v, i) in edge.iter_mut().zip(from..) {
                    *v = usize::try_from(i).ok().and_then(|i| master.samples.get(i)).copied().unwrap_or(0.0);
                }
                &edge
            });
            *y = if let Some(row) = &only {
                dot(row, near)
            } else {
                let (a, b, part) = row(rem);
                let (a, b) = (dot(a, near), dot(b, near));
                a + (b - a) * part
            };
            at += step_at;
            rem += step_rem;
            if rem >= whole {
                rem -= whole;
                at += 1;
            }
        }
    }
}

/// Eight running sums in a fixed order, so that the sum is the same on every machine.
fn dot(a: &[f32], b: &[f32]) -> f32 {
    let mut sums = [0.0_f32; 8];
    for (a, b) in a.chunks_exact(8).zip(b.chunks_exact(8)) {
        for ((sum, a), b) in sums.iter_mut().zip(a).zip(b) {
            *sum += a * b;
        }
    }
    let [a, b, c, d, e, f, g, h] = sums;
    ((a + e) + (c + g)) + ((b + f) + (d + h))
}

/// `sin(πx) / πx`
pub(super) fn sinc(x: f64) -> f64 {
    if x == 0.0 { 1.0 } else { libm::sin(PI * x) / (PI * x) }
}

/// Kaiser's window over −1 to 1, 0 outside.
pub(super) fn kaiser(x: f64, beta: f64) -> f64 {
    if x.abs() > 1.0 { 0.0 } else { bessel_i0(beta * libm::sqrt(1.0 - x * x)) / bessel_i0(beta) }
}

/// The modified Bessel function of order 0, by its series: all terms are positive, so nothing is lost.
fn bessel_i0(x: f64) -> f64 {
    let quarter = x * x / 4.0;
    let (mut sum, mut term, mut k) = (1.0, 1.0, 1.0);
    while term > sum * 1e-17 {
        term *= quarter / (k * k);
        sum += term;
        k += 1.0;
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    /// How a tone of `hz` comes out at its own frequency, halfway between two samples: the table's transform.
    fn response(kernel: &Kernel, hz: f64) -> f64 {
        // The rows together are the kernel at `steps` points a sample, so this is its Fourier sum. The last row is the
        // first one again, a sample later.
        let mut sum = 0.0;
        for p in 0..kernel.steps {
            for j in 0..kernel.taps {
                let t = p as f64 / kernel.steps as f64 - (j as f64 - (kernel.taps as f64 / 2.0 - 1.0));
                let phase = 2.0 * PI * hz / f64::from(MASTER_RATE) * t;
                sum += f64::from(kernel.rows[p * kernel.taps + j]) * phase.cos();
            }
        }
        20.0 * (sum / kernel.steps as f64).abs().log10()
    }

    #[test]
    fn the_full_band_passes_18_khz_and_stops_its_images() {
        let kernel = Kernel::new(48_000).expect("a usual rate");
        for hz in [0.0, 1_000.0, 10_000.0, 18_000.0] {
            let gain = response(&kernel, hz);
            assert!(gain.abs() < 1e-4, "{hz} Hz: {gain} dB");
        }
        // The images of 0 to 18 kHz about the master's rate and twice that.
        for hz in [78_000.0, 85_000.0, 96_100.0, 114_000.0, 180_000.0] {
            let gain = response(&kernel, hz);
            assert!(gain < -115.0, "{hz} Hz: {gain} dB");
        }
    }

    #[test]
    fn a_low_rate_stops_at_its_half() {
        for rate in [8_000, 16_000, 32_000] {
            let kernel = Kernel::new(rate).expect("a usual rate");
            let half = f64::from(rate) / 2.0;
            for part in [0.1, 0.5, 0.8, 0.85] {
                let gain = response(&kernel, half * part);
                assert!(gain.abs() < 1e-3, "{rate} Hz, {part}: {gain} dB");
            }
            for part in [1.0, 1.01, 1.5, 3.0] {
                let gain = response(&kernel, half * part);
                assert!(gain < -95.0, "{rate} Hz, {part}: {gain} dB");
            }
        }
    }

    #[test]
    fn the_bessel_function_has_its_printed_values() {
        // From memory (Abramowitz and Stegun, table 9.8): I0(1) and I0(5).
        assert!((bessel_i0(1.0) - 1.266_065_877_752_008_4).abs() < 1e-15);
        assert!((bessel_i0(5.0) - 27.239_871_823_604_442).abs() < 1e-13);
    }
}
