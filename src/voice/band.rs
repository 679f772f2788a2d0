//! A band of noise that starts at once.
//!
//! Both edges are Butterworth filters, of fourth order below and second order above: they answer at once, do not ring
//! before the hit, and the lower lets no constant part through. A linear-phase low-pass of finite length then ends every
//! band at 18 kHz, which nothing else does as steeply; its length is what rings before the hit, and since it lies above
//! most of the band, it rings little.

use crate::dsp::MASTER_RATE;
use crate::dsp::{Biquad, kaiser, run};
use core::f64::consts::{FRAC_1_SQRT_2, PI};

/// Where the last low-pass has fallen by 6 dB, in hertz, and the highest upper edge; 3.5 kHz further up it has fallen by
/// 90 dB.
pub(super) const HIGHEST: f64 = 14_500.0;
/// The narrowest band, in hertz.
pub(super) const NARROWEST: f64 = 4_000.0;
/// Why no band is narrower.
pub(super) const NARROW: &str = "a narrower band of noise has no sharp start";

/// Qualities of the two halves of a fourth-order Butterworth filter: `1 / (2 cos(π/8))` and `1 / (2 cos(3π/8))`.
const BUTTERWORTH: [f64; 2] = [0.541_196_100_146_197, 1.306_562_964_876_377];
/// Samples on each side of the middle of the low-pass. By Kaiser's formula, 90 dB over 7 kHz need 78:
/// taps − 1 is `(dB − 7.95) / (2.285 · 2π · width / rate)` (`scipy.signal.kaiserord`, after Oppenheim and Schafer,
/// Discrete-Time Signal Processing, pp. 475-476).
const SIDE: usize = 39;
/// Kaiser's shape for 90 dB, [`kaiser_beta`](crate::dsp::kaiser_beta) rounded; the tests measure what comes out.
const SHAPE: f64 = 8.96;
/// Outputs that are worked out side by side, in registers.
const GROUP: usize = 16;

/// A band of noise with a gain at which an impulse has a peak of 1.
#[derive(Clone, Debug)]
pub(super) struct Band {
    edges: [Biquad; 3],
    /// The low-pass from its middle outwards, with the gain.
    taps: [f64; SIDE + 1],
    /// Samples from an impulse to the peak of the answer.
    delay: usize,
    /// Samples after which nothing is left of an answer that a master could hold.
    rings: usize,
    /// The root of the impulse's energy: what unit white noise comes out as.
    spread: f64,
}

impl Band {
    /// A band from `low` to `high`, in hertz, both 3 dB down; the last low-pass takes its own off near its end.
    pub(super) fn new(low: f64, high: f64) -> Self {
        let rate = f64::from(MASTER_RATE);
        let cut = HIGHEST / rate;
        let window = |n: usize| {
            let part = n as f64 / (SIDE + 1) as f64;
            kaiser(part, SHAPE)
        };
        let taps = core::array::from_fn(|n| {
            let ideal = if n == 0 { 2.0 * cut } else { libm::sin(2.0 * PI * cut * n as f64) / (PI * n as f64) };
            ideal * window(n)
        });
        let [first, second] = BUTTERWORTH.map(|q| Biquad::high_pass(low, q, rate));
        let edges = [first, second, Biquad::low_pass(high, FRAC_1_SQRT_2, rate)];
        // The slowest pole is the lower edge's, at sin(π/8) of its angular frequency (Butterworth, fourth order). The least float of a
        // master is 1e-45; these are 120 powers of ten, so that whatever goes in is below it.
        let falls = 2.0 * PI * low * libm::sin(PI / 8.0) / rate;
        let rings = libm::ceil(120.0 * core::f64::consts::LN_10 / falls) as usize;
        let mut band = Self { edges, taps, delay: 0, rings, spread: 0.0 };
        // Long enough for the lowest edge, 500 Hz, to have rung out by 100 dB.
        let mut answer = vec![0.0; 2048];
        answer[SIDE] = 1.0;
        let answer = band.filter(answer);
        let (peak, at) =
            answer.iter().enumerate().fold((0.0, SIDE), |top, (n, x)| if x.abs() > top.0 { (x.abs(), n) } else { top });
        band.taps = band.taps.map(|tap| tap / peak);
        band.delay = at - SIDE;
        band.spread = libm::sqrt(answer.iter().map(|x| x * x).sum()) / peak;
        band
    }

