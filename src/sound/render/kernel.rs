use super::error::RenderError;
use crate::dsp::{MASTER_RATE, Master};
use crate::dsp::{kaiser, kaiser_beta, sinc};
use std::sync::LazyLock;

/// Lowest sample rate that can be rendered, in hertz.
pub const LOWEST_RATE: u32 = 8_000;
/// Highest sample rate that can be rendered, in hertz.
pub const HIGHEST_RATE: u32 = 384_000;

const TAPS: usize = 16;
const HALF: usize = TAPS / 2;
/// Rows a tap distance; straight lines between them leave −135 dB at 18 kHz.
const STEPS: usize = 1024;
/// Between 18 kHz and its first image at 78 kHz, 16 taps give up to 150 dB (Kaiser's formula).
const DEPTH_DB: f64 = 140.0;

/// Row `p` reads at `p / STEPS` of the way from one sample to the next: a sinc under Kaiser's window.
static ROWS: LazyLock<Vec<[f32; TAPS]>> = LazyLock::new(|| {
    let row = |p: usize| {
        let tap = |j: usize| {
            let t = p as f64 / STEPS as f64 - (j as f64 - (HALF as f64 - 1.0));
            sinc(t) * kaiser(t / HALF as f64, kaiser_beta(DEPTH_DB))
        };
        let mut row = [0.0; TAPS];
        row.copy_from_slice(&unity(&std::array::from_fn::<f64, TAPS, _>(tap)));
        row
    };
    (0..=STEPS).map(row).collect()
});

/// Reads a master between its samples.
#[derive(Clone, Copy, Debug)]
pub(super) struct Kernel {
    rate: u32,
}

impl Kernel {
    /// A reader at a rate in hertz.
    pub(super) fn new(rate: u32) -> Result<Self, RenderError> {
        if !(LOWEST_RATE..=HIGHEST_RATE).contains(&rate) {
            return Err(RenderError::SampleRate { found: rate, least: LOWEST_RATE, most: HIGHEST_RATE });
        }
        Ok(Self { rate })
    }

    /// The rate that is read out, in hertz.
    pub(super) fn rate(&self) -> u32 {
        self.rate
    }

    /// The output samples, counted from the hit, outside which a master that lasts from `pre` samples before the hit
    /// to `post` after it is silent, whatever part of a sample it is delayed by.
    pub(super) fn reach(&self, pre: i64, post: i64) -> (i64, i64) {
        let (rate, master) = (i128::from(self.rate), i128::from(MASTER_RATE));
        let out = |samples: i128| (samples * rate).div_euclid(master) as i64;
        let half = HALF as i128;
        (out(-i128::from(pre) - half) - 2, out(i128::from(post) + half) + 3)
    }

    /// Reads a master at the output rate, delayed by `num / den` of an output sample: `out[a]` is the master
    /// `first + a − num/den` output samples after its hit.
    pub(super) fn read(&self, master: &Master, first: i64, (num, den): (u64, u64), out: &mut [f32]) {
        let whole = i128::from(self.rate) * i128::from(den);
        let step = i128::from(MASTER_RATE) * i128::from(den);
        let start = (i128::from(first) * i128::from(den) - i128::from(num)) * i128::from(MASTER_RATE);
        let (step_at, step_rem) = (step.div_euclid(whole) as i64, step.rem_euclid(whole) as u64);
        let (mut at, mut rem) = (start.div_euclid(whole) as i64 + master.pre, start.rem_euclid(whole) as u64);
        let whole = whole as u64;
        let rows = &*ROWS;
        let row = |rem: u64| {
            let fine = rem as f64 / whole as f64 * STEPS as f64;
            let row = (fine as usize).min(STEPS - 1);
            (&rows[row], &rows[row + 1], (fine - row as f64) as f32)
        };
        // Where the master's rate is a multiple of the output's, every sample lies at the same part of the way.
        let only = (step_rem == 0).then(|| row(rem));
        for y in out {
            let from = at + 1 - HALF as i64;
            let inside = usize::try_from(from).ok().and_then(|from| master.samples.get(from..)?.first_chunk());
            let edge;
            let near = if let Some(near) = inside {
                near
            } else {
                // Silence surrounds the master.
                let sample = |j: usize| master.samples.get(usize::try_from(from + j as i64).ok()?).copied();
                edge = std::array::from_fn(|j| sample(j).unwrap_or(0.0));
                &edge
            };
            let (a, b, part) = only.unwrap_or_else(|| row(rem));
            let a = dot(a, near);
            *y = if part == 0.0 { a } else { a + (dot(b, near) - a) * part };
            at += step_at;
            rem += step_rem;
            if rem >= whole {
                rem -= whole;
                at += 1;
            }
        }
    }
}

