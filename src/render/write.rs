use super::encode::Encoder;
use super::error::RenderError;
use super::mix::Mixer;
use super::peak::Levels;
use super::program::{Program, Watch};
use super::sink::Sink;
use super::wav::{self, Spec};
use rayon::prelude::*;
use std::sync::atomic::AtomicU64;

/// Frames that are mixed, encoded and written at a time.
const BLOCK: u64 = 4096;

/// The factor on a whole file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Gain {
    /// 1, or as much less as keeps the file under −1 dBTP.
    Auto,
    /// A given one: for stems, which have the factor of the whole mix, and for files that are matched in loudness.
    Fixed(f64),
}

/// What was written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Written {
    /// Frames in the file.
    pub frames: u64,
    /// Size of the file in bytes.
    pub bytes: u64,
    /// The factor on the whole file.
    pub gain: f64,
    /// The levels before that factor.
    pub levels: Levels,
}

impl Program<'_> {
    /// Measures the render and writes it as a WAV file.
    ///
    /// The bytes depend on the program, the bank and `spec`, and on nothing else.
    ///
    /// # Errors
    /// If the file would be too large (before a byte is written), cannot be written, or is stopped.
    pub fn write(&self, spec: &Spec, gain: Gain, sink: &dyn Sink, watch: Watch) -> Result<Written, RenderError> {
        let bytes = wav::size(self.frames(), spec)?;
        let levels = self.measure(watch)?;
        let gain = match gain {
            Gain::Auto => levels.safe_gain(),
            Gain::Fixed(gain) => gain,
        };
        self.write_blocks(spec, gain as f32, sink, watch, BLOCK)?;
        Ok(Written { frames: self.frames(), bytes, gain, levels })
    }

    fn write_blocks(
        &self,
        spec: &Spec,
        gain: f32,
        sink: &dyn Sink,
        watch: Watch,
        block: u64,
    ) -> Result<(), RenderError> {
        let header = wav::header(self.frames(), self.sample_rate(), spec)?;
        sink.write_at(&header, 0).map_err(RenderError::Sink)?;
        let counter = AtomicU64::new(0);
        (0..self.frames().div_ceil(block)).into_par_iter().try_for_each_init(
            || (Mixer::new(self), Encoder::new(*spec, gain)),
            |(mixer, encoder), n| {
                watch.go_on()?;
                let (from, to) = (n * block, ((n + 1) * block).min(self.frames()));
                mixer.mix(from as i64..to as i64)?;
                encoder.encode(from, &mixer.left, &mixer.right);
                let at = spec.header_bytes() + from * spec.frame_bytes();
                sink.write_at(&encoder.bytes, at).map_err(RenderError::Sink)?;
                watch.done(&counter, to - from);
                Ok(())
            },
        )
    }
}
