//! WAV files of a recorder, read where samples are wanted.

use super::SourceError;
use crate::measure::Recording;
use crate::text::{plain, rounded};
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
    /// Its name, as it may be printed.
    shown: String,
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
        let there = file.get_ref().metadata().map_err(cannot)?.len().saturating_sub(start);
        let recording = Self { file: Mutex::new(file), spec, frames, start, shown };
        let frame = (recording.bytes() * recording.channels()) as u64;
        if there < frames as u64 * frame {
            let seconds = |frames: f64| rounded(frames / recording.rate(), 1);
            return Err(SourceError::refused(
                format!(
                    "`{}` says that it lasts {} s, and ends after {} s",
                    recording.shown,
                    seconds(frames as f64),
                    seconds(there as f64 / frame as f64)
                ),
                "copy it from the recorder once more; if it is as short there, save what is there as a file of its own",
            ));
        }
        Ok(recording)
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
        if let Some(at) = into.iter().position(|sample| !sample.is_finite()) {
            let (channel, at) = (channel + 1, rounded((from + at) as f64 / self.rate(), 3));
            let found =
                format!("`{}` holds what is no number on channel {channel}, {at} s after its start", self.shown);
            return Err(io::Error::new(io::ErrorKind::InvalidData, found));
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use hound::WavWriter;

    /// A ramp over two channels in each kind of sample; a whole number n of b bits is n/2^(b − 1) of full scale.
    #[test]
    fn samples_of_each_kind_are_read_where_they_lie() {
        let folder = tempfile::TempDir::new().expect("a folder");
        for (bits, format) in
            [(8, SampleFormat::Int), (16, SampleFormat::Int), (24, SampleFormat::Int), (32, SampleFormat::Float)]
        {
            let path = folder.path().join(format!("{bits}.wav"));
            let spec = WavSpec { channels: 2, sample_rate: 48_000, bits_per_sample: bits, sample_format: format };
            let mut writer = WavWriter::create(&path, spec).expect("a file");
            for n in 0..100 {
                for value in [n, -n] {
                    match format {
                        SampleFormat::Int => writer.write_sample(value).expect("a sample"),
                        SampleFormat::Float => writer.write_sample(value as f32 / 128.0).expect("a sample"),
                    }
                }
            }
            writer.finalize().expect("a file");
            let recording = WavRecording::open(&path).expect("a WAV file");
            assert_eq!((recording.rate(), recording.channels(), recording.frames()), (48_000.0, 2, 100));
            let full = if format == SampleFormat::Float { 128.0 } else { f32::from(2_u16).powi(i32::from(bits) - 1) };
            for (channel, sign) in [(0, 1.0), (1, -1.0)] {
                let mut samples = [0.0; 10];
                recording.read(channel, 40, &mut samples).expect("samples");
                let expected: Vec<f32> = (40..50).map(|n| sign * n as f32 / full).collect();
                assert_eq!(samples.to_vec(), expected, "{bits} bits, channel {channel}");
            }
        }
    }

    /// One sample that is no number, and a file whose second half is gone.
    #[test]
    fn broken_files_are_told_with_their_place() {
        let folder = tempfile::TempDir::new().expect("a folder");
        let path = folder.path().join("broken.wav");
        let spec = WavSpec { channels: 2, sample_rate: 8_000, bits_per_sample: 32, sample_format: SampleFormat::Float };
        let mut writer = WavWriter::create(&path, spec).expect("a file");
        for n in 0..16_000 {
            writer.write_sample(if n == 2 * 4_000 + 1 { f32::NAN } else { 0.1 }).expect("a sample");
        }
        writer.finalize().expect("a file");
        let recording = WavRecording::open(&path).expect("a WAV file");
        let mut samples = [0.0; 4_001];
        recording.read(0, 0, &mut samples).expect("numbers");
        let fault = recording.read(1, 0, &mut samples).expect_err("no number");
        assert!(fault.to_string().contains("no number on channel 2, 0.5 s after its start"), "{fault}");
        let whole = std::fs::read(&path).expect("a file");
        std::fs::write(&path, &whole[..whole.len() - 32_000]).expect("a file");
        let told = WavRecording::open(&path).expect_err("cut off").to_string();
        assert!(told.contains("says that it lasts 1 s, and ends after 0.5 s") && told.contains("help: "), "{told}");
    }

    #[test]
    fn what_is_no_sound_is_refused() {
        let folder = tempfile::TempDir::new().expect("a folder");
        let path = folder.path().join("notes.wav");
        std::fs::write(&path, "no sound at all, but words").expect("a file");
        let told = WavRecording::open(&path).expect_err("no WAV file").to_string();
        assert!(told.contains("is no WAV file") && told.contains("help: "), "{told}");
        let told = WavRecording::open(&folder.path().join("nothing.wav")).expect_err("no file").to_string();
        assert!(told.contains("could not be read"), "{told}");
    }
}
