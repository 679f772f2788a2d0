use std::io;

use super::chain::Chain;
use super::cut::{Cut, Stretch};
use super::noise::hann;
use super::recording::File;

/// Over how long a time the power is smoothed for an envelope, in seconds.
const SMOOTH: f64 = 0.0005;

/// What of a hit is compared: the wave where hits are alike, the envelope where each has noise of its own.
#[derive(Clone)]
pub(super) enum View {
    Wave,
    Envelope {
        /// Smooths the power; its sum is 1.
        kernel: Vec<f64>,
        /// The noise's own envelope, which is taken off.
        floor: f64,
    },
}

impl View {
    /// The envelope over noise of a power.
    pub(super) fn envelope(rate: f64, noise: f64) -> Self {
        let mut kernel = hann(((2.0 * SMOOTH * rate) as usize).max(2));
        let sum: f64 = kernel.iter().sum();
        kernel.iter_mut().for_each(|weight| *weight /= sum);
        Self::Envelope { kernel, floor: noise.sqrt() }
    }

    /// How many neighbouring samples of what a fit leaves are alike.
    pub(super) fn reach(&self) -> usize {
        match self {
            Self::Wave => 0,
            Self::Envelope { kernel, .. } => 2 * kernel.len(),
        }
    }

    /// The stretch of a channel about a place, seen so.
    pub(super) fn cut(&self, stretch: &Stretch, file: &File, chain: &Chain, place: isize) -> io::Result<Cut> {
        let cut = stretch.cut(file, chain, place)?;
        Ok(self.of(stretch, cut))
    }

    /// A cut of a wave, seen so.
    pub(super) fn of(&self, stretch: &Stretch, cut: Cut) -> Cut {
        let Self::Envelope { kernel, floor } = self else { return cut };
        let powers: Vec<f64> = cut.samples.iter().map(|sample| sample * sample).collect();
        let half = kernel.len() / 2;
        let smooth = |at: usize| {
            let taken = kernel.iter().enumerate().map(|(number, weight)| {
                (at + number).checked_sub(half).and_then(|place| powers.get(place)).map_or(0.0, |power| weight * power)
            });
            taken.sum::<f64>().max(0.0).sqrt() - floor
        };
        let mut samples: Vec<f64> = (0..powers.len()).map(smooth).collect();
        stretch.trim(&mut samples);
        Cut { place: cut.place, bins: stretch.fourier.spectrum(samples.clone()), samples }
    }
}