/// The sum of products, in an order that is fixed and that suits a machine that adds four at a time.
fn dot(a: &[f32; TAPS], b: &[f32; TAPS]) -> f32 {
    let products: [f32; TAPS] = std::array::from_fn(|i| a[i] * b[i]);
    let eight: [f32; 8] = std::array::from_fn(|i| products[i] + products[i + 8]);
    let four: [f32; 4] = std::array::from_fn(|i| eight[i] + eight[i + 4]);
    (four[0] + four[2]) + (four[1] + four[3])
}

/// The sums of `taps` and the samples that begin where each output does, from the first tap on; `samples` is longer than
/// `out` by all taps but one.
pub(super) fn correlate(taps: &[f32], samples: &[f32], out: &mut [f32]) {
    const WIDE: usize = 16;
    let whole = out.len() / WIDE * WIDE;
    for (n, out) in out[..whole].chunks_exact_mut(WIDE).enumerate() {
        let mut sums = [0.0_f32; WIDE];
        for (tap, near) in taps.iter().zip(samples[n * WIDE..].windows(WIDE)) {
            for (sum, v) in sums.iter_mut().zip(near) {
                *sum += tap * v;
            }
        }
        out.copy_from_slice(&sums);
    }
    for (out, near) in out[whole..].iter_mut().zip(samples[whole..].windows(taps.len())) {
        *out = taps.iter().zip(near).fold(0.0, |sum, (tap, v)| sum + tap * v);
    }
}

/// Scales taps to a sum of one and rounds them so that they keep it: what one loses the next smaller one is given. A
/// steady level stays steady, and rows that take turns do not modulate it.
pub(super) fn unity(taps: &[f64]) -> Vec<f32> {
    let sum: f64 = taps.iter().sum();
    let mut order: Vec<usize> = (0..taps.len()).collect();
    order.sort_by(|a, b| taps[*b].abs().total_cmp(&taps[*a].abs()));
    let mut out = vec![0.0; taps.len()];
    let mut lost = 0.0;
    for at in order {
        let exact = taps[at] / sum + lost;
        out[at] = exact as f32;
        lost = exact - f64::from(out[at]);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_kernel_passes_18_khz_and_stops_its_images() {
        // The rows together are the kernel at `STEPS` points a sample, so its Fourier sum is the response. The last row
        // is the first one again, a sample later.
        let response = |hz: f64| {
            let mut sum = 0.0;
            for (p, row) in ROWS[..STEPS].iter().enumerate() {
                for (j, tap) in row.iter().enumerate() {
                    let t = p as f64 / STEPS as f64 - (j as f64 - (HALF as f64 - 1.0));
                    sum += f64::from(*tap) * (2.0 * std::f64::consts::PI * hz / f64::from(MASTER_RATE) * t).cos();
                }
            }
            20.0 * (sum / STEPS as f64).abs().log10()
        };
        for hz in [0.0, 1_000.0, 10_000.0, 18_000.0] {
            assert!(response(hz).abs() < 1e-5, "{hz} Hz: {} dB", response(hz));
        }
        // The images of 0 to 18 kHz about the master's rate and twice that.
        for hz in [78_000.0, 85_000.0, 96_100.0, 114_000.0, 180_000.0] {
            assert!(response(hz) < -135.0, "{hz} Hz: {} dB", response(hz));
        }
    }

    #[test]
    fn rows_keep_a_steady_level() {
        for row in ROWS.iter() {
            let sum: f64 = row.iter().map(|tap| f64::from(*tap)).sum();
            // Less than a tenth of what the largest tap alone could lose.
            assert!((sum - 1.0).abs() < 3e-9, "{sum}");
        }
    }

    #[test]
    fn sums_are_the_same_wherever_an_output_falls() {
        let samples: Vec<f32> = (0..100_u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 8) as f32 / 1e7).collect();
        let taps = [0.25, -3.0, 0.7];
        for len in [0, 1, 15, 16, 17, 32, 90] {
            let mut out = vec![0.0; len];
            correlate(&taps, &samples[..len + 2], &mut out);
            for (n, v) in out.iter().enumerate() {
                assert_eq!(*v, 0.25 * samples[n] + -3.0 * samples[n + 1] + 0.7 * samples[n + 2], "{n} of {len}");
            }
        }
    }
}
