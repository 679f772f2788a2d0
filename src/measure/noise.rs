use std::io;

use dasp::window::{Hanning, Window};

use super::chain::{Chain, Taps};
use super::recording::File;
use super::spectrum::{Bin, Fourier};

/// The share of frames that are quieter than what is taken for noise.
const QUIET: f64 = 0.2;
/// How that quantile stands to the mean power of noise: a bin of noise has an exponential power, whose quantiles are −ln(1 − p).
const QUANTILE_TO_MEAN: f64 = 0.223_143_551_314_209_76;
/// A floor under the loudest bin, as power: without it the filter rings on digital silence, and hits are found before hits.
const UNDER_LOUDEST: f64 = 1e-6;
/// A floor under the bin in the middle, as power.
const UNDER_MIDDLE: f64 = 0.1;
/// A floor under the peak of the channel, as power: where there is no noise at all.
const UNDER_PEAK: f64 = 1e-13;
/// Cells an octave of power, and octaves, of the histograms.
const CELLS: f64 = 8.0;
const OCTAVES: f64 = 96.0;

/// How long a frame is: 21 ms at 48 kHz, a power of two of samples.
pub(super) fn frame_size(rate: f64) -> usize {
    ((rate * 0.02) as usize).next_power_of_two()
}

/// A slope from 0 up to 1 and back to 0 at as many places, half a cosine each way.
pub(super) fn hann(size: usize) -> Vec<f64> {
    (0..size).map(|at| Hanning::window(at as f64 / size as f64)).collect()
}

/// The power of the noise of each bin, gathered frame by frame.
pub(super) struct Noise {
    fourier: Fourier,
    window: Vec<f64>,
    cells: Vec<u32>,
    frames: usize,
    peak: f64,
}

impl Noise {
    pub(super) fn new(rate: f64) -> Self {
        let size = frame_size(rate);
        let window = hann(size);
        let cells = vec![0; (size / 2 + 1) * (CELLS * OCTAVES) as usize];
        Self { fourier: Fourier::new(size), window, cells, frames: 0, peak: 0.0 }
    }

    /// Adds all frames of a recording, half of each in the next.
    pub(super) fn add(&mut self, file: &File, chain: &Chain) -> io::Result<()> {
        let size = self.fourier.size();
        let mut held: Vec<f64> = Vec::new();
        chain.all(file, |_, block| {
            held.extend(block);
            let mut from = 0;
            while from + size <= held.len() {
                self.add_frame(&held[from..from + size]);
                from += size / 2;
            }
            held.drain(..from);
        })
    }

    fn add_frame(&mut self, samples: &[f64]) {
        self.peak = samples.iter().fold(self.peak, |peak, sample| peak.max(sample.abs()));
        let windowed = samples.iter().zip(&self.window).map(|(sample, weight)| sample * weight).collect();
        let columns = (CELLS * OCTAVES) as usize;
        let energy: f64 = self.window.iter().map(|weight| weight * weight).sum();
        for (bin, value) in self.fourier.spectrum(windowed).iter().enumerate() {
            let power = value.norm_sqr() / energy;
            // 2⁻⁸⁰ is 240 dB under full scale.
            let cell = (CELLS * (libm::log2(power.max(1e-300)) + 80.0)).clamp(0.0, columns as f64 - 1.0);
            self.cells[bin * columns + cell as usize] += 1;
        }
        self.frames += 1;
    }

    /// The mean power of the noise, bin by bin, a sample; white noise of SD σ has σ² everywhere.
    pub(super) fn powers(&self) -> Vec<f64> {
        let columns = (CELLS * OCTAVES) as usize;
        let wanted = QUIET * self.frames as f64;
        let mut powers: Vec<f64> = self
            .cells
            .chunks(columns)
            .map(|cells| {
                let mut below = 0.0;
                for (cell, count) in cells.iter().enumerate() {
                    let count = f64::from(*count);
                    if below + count >= wanted && count > 0.0 {
                        let within = (wanted - below) / count;
                        let place = if cell == 0 { return 0.0 } else { cell as f64 + within };
                        return libm::exp2(place / CELLS - 80.0) / QUANTILE_TO_MEAN;
                    }
                    below += count;
                }
                0.0
            })
            .collect();
        let mut sorted = powers.clone();
        sorted.sort_by(f64::total_cmp);
        let loudest = sorted.last().copied().unwrap_or(0.0);
        let middle = sorted[sorted.len() / 2];
        let least = (self.peak * self.peak * UNDER_PEAK).max(f64::MIN_POSITIVE);
        let floor = least.max(loudest * UNDER_LOUDEST).max(middle * UNDER_MIDDLE);
        powers.iter_mut().for_each(|power| *power = power.max(floor));
        powers
    }

    /// The filter, as long as a frame, that makes noise of these powers white and of power 1.
    pub(super) fn whitener(&self, powers: &[f64]) -> Taps {
        let size = self.fourier.size();
        let bins = powers.iter().map(|power| Bin::new(1.0 / power.sqrt(), 0.0)).collect();
        let response = self.fourier.samples(bins);
        let reach = size / 2 - 1;
        let taps = (0..=2 * reach).map(|at| {
            let place = (at + size - reach) % size;
            response[place] * self.window[at + size / 2 - reach]
        });
        Taps(taps.collect())
    }
}
