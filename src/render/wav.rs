//! The layout of a WAV file: what a sample takes, how large a file gets, what stands before the sound.

use super::error::RenderError;
use hound::{SampleFormat, WavSpec, WavWriter};
use std::io::Cursor;

/// How a sample is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Format {
    /// Whole numbers of 16 bits, with triangular dither.
    Pcm16,
    /// Whole numbers of 24 bits, rounded to the nearest.
    Pcm24,
    /// 32-bit floats, as mixed.
    Float32,
}

/// How many channels a file has.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Channels {
    /// One: the left channel of the mix.
    Mono,
    /// Left and right.
    Stereo,
}

/// How a file is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Spec {
    /// How a sample is written.
    pub format: Format,
    /// How many channels there are.
    pub channels: Channels,
    /// Seed of the dither.
    pub seed: u64,
}

impl Format {
    /// Bits a sample.
    #[must_use]
    pub const fn bits(self) -> u16 {
        match self {
            Self::Pcm16 => 16,
            Self::Pcm24 => 24,
            Self::Float32 => 32,
        }
    }
}

impl Channels {
    /// How many.
    #[must_use]
    pub const fn count(self) -> u16 {
        match self {
            Self::Mono => 1,
            Self::Stereo => 2,
        }
    }
}

impl Spec {
    /// Bytes a frame.
    #[must_use]
    pub const fn frame_bytes(&self) -> u64 {
        (self.channels.count() * (self.format.bits() / 8)) as u64
    }

    /// Bytes before the first sample.
    #[must_use]
    pub const fn header_bytes(&self) -> u64 {
        match self.format {
            Format::Pcm16 | Format::Pcm24 => 44,
            // The extensible form of the format chunk is 24 bytes longer, and what is not PCM carries a `fact` chunk.
            Format::Float32 => 68 + FACT_BYTES,
        }
    }
}

const FACT_BYTES: u64 = 12;
/// The largest file: its size less 8 bytes is written in 32 bits.
const LARGEST: u128 = u32::MAX as u128 + 8;

/// The size of the whole file in bytes.
///
/// # Errors
/// If that is more than a WAV file can hold, 4 GiB.
pub fn size(frames: u64, spec: &Spec) -> Result<u64, RenderError> {
    let data = u128::from(frames) * u128::from(spec.frame_bytes());
    // A data chunk of odd length is followed by a byte of padding.
    let bytes = u128::from(spec.header_bytes()) + data + data % 2;
    match u64::try_from(bytes) {
        Ok(fits) if bytes <= LARGEST => Ok(fits),
        _ => Err(RenderError::TooLarge { bytes, bound: LARGEST }),
    }
}

/// All that stands before the first sample: `hound`'s header, with the sizes filled in, and for floats the `fact`
/// chunk that it leaves out.
///
/// For 24 bits `hound` writes the extensible form of the format chunk, which many a simple reader does not know; the
/// plain form says the same of one or two channels and is read by all, so it is made from the one for 16 bits.
pub(super) fn header(frames: u64, rate: u32, spec: &Spec) -> Result<Vec<u8>, RenderError> {
    let all = size(frames, spec)?;
    let sample_format = match spec.format {
        Format::Float32 => SampleFormat::Float,
        Format::Pcm16 | Format::Pcm24 => SampleFormat::Int,
    };
    let hound = WavSpec {
        channels: spec.channels.count(),
        sample_rate: rate,
        bits_per_sample: if spec.format == Format::Pcm24 { 16 } else { spec.format.bits() },
        sample_format,
    };
    let mut bytes = Vec::new();
    WavWriter::new(Cursor::new(&mut bytes), hound).and_then(WavWriter::finalize).map_err(RenderError::Header)?;
    let data_at = bytes.len() - 8;
    if spec.format == Format::Float32 {
        let fact = [*b"fact", 4_u32.to_le_bytes(), (frames as u32).to_le_bytes()].concat();
        bytes.splice(data_at..data_at, fact);
    }
    if spec.format == Format::Pcm24 {
        // Bytes a second, bytes a frame, bits a sample: the last fields of a format chunk that begins at 12.
        let a_second = u64::from(rate) * spec.frame_bytes();
        bytes[28..32].copy_from_slice(&(a_second as u32).to_le_bytes());
        bytes[32..34].copy_from_slice(&(spec.frame_bytes() as u16).to_le_bytes());
        bytes[34..36].copy_from_slice(&spec.format.bits().to_le_bytes());
    }
    let data = frames * spec.frame_bytes();
    // Both fit: `size` has looked.
    bytes[4..8].copy_from_slice(&((all - 8) as u32).to_le_bytes());
    let end = bytes.len();
    bytes[end - 4..].copy_from_slice(&(data as u32).to_le_bytes());
    debug_assert_eq!(bytes.len() as u64, spec.header_bytes(), "the header has the size that was announced");
    Ok(bytes)
}
