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
            *most = most.max(v.abs());
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
