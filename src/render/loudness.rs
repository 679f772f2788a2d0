use super::error::RenderError;
use super::mix::Mixer;
use super::program::{Program, Watch};
use ebur128::{EbuR128, Mode};
use rayon::prelude::*;
use std::sync::atomic::AtomicU64;

/// How loud a render is, at its own levels, as if played on two channels.
///
/// Both figures are rounded to 0.01 dB. The meter's filters come from the platform's tangent and power functions,
/// which may differ in their last bit from one machine to another; rounded, that difference cannot reach a gain, and
/// so cannot reach the bytes of a file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Loudness {
    /// Gated loudness of the whole in LUFS (BS.1770-5); `None` under 0.4 s and for silence.
    pub integrated: Option<f64>,
    /// K-weighted energy of the whole, in dB of a second at 0 LUFS: what short sounds are matched by. `None` for
    /// silence.
    pub energy: Option<f64>,
}

fn rounded(db: f64) -> Option<f64> {
    db.is_finite().then(|| (db * 100.0).round() / 100.0)
}

impl Program<'_> {
    /// Measures the loudness.
    ///
    /// # Errors
    /// If it is stopped, or a take is longer than announced.
    pub fn loudness(&self, watch: Watch) -> Result<Loudness, RenderError> {
        let rate = self.sample_rate();
        let mut meter = EbuR128::new(2, rate, Mode::I).map_err(RenderError::Loudness)?;
        let counter = AtomicU64::new(0);
        // The window of momentary loudness, 400 ms as the meter counts them; one after the other they hold all energy.
        let window = u64::from((rate + 5) / 10) * 4;
        let windows = self.frames().div_ceil(window);
        let (mut energy, mut integrated, mut from) = (0.0, f64::NEG_INFINITY, 0);
        while from < windows {
            watch.go_on()?;
            // As many windows as there are threads are mixed at once; the meter hears them in order.
            let until = (from + rayon::current_num_threads() as u64).min(windows);
            let mixed = (from..until).into_par_iter().map(|n| {
                let mut mixer = Mixer::new(self);
                mixer.mix((n * window) as i64..((n + 1) * window) as i64)?;
                Ok((mixer.left, mixer.right))
            });
            let mixed: Result<Vec<_>, RenderError> = mixed.collect();
            for (n, (left, right)) in (from..).zip(mixed?) {
                let here = (self.frames() - n * window).min(window) as usize;
                let mut hear = |left: &[f32], right: &[f32]| {
                    meter.add_frames_planar_f32(&[left, right]).map_err(RenderError::Loudness)
                };
                hear(&left[..here], &right[..here])?;
                if n + 1 == windows {
                    // The gate hears only what is in the file; silence fills the window for its energy.
                    integrated = meter.loudness_global().map_err(RenderError::Loudness)?;
                    let silence = vec![0.0; window as usize - here];
                    meter.add_frames_planar_f32(&[&silence, &silence]).map_err(RenderError::Loudness)?;
                }
                let level = meter.loudness_momentary().map_err(RenderError::Loudness)?;
                energy += libm::pow(10.0, level / 10.0) * window as f64 / f64::from(rate);
                watch.done(&counter, here as u64);
            }
            from = until;
        }
        let energy = 10.0 * libm::log10(energy);
        Ok(Loudness { integrated: rounded(integrated), energy: rounded(energy) })
    }
}
