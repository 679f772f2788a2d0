use std::io;

use super::recording::File;
use super::spectrum::{Bin, Fourier};

/// A filter without delay: `taps[reach]` acts on the sample itself.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Taps(pub(super) Vec<f64>);

impl Taps {
    pub(super) fn reach(&self) -> usize {
        self.0.len() / 2
    }

    /// One filter after the other.
    pub(super) fn then(&self, other: &Self) -> Self {
        let mut taps = vec![0.0; self.0.len() + other.0.len() - 1];
        for (at, tap) in self.0.iter().enumerate() {
            for (place, factor) in taps[at..].iter_mut().zip(&other.0) {
                *place += tap * factor;
            }
        }
        Self(taps)
    }
}

/// What one channel takes from another.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Path {
    pub(super) channel: usize,
    pub(super) taps: Taps,
}

/// A channel as it is listened to: a sum of filtered channels, worked out where it is wanted.
pub(super) struct Chain {
    fourier: Fourier,
    paths: Vec<(usize, Vec<Bin>)>,
    reach: usize,
}

impl Chain {
    /// The sum of some paths, in blocks of about `block` samples.
    pub(super) fn new(paths: &[Path], block: usize) -> Self {
        let reach = paths.iter().map(|path| path.taps.reach()).max().unwrap_or(0);
        let fourier = Fourier::new((block + 2 * reach).next_power_of_two());
        let bins = |path: &Path| {
            // Tap 0 acts on the sample itself in a block that begins `reach` before what comes out.
            let mut taps = vec![0.0; fourier.size()];
            for (number, tap) in path.taps.0.iter().enumerate() {
                taps[(number + fourier.size() - path.taps.reach()) % fourier.size()] = *tap;
            }
            (path.channel, fourier.spectrum(taps))
        };
        Self { paths: paths.iter().map(bins).collect(), reach, fourier }
    }

    /// How many samples one block has.
    pub(super) fn block(&self) -> usize {
        self.fourier.size() - 2 * self.reach
    }

    /// As many samples as a block has, from a place on.
    fn one(&self, file: &File, from: isize) -> io::Result<Vec<f64>> {
        let mut sum = vec![Bin::default(); self.fourier.size() / 2 + 1];
        for (channel, filter) in &self.paths {
            let mut samples = vec![0.0; self.fourier.size()];
            file.read(*channel, from - self.reach as isize, &mut samples)?;
            for ((sum, bin), factor) in sum.iter_mut().zip(self.fourier.spectrum(samples)).zip(filter) {
                *sum += bin * factor;
            }
        }
        let mut samples = self.fourier.samples(sum);
        samples.truncate(self.fourier.size() - self.reach);
        samples.drain(..self.reach);
        Ok(samples)
    }

    /// So many samples from a place on, which may lie outside the recording.
    pub(super) fn samples(&self, file: &File, from: isize, count: usize) -> io::Result<Vec<f64>> {
        let mut samples = Vec::with_capacity(count + self.block());
        while samples.len() < count {
            samples.extend(self.one(file, from + samples.len() as isize)?);
        }
        samples.truncate(count);
        Ok(samples)
    }

    /// Hands all samples of the recording to `each`, block by block, with the place of the first.
    pub(super) fn all(&self, file: &File, mut each: impl FnMut(usize, &[f64])) -> io::Result<()> {
        let mut from = 0;
        while from < file.frames() {
            let mut block = self.one(file, from as isize)?;
            block.truncate(file.frames() - from);
            each(from, &block);
            from += block.len();
        }
        Ok(())
    }
}
