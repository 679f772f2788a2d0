use std::io;

use super::chain::Chain;
use super::likeness::OVER;
use super::noise::frame_size;
use super::recording::File;
use super::spectrum::{Bin, Fourier};

/// The stretch of a channel in which one hit is looked at: a frame of 21 ms, a quarter of it before the hit.
#[derive(Clone)]
pub(super) struct Stretch {
    pub(super) fourier: Fourier,
    /// The same for lags between samples.
    pub(super) finer: Fourier,
    /// Samples before the place of the hit.
    pub(super) before: usize,
    /// How much each sample counts in a fit.
    pub(super) weights: Vec<f64>,
    /// What every stretch is multiplied with, so that its ends meet.
    edges: Vec<f64>,
}

/// The window of a fit, in seconds from the hit, and how long it falls to nothing on either side.
const FIT: [f64; 2] = [-0.0015, 0.012];
const TAPER: f64 = 0.003;
/// How long the ends of a stretch fall to nothing.
const EDGE: f64 = 0.0004;

impl Stretch {
    pub(super) fn new(rate: f64) -> Self {
        let size = frame_size(rate);
        let before = size / 4;
        let slope = |x: f64| {
            if x >= 1.0 {
                1.0
            } else if x <= 0.0 {
                0.0
            } else {
                0.5 - 0.5 * libm::cos(core::f64::consts::PI * x)
            }
        };
        let weight = |at: usize| {
            let time = (at as f64 - before as f64) / rate;
            slope((time - FIT[0]) / TAPER + 1.0) * slope((FIT[1] - time) / TAPER + 1.0)
        };
        let edge =
            |at: usize| slope((at as f64 + 0.5) / rate / EDGE) * slope((size as f64 - at as f64 - 0.5) / rate / EDGE);
        let edges: Vec<f64> = (0..size).map(edge).collect();
        let weights = (0..size).map(|at| weight(at) * edges[at]).collect();
        Self { fourier: Fourier::new(size), finer: Fourier::new(size * OVER), before, weights, edges }
    }

    pub(super) fn size(&self) -> usize {
        self.fourier.size()
    }

    /// The stretch about a place.
    pub(super) fn cut(&self, file: &File, chain: &Chain, place: isize) -> io::Result<Cut> {
        let mut samples = chain.samples(file, place - self.before as isize, self.size())?;
        self.trim(&mut samples);
        Ok(Cut { place, bins: self.fourier.spectrum(samples.clone()), samples })
    }

    /// Lets both ends fall to nothing.
    pub(super) fn trim(&self, samples: &mut [f64]) {
        samples.iter_mut().zip(&self.edges).for_each(|(sample, edge)| *sample *= edge);
    }

    /// The sum of the product of two stretches, each sample by its weight.
    pub(super) fn product(&self, a: &[f64], b: &[f64]) -> f64 {
        a.iter().zip(b).zip(&self.weights).map(|((a, b), weight)| a * b * weight).sum()
    }
}

/// What a channel has about one place.
#[derive(Clone)]
pub(super) struct Cut {
    /// The sample that the stretch is about.
    pub(super) place: isize,
    pub(super) samples: Vec<f64>,
    pub(super) bins: Vec<Bin>,
}
