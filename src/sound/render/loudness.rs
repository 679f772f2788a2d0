use super::cues::Window;
use super::error::RenderError;
use super::mix::Mixer;
use super::program::{Program, Watch};
use ebur128::{Channel, EbuR128, Mode};
use rayon::prelude::*;

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
    /// If it is stopped.
    pub fn loudness(&self, watch: Watch) -> Result<Loudness, RenderError> {
        self.loudness_at(1.0, watch)
    }

    /// Measures with a factor on the whole: what is softer than −70 LUFS is not counted, so that a softer file may have a
    /// loudness that differs by more, or less, than its factor.
    ///
    /// # Errors
    /// If it is stopped.
    pub fn loudness_at(&self, gain: f64, watch: Watch) -> Result<Loudness, RenderError> {
        let rate = self.sample_rate();
        // Two channels that are one are metered once: twice the energy either way, to the last bit.
        let channels = if self.centred { 1 } else { 2 };
        let mut meter = EbuR128::new(channels, rate, Mode::I).map_err(RenderError::Loudness)?;
        if self.centred {
            meter.set_channel(0, Channel::DualMono).map_err(RenderError::Loudness)?;
        }
        // The window of momentary loudness, 400 ms as the meter counts them; one after the other they hold all energy.
        let window = u64::from((rate + 5) / 10) * 4;
        let windows = self.frames().div_ceil(window);
        let (mut energy, mut integrated, mut from) = (0.0, f64::NEG_INFINITY, 0);
        let mut near = Window::new(self);
        while from < windows {
            watch.go_on()?;
            // As many windows as there are threads are mixed at once; the meter hears them in order.
            let until = (from + rayon::current_num_threads() as u64).min(windows);
            let cues = near.over(&((from * window) as i64..(until * window) as i64));
            let mixed = (from..until).into_par_iter().map(|n| {
                let mut mixer = Mixer::new(self);
                mixer.mix(cues, (n * window) as i64..((n + 1) * window) as i64);
                if gain != 1.0 {
                    mixer.left.iter_mut().chain(&mut mixer.right).for_each(|v| *v *= gain as f32);
                }
                (mixer.left, mixer.right)
            });
            let mixed: Vec<_> = mixed.collect();
            for (n, (left, right)) in (from..).zip(mixed) {
                let here = (self.frames() - n * window).min(window) as usize;
                let hear = |meter: &mut EbuR128, left: &[f32], right: &[f32]| {
                    meter.add_frames_planar_f32(&[left, right][..channels as usize]).map_err(RenderError::Loudness)
                };
                hear(&mut meter, &left[..here], &right[..here])?;
                if n + 1 == windows {
                    // The gate hears only what is in the file; silence fills the window for its energy.
                    integrated = meter.loudness_global().map_err(RenderError::Loudness)?;
                    let silence = vec![0.0; window as usize - here];
                    hear(&mut meter, &silence, &silence)?;
                }
                let level = meter.loudness_momentary().map_err(RenderError::Loudness)?;
                energy += libm::pow(10.0, level / 10.0) * window as f64 / f64::from(rate);
                watch.done(here as u64);
            }
            from = until;
        }
        let energy = 10.0 * libm::log10(energy);
        Ok(Loudness { integrated: rounded(integrated), energy: rounded(energy) })
    }
}

#[cfg(test)]
mod tests {
    use super::super::bank::Bank;
    use super::super::cue::Cue;
    use super::*;
    use crate::dsp::Master;
    use crate::time::{Instant, PS_PER_SECOND, Span};

    /// 1 kHz at a peak level in dB, for so long.
    fn tone(seconds: f64, db: f64) -> Master {
        let level = 10.0_f64.powf(db / 20.0);
        let at = |n: usize| (level * (std::f64::consts::TAU * n as f64 / 96.0).sin()) as f32;
        Master { samples: (0..(seconds * 96_000.0) as usize).map(at).collect(), pre: 0 }
    }

    fn loudness(rate: u32, masters: Vec<Master>, starts: &[f64]) -> Loudness {
        let bank = Bank::new(rate, masters).expect("a usual rate");
        let cue = |(n, at): (usize, &f64)| Cue::centred(Instant((at * PS_PER_SECOND as f64) as i64), n as u32, 1.0);
        let cues = starts.iter().enumerate().map(cue).collect();
        let program = Program::new(&bank, cues, Span::ZERO, Instant(0)).expect("sound");
        program.loudness(Watch::nobody()).expect("nobody stops it")
    }

    #[test]
    fn tones_read_as_the_broadcasters_document_says() {
        // EBU Tech 3341, cases 1 to 3, within 0.1 LU.
        for (level, rate) in [(-23.0, 48_000), (-33.0, 48_000), (-23.0, 44_100), (-23.0, 192_000)] {
            let read = loudness(rate, vec![tone(20.0, level)], &[0.0]).integrated.expect("long enough");
            assert!((read - level).abs() <= 0.1, "{level} at {rate} Hz: {read}");
        }
        let three = vec![tone(10.0, -36.0), tone(60.0, -23.0), tone(10.0, -36.0)];
        let read = loudness(48_000, three, &[0.0, 10.0, 70.0]).integrated.expect("long enough");
        assert!((read + 23.0).abs() <= 0.1, "{read}");
    }

    #[test]
    fn energy_is_level_and_length() {
        // Closed form: a tone at −23 LUFS for T seconds has −23 + 10 log T. The same for bursts apart, whatever window
        // they fall into; what the filter rings on is below 0.1 dB.
        for seconds in [0.05, 0.3, 1.0, 3.7] {
            let expected = -23.0 + 10.0 * f64::log10(seconds);
            let once = loudness(48_000, vec![tone(seconds, -23.0)], &[0.0]).energy.expect("sound");
            assert!((once - expected).abs() <= 0.1, "{seconds} s: {once} for {expected}");
            let twice = loudness(48_000, vec![tone(seconds, -23.0); 2], &[0.0, 5.1234]).energy.expect("sound");
            assert!((twice - expected - 3.01).abs() <= 0.1, "{seconds} s twice: {twice} for {expected} + 3.01");
        }
        assert_eq!(loudness(48_000, vec![tone(0.05, -23.0)], &[0.0]).integrated, None);
    }

    #[test]
    fn one_channel_counted_twice_is_two() {
        // The same from the centre and, a hair off it, on two channels.
        let bank = Bank::new(48_000, vec![tone(0.7, -20.0)]).expect("a usual rate");
        let read = |right: f32| {
            let cue = Cue { right, ..Cue::centred(Instant(7_000_000), 0, 1.0) };
            let program = Program::new(&bank, vec![cue], Span::ZERO, Instant(0)).expect("sound");
            assert_eq!(program.centred, right == 1.0);
            program.loudness(Watch::nobody()).expect("nobody stops it")
        };
        assert_eq!(read(1.0), read(1.0 + f32::EPSILON));
    }

    #[test]
    fn figures_have_two_decimals() {
        assert_eq!(rounded(-23.012_345), Some(-23.01));
        assert_eq!(rounded(f64::NEG_INFINITY), None);
    }
}
