use super::bank::{Bank, Voice};
use super::cue::Cue;
use super::program::Program;

/// Frames that share one bound.
pub(super) const CELL: usize = 64;
/// Frames on either side that a cell's bound includes: a meter between samples looks that far.
const AROUND: usize = 12;
/// What is kept for peaks between the delays that are looked at: a tone of 18 kHz read at 176.4 kHz peaks up to 5.4 %
/// above its samples (`1 / cos(π f / rate)`), and at the lowest rates one of half of 8 kHz read at 32 kHz 8.3 %.
const MARGIN: f32 = 0.1;

/// The least and the largest value that a sound takes.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Limits {
    low: f32,
    high: f32,
}

impl Limits {
    fn widen(&mut self, low: f32, high: f32) {
        // `f32::min` would look for NaN, which costs more than the rest.
        self.low = if low < self.low { low } else { self.low };
        self.high = if high > self.high { high } else { self.high };
    }

    fn add(&mut self, gain: f32, other: Self) {
        let (low, high) = if gain < 0.0 { (other.high, other.low) } else { (other.low, other.high) };
        self.low += gain * low;
        self.high += gain * high;
    }

    fn size(self) -> f32 {
        self.high.max(-self.low)
    }
}

/// What a voice keeps within, at any delay, in each two neighbouring cells of [`CELL`] frames of its reach: pair `n` is
/// the cells `n - 1` and `n`. Low and high are kept apart, so that
/// slow waves of opposite sign cancel in a sum as they do in the mix.
pub(super) fn envelope(bank: &Bank, voice: &Voice) -> Box<[Limits]> {
    let len = (voice.reach.1 - voice.reach.0) as usize;
    let mut limits = vec![Limits::default(); len];
    // Four delays a sample, or fewer where the rate is so high that they are not there.
    for phase in (0..bank.phases() as i64).step_by(4) {
        for (limits, v) in limits.iter_mut().zip(bank.delayed(voice, phase)) {
            limits.widen(*v, *v);
        }
    }
    let cell = |n: usize| {
        let near = (n * CELL).saturating_sub(AROUND)..(n * CELL + CELL + AROUND).min(len);
        let mut cell = Limits::default();
        limits[near].iter().for_each(|limits| cell.widen(limits.low, limits.high));
        let margin = MARGIN * cell.size();
        Limits { low: cell.low - margin, high: cell.high + margin }
    };
    let cells: Vec<Limits> = (0..len.div_ceil(CELL)).map(cell).collect();
    // The file's cells lie askew to these: each meets two, of which the first or the last may be silence.
    let before = std::iter::once(Limits::default()).chain(cells.iter().copied());
    let after = cells.iter().copied().chain(std::iter::once(Limits::default()));
    let join = |(mut both, next): (Limits, Limits)| {
        both.widen(next.low, next.high);
        both
    };
    before.zip(after).map(join).collect()
}

impl Program<'_> {
    /// For each [`CELL`] frames from `first` on, a size that neither channel passes there, between samples included, where
    /// `cues` are all that can sound there.
    pub(super) fn bounds(&self, cues: &[Cue], first: i64, cells: usize) -> Vec<f32> {
        let mut sums = vec![[Limits::default(); 2]; cells];
        let end = first + (cells * CELL) as i64;
        for cue in self.near(cues, &(first..end)) {
            let frame = self.place(cue).frame;
            let voice = &self.bank.voices()[cue.voice as usize];
            let (reach, envelope) = (voice.reach, self.bank.envelope(voice));
            // Cell `n` of the file meets pair `skew + n` of the envelope.
            let skew = (first - frame - reach.0).div_euclid(CELL as i64) + 1;
            let pairs = (reach.1 - reach.0 + CELL as i64 - 1) / CELL as i64 + 1;
            let from = (-skew).clamp(0, cells as i64) as usize;
            let to = (pairs - skew).clamp(from as i64, cells as i64) as usize;
            let sums = &mut sums[from..to];
            if sums.is_empty() {
                continue;
            }
            for ([left, right], limits) in sums.iter_mut().zip(&envelope[(from as i64 + skew) as usize..]) {
                left.add(cue.left, *limits);
                right.add(cue.right, *limits);
            }
        }
        sums.iter().map(|[left, right]| left.size().max(right.size())).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::super::mix::Mixer;
    use super::*;
    use crate::dsp::Master;
    use crate::time::{Instant, Span};

    #[test]
    fn nothing_passes_its_bound() {
        // A burst of 17.5 kHz, that peaks furthest between its samples, and a low one with a long tail.
        let burst = |hz: f64, tau: f64| {
            let samples = (0..(12.0 * tau * 96_000.0) as u32).map(|n| {
                let t = f64::from(n) / 96_000.0;
                ((-t / tau).exp() * (1.0 - (-t / 0.0003).exp()) * (std::f64::consts::TAU * hz * t).sin()) as f32
            });
            Master { samples: samples.collect(), pre: 7 }
        };
        for rate in [44_100, 48_000, 96_000, 192_000] {
            let bank = Bank::new(rate, vec![burst(17_500.0, 0.003), burst(90.0, 0.03)]).expect("a usual rate");
            let cues = (0..60_i64).map(|n| Cue {
                at: Instant(n * n * 137_654_321),
                voice: (n % 2) as u32,
                left: 1.0 - n as f32 / 40.0,
                right: 0.3,
            });
            let cues: Vec<Cue> = cues.collect();
            let program = Program::new(&bank, cues.clone(), Span::from_ms(3), Instant(0)).expect("sound");
            let mut mixer = Mixer::new(&program);
            let mut tight = 0;
            for first in (0..program.frames() as i64 - 1_000).step_by(1_000) {
                let bounds = program.bounds(&cues, first, 15);
                mixer.mix(&cues, first..first + 960);
                for (n, bound) in bounds.iter().enumerate() {
                    for channel in [&mixer.left, &mixer.right] {
                        let most = channel[n * CELL..(n + 1) * CELL].iter().fold(0.0_f32, |most, v| most.max(v.abs()));
                        assert!(most <= *bound, "{rate} Hz, {first} + cell {n}: {most} above {bound}");
                        tight += usize::from(most > bound * 0.5);
                    }
                }
            }
            assert!(tight > 10, "a bound that is never near says nothing");
        }
    }
}
