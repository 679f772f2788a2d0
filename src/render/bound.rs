use super::bank::{Bank, Voice};
use super::cue::Source;
use super::program::Program;

/// Frames that share one bound.
pub(super) const CELL: usize = 64;
/// Frames on either side that a cell's bound includes: a meter between samples looks that far.
const AROUND: usize = 12;
/// What the bound adds to the largest sample of a few delays: a tone of 18 kHz at 176.4 kHz peaks up to 5.4 % above
/// its samples (`1 / cos(π f / rate)`), and at the lowest rates half of 8 kHz at 32 kHz by 8.3 %.
const MARGIN: f32 = 1.1;

/// The largest size that a voice reaches in each [`CELL`] frames of its reach, at any delay.
pub(super) fn envelope(bank: &Bank, voice: &Voice) -> Box<[f32]> {
    let len = (voice.reach.1 - voice.reach.0) as usize;
    let mut largest = vec![0.0_f32; len];
    // Four delays a sample, or fewer where the rate is so high that they are not there.
    for phase in (0..bank.phases() as i64).step_by(4) {
        for (most, v) in largest.iter_mut().zip(bank.delayed(voice, phase)) {
            *most = if v.abs() > *most { v.abs() } else { *most };
        }
    }
    let cell = |n: usize| {
        let from = (n * CELL).saturating_sub(AROUND);
        let to = (n * CELL + CELL + AROUND).min(len);
        largest[from..to].iter().copied().fold(0.0, f32::max) * MARGIN
    };
    (0..len.div_ceil(CELL)).map(cell).collect()
}

impl Program<'_> {
    /// For each [`CELL`] frames from `first` on, a size that neither channel passes there, between samples included.
    /// Where a take sounds it is infinite.
    pub(super) fn bounds(&self, first: i64, cells: usize) -> Vec<f32> {
        let (mut left, mut right) = (vec![0.0_f32; cells], vec![0.0_f32; cells]);
        let end = first + (cells * CELL) as i64;
        for cue in &self.cues[self.near(&(first..end))] {
            let frame = self.place(cue).frame;
            let (gains, reach, envelope) = match cue.source {
                Source::Kept(n) => {
                    let voice = &self.bank.voices()[n as usize];
                    ([cue.left.abs(), cue.right.abs()], voice.reach, Some(self.bank.envelope(voice)))
                }
                Source::Fresh(_) => ([1.0; 2], self.take_reach, None),
            };
            // Cell `n` of the file meets cells `skew + n` and the next of the envelope.
            let skew = (first - frame - reach.0).div_euclid(CELL as i64);
            let count = (reach.1 - reach.0).div_euclid(CELL as i64) + 1;
            let from = (-skew - 1).clamp(0, cells as i64);
            let to = (count - skew).clamp(from, cells as i64);
            for n in from..to {
                let at = |n: i64| match (usize::try_from(n), envelope) {
                    (Ok(n), Some(envelope)) => envelope.get(n).copied().unwrap_or(0.0),
                    (Ok(_), None) => f32::INFINITY,
                    (Err(_), _) => 0.0,
                };
                let most = at(skew + n).max(at(skew + n + 1));
                left[n as usize] += gains[0] * most;
                right[n as usize] += gains[1] * most;
            }
        }
        left.iter().zip(&right).map(|(left, right)| left.max(*right)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::super::bank::Master;
    use super::super::cue::Cue;
    use super::super::mix::Mixer;
    use super::super::program::NoTakes;
    use super::*;
    use crate::time::{Instant, Span};

    #[test]
    fn nothing_passes_its_bound() {
        // A burst of 17.5 kHz, that peaks furthest between its samples, and a low one with a long tail.
        let burst = |hz: f64, tau: f64| {
            let samples = (0..9_600).map(|n| {
                let t = f64::from(n) / 96_000.0;
                ((-t / tau).exp() * (1.0 - (-t / 0.0003).exp()) * (std::f64::consts::TAU * hz * t).sin()) as f32
            });
            Master { samples: samples.collect(), pre: 7 }
        };
        for rate in [44_100, 48_000, 96_000, 192_000] {
            let bank = Bank::new(rate, vec![burst(17_500.0, 0.01), burst(90.0, 0.03)]).expect("a usual rate");
            let cues = (0..60_i64).map(|n| Cue {
                at: Instant(n * n * 137_654_321),
                source: Source::Kept((n % 2) as u32),
                left: 1.0 - n as f32 / 50.0,
                right: 0.3,
            });
            let program = Program::new(&bank, &NoTakes, cues.collect(), Span::from_ms(3), Instant(0)).expect("sound");
            let mut mixer = Mixer::new(&program);
            let mut tight = 0;
            for first in (0..program.frames() as i64 - 1_000).step_by(1_000) {
                let bounds = program.bounds(first, 15);
                mixer.mix(first..first + 960).expect("no takes");
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
