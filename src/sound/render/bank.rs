use super::bound::{self, Limits};
use super::error::RenderError;
use super::kernel::Kernel;
use super::lowpass::Lowpass;
use crate::dsp::Master;
use rayon::prelude::*;
use std::sync::OnceLock;

/// The voices of a render at one sample rate.
///
/// A voice is read into a few evenly spaced delays of less than a sample, each when it is first needed, and a hit
/// between two of them is found by a cubic through the nearest four. A bank may serve many renders, one after the
/// other or at once; its memory is 3.1 MB a second of master at most.
#[derive(Debug)]
pub struct Bank {
    kernel: Kernel,
    /// Delays a sample: spaced by about 1.3 µs at any rate, so that a cubic leaves less than −95 dB at 18 kHz.
    phases: u64,
    voices: Vec<Voice>,
}

#[derive(Debug)]
pub(super) struct Voice {
    master: Master,
    /// Output samples, counted from the hit, in which it sounds.
    pub(super) reach: (i64, i64),
    /// One list of samples a delay, from one before `reach` to one after it.
    delayed: Vec<OnceLock<Box<[f32]>>>,
    envelope: OnceLock<Box<[Limits]>>,
}

impl Bank {
    /// Voices to be rendered at a sample rate in hertz.
    ///
    /// # Errors
    /// If the rate is not within 8,000 to 384,000.
    pub fn new(sample_rate: u32, masters: Vec<Master>) -> Result<Self, RenderError> {
        let kernel = Kernel::new(sample_rate)?;
        let phases = match sample_rate {
            0..=64_000 => 16,
            64_001..=128_000 => 8,
            128_001..=256_000 => 4,
            _ => 2,
        };
        let lowpass = Lowpass::new(sample_rate);
        let voice = |master: Master| {
            let master = lowpass.filter(master);
            Voice {
                reach: kernel.reach(master.pre, master.samples.len() as i64 - master.pre),
                delayed: (0..phases).map(|_| OnceLock::new()).collect(),
                envelope: OnceLock::new(),
                master,
            }
        };
        let voices = masters.into_par_iter().map(voice).collect();
        Ok(Self { kernel, phases, voices })
    }

    /// The sample rate, in hertz.
    #[must_use]
    pub fn sample_rate(&self) -> u32 {
        self.kernel.rate()
    }

    /// Delays a sample.
    pub(super) fn phases(&self) -> u64 {
        self.phases
    }

    pub(super) fn voices(&self) -> &[Voice] {
        &self.voices
    }

    /// A voice delayed by `phase` of [`Self::phases`]; `phase` may be one before the first or two past the last.
    /// The slice begins at the first sample of the voice's reach, and has the reach's length.
    pub(super) fn delayed<'v>(&self, voice: &'v Voice, phase: i64) -> &'v [f32] {
        let phases = self.phases as i64;
        let (turns, phase) = (phase.div_euclid(phases), phase.rem_euclid(phases));
        let len = (voice.reach.1 - voice.reach.0) as usize;
        let list = voice.delayed[phase as usize].get_or_init(|| {
            let mut list = vec![0.0; len + 2].into_boxed_slice();
            self.kernel.read(&voice.master, voice.reach.0 - 1, (phase as u64, self.phases), &mut list);
            list
        });
        // A whole sample later reads one sample earlier.
        let from = (1 - turns) as usize;
        &list[from..from + len]
    }

    /// What a voice keeps within, a cell of frames at a time.
    pub(super) fn envelope<'v>(&self, voice: &'v Voice) -> &'v [Limits] {
        voice.envelope.get_or_init(|| bound::envelope(self, voice))
    }
}