    /// Samples from an impulse to the peak of the answer.
    pub(super) const fn delay(&self) -> usize {
        self.delay
    }

    /// Samples from the start of the answer to its peak.
    pub(super) const fn reach(&self) -> usize {
        SIDE + self.delay
    }

    /// Samples that the answer begins before what goes in.
    pub(super) const fn lead(&self) -> usize {
        SIDE
    }

    /// What the band makes of unit white noise, as RMS.
    pub(super) const fn spread(&self) -> f64 {
        self.spread
    }

    /// The band's answer, as long as what goes in. Where it has rung out it is nothing: filters that are left alone come to numbers so
    /// small that a processor takes a hundred times as long for each.
    pub(super) fn filter(&self, mut samples: Vec<f64>) -> Vec<f64> {
        let last = samples.iter().rposition(|x| *x != 0.0).map_or(0, |last| last + 1);
        let whole = samples.len();
        let rung = (last + self.rings).min(whole);
        run(&self.edges, &mut samples[..rung]);
        // A block of zeros more than the answer reaches, so that the last group of outputs is whole.
        let mut padded = vec![0.0; samples.len() + 2 * SIDE + GROUP];
        padded[SIDE..SIDE + samples.len()].copy_from_slice(&samples);
        for (group, out) in samples[..(rung + SIDE).min(whole)].chunks_mut(GROUP).enumerate() {
            let near = &padded[group * GROUP..][..2 * SIDE + GROUP];
            let mut sum = [0.0; GROUP];
            for (sum, x) in sum.iter_mut().zip(&near[SIDE..]) {
                *sum = self.taps[0] * x;
            }
            for (n, tap) in self.taps.iter().enumerate().skip(1) {
                let (before, after) = (&near[SIDE - n..][..GROUP], &near[SIDE + n..][..GROUP]);
                for ((sum, before), after) in sum.iter_mut().zip(before).zip(after) {
                    *sum += tap * (before + after);
                }
            }
            out.copy_from_slice(&sum[..out.len()]);
        }
        samples
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn groups_and_the_whole_are_one() {
        // The definition of a convolution, written out, after the same recursive part.
        let band = Band::new(6500.0, 14_500.0);
        let input: Vec<f64> = (0..2499).map(|n| f64::from((n * 7919) % 1000) / 500.0 - 1.0).collect();
        let found = band.filter(input.clone());
        let mut low = input;
        run(&band.edges, &mut low);
        for at in [0, 5, 7, 8, 38, 39, 40, 1023, 1024, 2460, 2495, 2496, 2498] {
            let expected: f64 =
                (0..low.len()).filter(|&n| n.abs_diff(at) <= SIDE).map(|n| low[n] * band.taps[n.abs_diff(at)]).sum();
            assert!((found[at] - expected).abs() < 1e-12);
        }
    }

    /// Two seconds after an impulse no number is left that is slow to reckon with, and none is cut off that a master could hold.
    #[test]
    fn an_answer_ends_where_no_master_could_hold_it() {
        for (low, high) in [(500.0, 4500.0), (2000.0, 8000.0), (10_500.0, 14_500.0)] {
            let band = Band::new(low, high);
            let mut input = vec![0.0; 192_000];
            input[SIDE] = 1.0;
            let found = band.filter(input.clone());
            assert!(found.iter().all(|x| *x == 0.0 || x.is_normal()), "{low} to {high}");
            let end = found.iter().rposition(|x| *x != 0.0).expect("an answer") + 1;
            assert!(end < 48_000, "{low} to {high}: {end}");
            run(&band.edges, &mut input);
            assert!(input[end - SIDE..].iter().all(|x| x.abs() < f64::from(f32::from_bits(1))), "{low} to {high}");
        }
    }
}
