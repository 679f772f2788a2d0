use super::cut::{Cut, Stretch};
use super::template::Template;

/// Where a template fits a hit best.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Fit {
    /// Samples from the cut's place to the hit.
    pub(super) lag: f64,
    pub(super) amplitude: f64,
    /// The standard error of the lag, from what the fit leaves.
    pub(super) error: f64,
    /// The correlation of template and hit in the window.
    pub(super) correlation: f64,
}

/// How far one step of the fit goes at most, when it is done, and after how many steps it gives up, in samples.
const STEP: f64 = 1.0;
const CLOSE: f64 = 1e-6;
const STEPS: usize = 20;

/// Fits `a·T(t − τ)` by Gauss and Newton's method, from a lag that is right to half a cycle; none where nothing fits.
pub(super) fn fit(stretch: &Stretch, template: &Template, cut: &Cut, from: f64) -> Option<Fit> {
    let mut lag = from;
    for _ in 0..STEPS {
        let (wave, slope) = template.at(stretch, lag);
        let sums = Sums::of(stretch, &wave, &slope, &cut.samples);
        let amplitude = sums.amplitude()?;
        // With the amplitude at its best, the lag's step is that of the part of the slope which no amplitude makes.
        let across = sums.slope_slope - sums.wave_slope * sums.wave_slope / sums.wave_wave;
        let residual_slope = sums.cut_slope - amplitude * sums.wave_slope;
        let step = -residual_slope / (amplitude * across);
        if !step.is_finite() {
            return None;
        }
        lag += step.clamp(-STEP, STEP);
        if step.abs() < CLOSE {
            break;
        }
    }
    if (lag - from).abs() > stretch.before as f64 / 2.0 {
        return None;
    }
    let (wave, slope) = template.at(stretch, lag);
    let sums = Sums::of(stretch, &wave, &slope, &cut.samples);
    let amplitude = sums.amplitude()?;
    let error = standard_error(stretch, template, &wave, &slope, &cut.samples, amplitude, &sums);
    let correlation = sums.cut_wave / (sums.wave_wave * stretch.product(&cut.samples, &cut.samples)).sqrt();
    (amplitude > 0.0).then_some(Fit { lag, amplitude, error, correlation })
}

struct Sums {
    wave_wave: f64,
    wave_slope: f64,
    slope_slope: f64,
    cut_wave: f64,
    cut_slope: f64,
}

impl Sums {
    fn of(stretch: &Stretch, wave: &[f64], slope: &[f64], cut: &[f64]) -> Self {
        Self {
            wave_wave: stretch.product(wave, wave),
            wave_slope: stretch.product(wave, slope),
            slope_slope: stretch.product(slope, slope),
            cut_wave: stretch.product(cut, wave),
            cut_slope: stretch.product(cut, slope),
        }
    }

    fn amplitude(&self) -> Option<f64> {
        (self.wave_wave > 0.0).then(|| self.cut_wave / self.wave_wave)
    }
}

/// The standard error of the lag: each sample of what is left is a draw of the noise, and moves the lag by its influence.
fn standard_error(
    stretch: &Stretch,
    template: &Template,
    wave: &[f64],
    slope: &[f64],
    cut: &[f64],
    amplitude: f64,
    sums: &Sums,
) -> f64 {
    let across = sums.slope_slope - sums.wave_slope * sums.wave_slope / sums.wave_wave;
    let tilt = sums.wave_slope / sums.wave_wave;
    let left = |at: usize| cut[at] - amplitude * wave[at];
    let influence = |at: usize| stretch.weights[at] * (slope[at] - tilt * wave[at]) / (amplitude * across);
    let size = stretch.size();
    if template.reach == 0 {
        return steady_noise(stretch, (0..size).map(influence).collect(), (0..size).map(left));
    }
    // Where neighbours are alike, products with them count too (Newey and West 1987, from memory), the further the less.
    let moves: Vec<f64> = (0..size).map(|at| influence(at) * left(at)).collect();
    let mut sum: f64 = moves.iter().map(|m| m * m).sum();
    for apart in 1..=template.reach {
        let share = 1.0 - apart as f64 / (template.reach + 1) as f64;
        sum += 2.0 * share * moves.iter().zip(&moves[apart..]).map(|(a, b)| a * b).sum::<f64>();
    }
    sum.max(0.0).sqrt()
}

/// The standard error that steady noise makes, be it white or not: bin by bin, its power times the square of its influence.
fn steady_noise(stretch: &Stretch, influence: Vec<f64>, left: impl Iterator<Item = f64>) -> f64 {
    let weight: f64 = stretch.weights.iter().sum();
    let seen = left.zip(&stretch.weights).map(|(left, weight)| left * weight.sqrt()).collect();
    let bins = stretch.fourier.spectrum(seen).into_iter().zip(stretch.fourier.spectrum(influence));
    let last = stretch.size() / 2;
    let sum: f64 = bins
        .enumerate()
        .map(|(number, (noise, influence))| {
            let sides = if number == 0 || number == last { 1.0 } else { 2.0 };
            sides * noise.norm_sqr() * influence.norm_sqr()
        })
        .sum();
    // Two of the samples went into the fit.
    (sum / stretch.size() as f64 / (weight - 2.0).max(1.0)).sqrt()
}
