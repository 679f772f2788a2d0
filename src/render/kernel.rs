use super::bank::{MASTER_RATE, Master};
use super::error::RenderError;
use std::borrow::Cow;
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
        for y in out {
            let near = self.near(&master.samples, at);
            *y = match &only {
                Some(row) => dot(row, &near),
                None => {
                    let (a, b, part) = row(rem);
                    let (a, b) = (dot(a, &near), dot(b, &near));
                    a + (b - a) * part
                }
            };
            at += step_at;
            rem += step_rem;
            if rem >= whole {
                rem -= whole;
                at += 1;
            }
        }
    }

    /// The samples that count for a value after master sample `at`; silence surrounds the master.
    fn near<'m>(&self, master: &'m [f32], at: i64) -> Cow<'m, [f32]> {
        let from = at + 1 - (self.taps / 2) as i64;
        let inside = usize::try_from(from).ok().and_then(|from| master.get(from..from + self.taps));
        inside.map_or_else(
            || {
                let sample = |j: usize| usize::try_from(from + j as i64).ok().and_then(|i| master.get(i)).copied();
                (0..self.taps).map(|j| sample(j).unwrap_or(0.0)).collect()
            },
            Cow::Borrowed,
        )
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
