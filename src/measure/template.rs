use super::cut::Stretch;
use super::spectrum::Bin;

/// Under so many hits a mean is taken, from it on a median.
const MEDIAN_FROM: usize = 8;
/// The variance of a median against that of a mean, of normal values: π/2.
const MEDIAN_VARIANCE: f64 = core::f64::consts::FRAC_PI_2;
/// How many bins to either side count in the powers that say how much of a bin is sound.
const NEIGHBOURS: usize = 2;

/// What the hits of a class have in common, at unit energy in the window of the fit.
#[derive(Clone)]
pub(super) struct Template {
    pub(super) bins: Vec<Bin>,
    slope: Vec<Bin>,
    /// How many neighbouring samples of what a fit leaves are alike; 0 where it is white.
    pub(super) reach: usize,
}

impl Template {
    /// That of some aligned hits, each at about unit amplitude.
    pub(super) fn of(stretch: &Stretch, aligned: &[Vec<f64>], reach: usize) -> Self {
        let middle = middle(aligned);
        let variance = if aligned.len() < MEDIAN_FROM { 1.0 } else { MEDIAN_VARIANCE };
        let mut bins = stretch.fourier.spectrum(middle.clone());
        if aligned.len() >= 2 {
            let mut noise = vec![0.0; bins.len()];
            for hit in aligned {
                let left = hit.iter().zip(&middle).map(|(hit, middle)| hit - middle).collect();
                noise.iter_mut().zip(stretch.fourier.spectrum(left)).for_each(|(sum, bin)| *sum += bin.norm_sqr());
            }
            let count = aligned.len() as f64;
            noise.iter_mut().for_each(|power| *power *= variance / (count * (count - 1.0)));
            shrink(&mut bins, &noise);
        }
        let samples = stretch.fourier.samples(bins.clone());
        let unit = 1.0 / stretch.product(&samples, &samples).sqrt().max(f64::MIN_POSITIVE);
        bins.iter_mut().for_each(|bin| *bin *= unit);
        Self { slope: stretch.fourier.slope(&bins), bins, reach }
    }

    /// The template and its slope, some samples later.
    pub(super) fn at(&self, stretch: &Stretch, lag: f64) -> (Vec<f64>, Vec<f64>) {
        let shifted = |bins: &[Bin]| stretch.fourier.samples(stretch.fourier.later(bins, lag));
        (shifted(&self.bins), shifted(&self.slope))
    }

    /// The template as it stands.
    pub(super) fn samples(&self, stretch: &Stretch) -> Vec<f64> {
        stretch.fourier.samples(self.bins.clone())
    }
}

/// The median of each sample over all hits, or the mean of few.
fn middle(aligned: &[Vec<f64>]) -> Vec<f64> {
    let size = aligned.first().map_or(0, Vec::len);
    let mut column = vec![0.0; aligned.len()];
    (0..size)
        .map(|at| {
            column.iter_mut().zip(aligned).for_each(|(place, hit)| *place = hit[at]);
            if aligned.len() < MEDIAN_FROM {
                return column.iter().sum::<f64>() / column.len() as f64;
            }
            let half = column.len() / 2;
            let (below, upper, _) = column.select_nth_unstable_by(half, f64::total_cmp);
            let upper = *upper;
            if aligned.len() % 2 == 1 {
                upper
            } else {
                0.5 * (upper + below.iter().copied().fold(f64::NEG_INFINITY, f64::max))
            }
        })
        .collect()
}

/// Wiener's share of sound in each bin: 1 − noise/power, from powers over a few neighbours.
fn shrink(bins: &mut [Bin], noise: &[f64]) {
    let powers: Vec<f64> = bins.iter().map(Bin::norm_sqr).collect();
    for (at, bin) in bins.iter_mut().enumerate() {
        let near = at.saturating_sub(NEIGHBOURS)..(at + NEIGHBOURS + 1).min(powers.len());
        let power: f64 = powers[near.clone()].iter().sum();
        let share = if power > 0.0 { 1.0 - noise[near].iter().sum::<f64>() / power } else { 0.0 };
        *bin *= share.max(0.0);
    }
}
