//! WAV files of a recorder, read where samples are wanted.

use super::SourceError;
use crate::measure::Recording;
use crate::text::plain;
use hound::{SampleFormat, WavReader, WavSpec};
use std::fs::File;
use std::io::{self, BufReader, Read, Seek, SeekFrom};
use std::path::Path;
use std::sync::{Mutex, PoisonError};

/// A WAV file that is open, of whole numbers of 8 to 32 bits or floats of 32.
#[derive(Debug)]
pub struct WavRecording {
    file: Mutex<BufReader<File>>,
    spec: WavSpec,
    frames: usize,
    /// Where its samples begin, in bytes.
    start: u64,
}

impl WavRecording {
    /// Opens a file and reads what it says of itself.
    ///
    /// # Errors
    /// If it cannot be read or is no WAV file of one of those kinds.
    pub fn open(path: &Path) -> Result<Self, SourceError> {
        let shown = plain(&path.display().to_string());
        let cannot = |e: io::Error| {
            let help = "look at the spelling of its name, and whether this user may read it";
            SourceError::File(format!("`{shown}` could not be read: {e}\nhelp: {help}"))
        };
        let file = BufReader::new(File::open(path).map_err(cannot)?);
        let reader = WavReader::new(file).map_err(|e| match e {
            hound::Error::IoError(e) if e.kind() != io::ErrorKind::UnexpectedEof => cannot(e),
            other => SourceError::refused(
                format!("`{shown}` is no WAV file that can be read: {other}"),
                "save the recording as WAV, 24 bits; a lossy kind has no microseconds left",
            ),
        })?;
        let (spec, frames) = (reader.spec(), reader.duration() as usize);
        if spec.sample_rate < 8_000 {
            return Err(SourceError::refused(
                format!("`{shown}` has {} samples a second, expected 8000 or more", spec.sample_rate),
                "record at 44100 or 48000",
            ));
        }
        let mut file = reader.into_inner();
        let start = file.stream_position().map_err(cannot)?;
        Ok(Self { file: Mutex::new(file), spec, frames, start })
    }

    fn bytes(&self) -> usize {
        usize::from(self.spec.bits_per_sample).div_ceil(8)
    }

    /// The sample that some bytes are, full scale 1.
    fn sample(&self, bytes: &[u8]) -> f32 {
        match (self.spec.sample_format, bytes) {
            (SampleFormat::Float, [a, b, c, d]) => f32::from_le_bytes([*a, *b, *c, *d]),
            (_, [a]) => (f32::from(*a) - 128.0) / 128.0,
            (_, [a, b]) => f32::from(i16::from_le_bytes([*a, *b])) / 32_768.0,
            (_, [a, b, c]) => (i32::from_le_bytes([0, *a, *b, *c]) >> 8) as f32 / 8_388_608.0,
            (_, [a, b, c, d]) => i32::from_le_bytes([*a, *b, *c, *d]) as f32 / 2_147_483_648.0,
            _ => 0.0,
        }
    }
}

impl Recording for WavRecording {
    fn rate(&self) -> f64 {
        f64::from(self.spec.sample_rate)
    }

    fn channels(&self) -> usize {
        usize::from(self.spec.channels)
    }

    fn frames(&self) -> usize {
        self.frames
    }

    fn read(&self, channel: usize, from: usize, into: &mut [f32]) -> io::Result<()> {
        let (sample, frame) = (self.bytes(), self.bytes() * self.channels());
        let mut bytes = vec![0; into.len() * frame];
        {
            // A reader that fell has left the place unknown, which is set anew here.
            let mut file = self.file.lock().unwrap_or_else(PoisonError::into_inner);
            file.seek(SeekFrom::Start(self.start + (from * frame) as u64))?;
            file.read_exact(&mut bytes)?;
        }
        for (place, frame) in into.iter_mut().zip(bytes.chunks_exact(frame)) {
            *place = self.sample(&frame[channel * sample..(channel + 1) * sample]);
        }
        Ok(())
    }
}
