use super::cut::{Cut, Stretch};
use super::spectrum::Bin;

/// How far two stretches are shifted against each other at most, in seconds.
pub(super) const LAG: f64 = 0.0025;

/// How like two stretches are, best shifted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Likeness {
    /// How many samples the second comes after the first, between samples too.
    pub(super) lag: f64,
    /// From −1 to 1.
    pub(super) correlation: f64,
}

/// Places between two samples at which correlations are looked at: at whole samples alone, the brightest sounds would miss their peak.
pub(super) const OVER: usize = 4;

/// Shifts the second over the first, up to `reach` samples, and takes the largest correlation.
pub(super) fn likeness(stretch: &Stretch, first: &[Bin], second: &[Bin], energies: [f64; 2], reach: usize) -> Likeness {
    let mut product: Vec<Bin> = first.iter().zip(second).map(|(a, b)| a.conj() * b).collect();
    product.resize(stretch.finer.size() / 2 + 1, Bin::default());
    let sums = stretch.finer.samples(product);
    let size = sums.len() as isize;
    let at = |lag: isize| sums[lag.rem_euclid(size) as usize];
    let reach = (reach * OVER) as isize;
    let best = (-reach..=reach).max_by(|a, b| at(*a).total_cmp(&at(*b))).unwrap_or(0);
    // The top of the parabola through three neighbours.
    let (left, top, right) = (at(best - 1), at(best), at(best + 1));
    let bend = left - 2.0 * top + right;
    let within = if bend < 0.0 { (0.5 * (left - right) / bend).clamp(-0.5, 0.5) } else { 0.0 };
    let scale = (energies[0] * energies[1]).sqrt() / OVER as f64;
    Likeness {
        lag: (best as f64 + within) / OVER as f64,
        correlation: if scale > 0.0 { (top - 0.25 * (left - right) * within) / scale } else { 0.0 },
    }
}

/// The energy of a stretch, all samples alike.
pub(super) fn energy(samples: &[f64]) -> f64 {
    samples.iter().map(|sample| sample * sample).sum()
}

/// The largest correlation that noise leaves between a stretch and what it holds without noise: √(snr/(1 + snr)).
pub(super) fn cap(cut: &Cut, noise: f64) -> f64 {
    let all = energy(&cut.samples);
    let sound = (all - noise * cut.samples.len() as f64).max(0.0);
    if all > 0.0 { (sound / all).sqrt() } else { 0.0 }
}
