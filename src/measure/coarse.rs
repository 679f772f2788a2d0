use std::io;

use super::chain::Chain;
use super::recording::File;

/// Hops a second; a window is so many of them.
const HOPS: f64 = 4_000.0;
const SHORT: usize = 4;
const LONG: usize = 16;
/// How far back the loudest earlier window is looked for, and how long no second hit begins: 20 ms.
const PAST: usize = 80;
/// Powers over the floor, for a short and a long window: 9 and 6 dB.
const OVER_FLOOR: [f64; 2] = [7.94, 3.98];
/// Power over the loudest window of the past: 3 dB.
const OVER_PAST: f64 = 2.0;
/// Power under the loudest window of all: 45 dB.
const UNDER_LOUDEST: f64 = 3.162e-5;
/// The share of long windows that are quieter than the one that is taken for noise, and its deviate of the normal distribution.
const QUIET: f64 = 0.2;
const QUIET_DEVIATE: f64 = -0.841_6;

/// The energies of a channel, hop by hop.
pub(super) struct Energies {
    hop: usize,
    hops: Vec<f32>,
}

impl Energies {
    /// Those of a whitened channel.
    pub(super) fn of(file: &File, chain: &Chain) -> io::Result<Self> {
        let hop = ((file.recording.rate() / HOPS).round() as usize).max(1);
        let mut hops = Vec::with_capacity(file.frames() / hop + 1);
        let (mut energy, mut count) = (0.0, 0);
        chain.all(file, |_, block| {
            for sample in block {
                energy += sample * sample;
                count += 1;
                if count == hop {
                    hops.push(energy as f32);
                    (energy, count) = (0.0, 0);
                }
            }
        })?;
        Ok(Self { hop, hops })
    }

    /// Sums over windows of so many hops, one from each hop on.
    fn windows(&self, length: usize) -> Vec<f64> {
        // Each sum on its own: a running sum would keep the rounding of the loudest window.
        self.hops.windows(length).map(|window| window.iter().map(|hop| f64::from(*hop)).sum()).collect()
    }

    /// Adds the powers a sample of all long windows to a list.
    fn quiet_powers(&self, list: &mut Vec<f64>) {
        let samples = (LONG * self.hop) as f64;
        list.extend(self.windows(LONG).iter().step_by(LONG).map(|energy| energy / samples));
    }

    /// The loudest windows, short and long.
    fn loudest(&self) -> [f64; 2] {
        [SHORT, LONG].map(|length| self.windows(length).into_iter().fold(0.0, f64::max))
    }
}

/// What a channel has in all recordings: the power a sample of its noise, and its loudest windows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Floor {
    pub(super) power: f64,
    loudest: [f64; 2],
}

impl Floor {
    pub(super) fn of(files: &[Energies]) -> Self {
        let mut quiet = Vec::new();
        files.iter().for_each(|energies| energies.quiet_powers(&mut quiet));
        let loudest = files.iter().map(Energies::loudest).fold([0.0_f64; 2], |a, b| [a[0].max(b[0]), a[1].max(b[1])]);
        if quiet.is_empty() {
            return Self { power: 0.0, loudest };
        }
        let place = (QUIET * quiet.len() as f64) as usize;
        let quantile = *quiet.select_nth_unstable_by(place, f64::total_cmp).1;
        // The power of n samples of noise is as good as normal about its mean, SD √(2/n).
        let samples = (LONG * files[0].hop) as f64;
        Self { power: quantile / (1.0 + QUIET_DEVIATE * (2.0 / samples).sqrt()), loudest }
    }
}

/// The places, in samples, at which sound begins, to about a millisecond; first to last.
pub(super) fn hits(energies: &Energies, floor: Floor) -> Vec<usize> {
    let (short, long) = (energies.windows(SHORT), energies.windows(LONG));
    let least = |which: usize, length: usize| {
        let noise = floor.power * (length * energies.hop) as f64;
        (noise * OVER_FLOOR[which]).max(floor.loudest[which] * UNDER_LOUDEST).max(f64::MIN_POSITIVE)
    };
    let (least_short, least_long) = (least(0, SHORT), least(1, LONG));
    let begins = |windows: &[f64], at: usize, length: usize, least: f64| {
        windows.get(at).is_some_and(|now| *now >= least && *now >= OVER_PAST * loudest_before(windows, at, length))
    };
    let mut hits = Vec::new();
    let mut at = 0;
    while at < short.len() {
        if !begins(&short, at, SHORT, least_short) && !begins(&long, at, LONG, least_long) {
            at += 1;
            continue;
        }
        // A long window sees it up to 4 ms before it comes, and a filter rings before it: the hit is where the amplitude of the
        // short window grows most.
        let growth = |place: usize| short[place].sqrt() - loudest_before(&short, place, SHORT).sqrt();
        let until = (at + PAST / 2).min(short.len());
        let best = (at..until).max_by(|a, b| growth(*a).total_cmp(&growth(*b))).unwrap_or(at);
        hits.push((best + SHORT / 2) * energies.hop);
        at = best + PAST;
    }
    hits
}

/// The loudest window of the past that ends where this one begins, or before.
fn loudest_before(windows: &[f64], at: usize, length: usize) -> f64 {
    let end = (at + 1).saturating_sub(length);
    windows[at.saturating_sub(PAST).min(end)..end].iter().copied().fold(0.0, f64::max)
}
