//! Where files go and how sound is written.

use super::{ExportError, Progress};
use crate::rig::Run;
use crate::sound::render::{Bank, Channels, Format, Program, Spec, wav};
use crate::sound::score::Ensemble;
use crate::time::{Instant, PS_PER_SECOND, Span};
use std::path::PathBuf;
use std::sync::Arc;

/// A folder, what goes into it, and who is told.
#[derive(Clone)]
pub struct Destination {
    /// It is made if need be.
    pub dir: PathBuf,
    /// Whether files may be written over that are not this program's, or were changed since it made them.
    pub overwrite: bool,
    /// How sound is written.
    pub sound: SoundSettings,
    /// Who is told what is made.
    pub progress: Arc<dyn Progress>,
}

/// How sound is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SoundSettings {
    /// Samples a second.
    pub sample_rate: u32,
    /// Bits a sample: 16, 24, or 32 in floating point.
    pub bits: u16,
    /// What all chance is drawn from.
    pub seed: u64,
    /// Silence before the clock starts.
    pub lead_in: Span,
}

/// Which draw of what is left to chance is heard: a run by its number, or the typical one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Draw(pub Option<u64>);

impl Draw {
    /// The run, with what it draws from.
    #[must_use]
    pub fn of(self, seed: u64) -> Run {
        self.0.map_or(Run::Typical, |number| Run::Drawn { seed, number })
    }

    /// What is added to a tempo in the names of files: nothing for the typical run.
    #[must_use]
    pub fn tail(self) -> String {
        self.0.map_or_else(String::new, |number| format!("-run{number}"))
    }
}

impl SoundSettings {
    /// How the sound of a page is made: as a file's is unless something else is asked for.
    #[must_use]
    pub const fn of_page(seed: u64) -> Self {
        Self { sample_rate: 48_000, bits: 24, seed, lead_in: Span::from_ms(100) }
    }

    /// How a file of so many channels is written.
    #[must_use]
    pub fn spec(&self, channels: Channels) -> Spec {
        let format = match self.bits {
            16 => Format::Pcm16,
            32 => Format::Float32,
            _ => Format::Pcm24,
        };
        Spec { format, channels, seed: self.seed }
    }

    /// Refuses what a WAV file cannot hold, before anything is opened or written.
    ///
    /// # Errors
    /// With the size and the bound.
    pub fn fits(&self, program: &Program<'_>, channels: Channels) -> Result<(), ExportError> {
        program.size(&self.spec(channels))?;
        Ok(())
    }

    /// Refuses too much from the length of the patch alone, before anything of it is played.
    ///
    /// # Errors
    /// As [`SoundSettings::fits`].
    pub fn lasts(&self, end: Instant, channels: Channels) -> Result<(), ExportError> {
        let ps = i128::from(self.lead_in.0) + i128::from(end.0);
        let frames = ps * i128::from(self.sample_rate) / i128::from(PS_PER_SECOND);
        wav::size(u64::try_from(frames).unwrap_or(u64::MAX), &self.spec(channels))?;
        Ok(())
    }

    /// The voices of a run at its sample rate.
    ///
    /// # Errors
    /// For a sample rate that cannot be rendered.
    pub fn bank(&self, ensemble: &Ensemble) -> Result<Bank, ExportError> {
        Ok(Bank::new(self.sample_rate, ensemble.sounds())?)
    }
}
