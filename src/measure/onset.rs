use std::io;

use super::chain::Chain;
use super::cut::Stretch;
use super::recording::File;
use super::spectrum::{Bin, Fourier};

/// The parts of the largest excursion whose first crossings are looked for: the onset, and what says how sure it is.
const CROSSED: [f64; 3] = [0.1, 0.05, 0.2];
/// How long after its place a hit's largest excursion may come, and how long before it the wave is looked at, in seconds.
const LARGEST_WITHIN: f64 = 0.008;
const FROM: f64 = -0.003;
/// Where the wave is taken to be at rest.
const REST: [f64; 2] = [-0.003, -0.0015];
/// Places between two samples.
const OVER: usize = 16;
/// The least uncertainty of an onset, in seconds.
const LEAST_UNCERTAINTY: f64 = 40e-6;

/// Where a class's hits begin, against where its template is put.
#[derive(Clone, Debug)]
pub(super) struct Onset {
    /// In samples, later is positive.
    pub(super) offset: f64,
    /// The same in samples from the start of the wave.
    pub(super) begins: f64,
    /// In seconds: how far other rules would put it elsewhere.
    pub(super) uncertainty: f64,
    /// The mean of the aligned hits as they were recorded, at the amplitude of a typical one.
    pub(super) wave: Vec<f64>,
}

/// One hit where it was found: its file, its sample, the fraction after it, and how large it is.
#[derive(Clone, Copy, Debug)]
pub(super) struct Spot {
    pub(super) file: usize,
    pub(super) place: isize,
    pub(super) lag: f64,
    pub(super) amplitude: f64,
}

/// Finds the first crossing of a tenth of the largest excursion on the mean of the aligned hits as recorded, or, where hits are
/// unlike, on the root of their mean power. `raw` is the channel before it was whitened.
pub(super) fn onset(
    stretch: &Stretch,
    files: &[File],
    raw: &Chain,
    rate: f64,
    spots: &[Spot],
    unlike: bool,
) -> io::Result<Option<Onset>> {
    let before = stretch.before as f64;
    let range = |span: [f64; 2]| ((before + span[0] * rate) as usize)..((before + span[1] * rate) as usize);
    let mut sum = vec![0.0; stretch.size()];
    let mut powers = vec![0.0; stretch.size()];
    let mut amplitude = 0.0;
    for spot in spots {
        let mut samples = raw.samples(&files[spot.file], spot.place - stretch.before as isize, stretch.size())?;
        let rest = range(REST).map(|at| samples[at]).sum::<f64>() / range(REST).len() as f64;
        samples.iter_mut().for_each(|sample| *sample -= rest);
        stretch.trim(&mut samples);
        let bins = stretch.fourier.later(&stretch.fourier.spectrum(samples), -spot.lag);
        let samples = stretch.fourier.samples(bins);
        for ((sum, power), sample) in sum.iter_mut().zip(&mut powers).zip(samples) {
            *sum += sample;
            *power += sample * sample;
        }
        amplitude += spot.amplitude;
    }
    if amplitude <= 0.0 {
        return Ok(None);
    }
    let count = spots.len() as f64;
    let wave: Vec<f64> = sum.iter().map(|sample| sample / count).collect();
    let fine = if unlike {
        let quiet = range(REST).map(|at| powers[at]).sum::<f64>() / range(REST).len() as f64;
        let root: Vec<f64> = powers.iter().map(|power| ((power - quiet).max(0.0) / count).sqrt()).collect();
        over(&stretch.fourier.spectrum(root), stretch.size())
    } else {
        over(&stretch.fourier.spectrum(wave.clone()), stretch.size())
    };
    let from = (before + FROM * rate) * OVER as f64;
    let until = (before + LARGEST_WITHIN * rate) * OVER as f64;
    let fine = &fine[from as usize..(until as usize).min(fine.len())];
    let largest = fine.iter().fold(0.0_f64, |most, sample| most.max(sample.abs()));
    let crossing = |part: f64| {
        let level = part * largest;
        let at = fine.iter().position(|sample| sample.abs() >= level)?;
        let within = match at.checked_sub(1).map(|left| fine[left].abs()) {
            Some(left) if fine[at].abs() > left => (level - left) / (fine[at].abs() - left) - 1.0,
            _ => 0.0,
        };
        Some((from.floor() + at as f64 + within) / OVER as f64 - before)
    };
    let [Some(offset), Some(early), Some(late)] = CROSSED.map(crossing) else { return Ok(None) };
    let uncertainty = (0.5 * (late - early) / rate).max(LEAST_UNCERTAINTY);
    Ok(Some(Onset { offset, begins: before + offset, uncertainty, wave }))
}

/// The wave at so many times its rate, by its spectrum.
fn over(bins: &[Bin], size: usize) -> Vec<f64> {
    let fourier = Fourier::new(size * OVER);
    let mut padded = vec![Bin::default(); size * OVER / 2 + 1];
    for (place, bin) in padded.iter_mut().zip(bins) {
        *place = bin * OVER as f64;
    }
    // Half the rate stood for both its sides.
    padded[size / 2] *= 0.5;
    fourier.samples(padded)
}
