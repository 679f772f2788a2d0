use core::f64::consts::TAU;
use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

/// A bin of a spectrum.
pub(super) type Bin = Complex<f64>;

/// The discrete Fourier transform of one even length, there and back.
#[derive(Clone)]
pub(super) struct Fourier {
    size: usize,
    there: Arc<dyn RealToComplex<f64>>,
    back: Arc<dyn ComplexToReal<f64>>,
}

impl Fourier {
    pub(super) fn new(size: usize) -> Self {
        let mut planner = RealFftPlanner::new();
        Self { size, there: planner.plan_fft_forward(size), back: planner.plan_fft_inverse(size) }
    }

    pub(super) fn size(&self) -> usize {
        self.size
    }

    /// The bins from 0 to half the rate of as many samples as the transform is long.
    pub(super) fn spectrum(&self, mut samples: Vec<f64>) -> Vec<Bin> {
        let mut bins = self.there.make_output_vec();
        samples.resize(self.size, 0.0);
        self.there.process(&mut samples, &mut bins).expect("both lists have the lengths that the transform asks for");
        bins
    }

    /// The samples that have this spectrum.
    pub(super) fn samples(&self, mut bins: Vec<Bin>) -> Vec<f64> {
        let mut samples = self.back.make_output_vec();
        // A real signal has real bins at nought and at half the rate; rounding may have left more.
        bins[0].im = 0.0;
        bins[self.size / 2].im = 0.0;
        self.back.process(&mut bins, &mut samples).expect("both lists have the lengths that the transform asks for");
        let scale = 1.0 / self.size as f64;
        samples.iter_mut().for_each(|sample| *sample *= scale);
        samples
    }

    /// The spectrum of the same samples `by` samples later, what leaves at the end coming in at the front.
    pub(super) fn later(&self, bins: &[Bin], by: f64) -> Vec<Bin> {
        let turn = Complex::from_polar(1.0, -TAU * by / self.size as f64);
        let mut factor = Complex::new(1.0, 0.0);
        let mut moved: Vec<Bin> = bins
            .iter()
            .enumerate()
            .map(|(number, bin)| {
                // Powers by multiplication drift by a rounding each; they are set anew now and then.
                if number % 64 == 0 {
                    factor = Complex::from_polar(1.0, -TAU * by * number as f64 / self.size as f64);
                }
                let bin = bin * factor;
                factor *= turn;
                bin
            })
            .collect();
        moved[self.size / 2].im = 0.0;
        moved
    }

    /// The spectrum of the slope, per sample.
    pub(super) fn slope(&self, bins: &[Bin]) -> Vec<Bin> {
        let half = self.size / 2;
        let step = TAU / self.size as f64;
        let slope = |(number, bin): (usize, &Bin)| {
            if number == half { Complex::default() } else { bin * Complex::new(0.0, step * number as f64) }
        };
        bins.iter().enumerate().map(slope).collect()
    }
}
