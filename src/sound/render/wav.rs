//! The layout of a WAV file: what a sample takes, how large a file gets, what stands before the sound.

use super::error::RenderError;
use std::io;

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
    /// Bytes of one sample of every channel.
    #[must_use]
    pub const fn frame_bytes(&self) -> u64 {
        (self.channels.count() * (self.format.bits() / 8)) as u64
    }

    /// Bytes before the first sample.
    #[must_use]
    pub const fn header_bytes(&self) -> u64 {
        match self.format {
            Format::Pcm16 | Format::Pcm24 => 44,
            // What is not PCM says how long the rest of its format chunk is, and carries a `fact` chunk.
            Format::Float32 => 44 + 2 + FACT_BYTES,
        }
    }
}

const FACT_BYTES: u64 = 12;
/// The largest file: its size less 8 bytes is written in 32 bits.
const LARGEST: u128 = u32::MAX as u128 + 8;

/// The size in bytes of a file that has nothing after its samples.
///
/// # Errors
/// If that is more than a WAV file can hold, 4 GiB.
pub fn size(frames: u64, spec: &Spec) -> Result<u64, RenderError> {
    size_with(frames, spec, 0)
}

/// The size in bytes of a file that has so many bytes, an even number, after its samples.
///
/// # Errors
/// As [`size`].
pub(super) fn size_with(frames: u64, spec: &Spec, after: u64) -> Result<u64, RenderError> {
    let data = u128::from(frames) * u128::from(spec.frame_bytes());
    // A data chunk of odd length is followed by a byte of padding.
    let bytes = u128::from(spec.header_bytes()) + data + data % 2 + u128::from(after);
    match u64::try_from(bytes) {
        Ok(fits) if bytes <= LARGEST => Ok(fits),
        _ => Err(RenderError::TooLarge { bytes, bound: LARGEST }),
    }
}

/// A whole file of 16 bits, by `hound`, from the bytes of its samples, and what stands after them.
pub(super) fn whole16(rate: u32, spec: &Spec, samples: &[u8], after: &[u8]) -> io::Result<Vec<u8>> {
    let spec = hound::WavSpec {
        channels: spec.channels.count(),
        sample_rate: rate,
        bits_per_sample: spec.format.bits(),
        sample_format: hound::SampleFormat::Int,
    };
    let failed = |error: hound::Error| match error {
        hound::Error::IoError(cause) => cause,
        other => io::Error::other(other),
    };
    let mut file = io::Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut file, spec).map_err(failed)?;
    let count = u32::try_from(samples.len() / 2).map_err(|_| io::ErrorKind::FileTooLarge)?;
    let mut buffer = writer.get_i16_writer(count);
    for bytes in samples.chunks_exact(2) {
        buffer.write_sample(i16::from_le_bytes([bytes[0], bytes[1]]));
    }
    buffer.flush().map_err(failed)?;
    writer.finalize().map_err(failed)?;
    let mut file = file.into_inner();
    file.extend_from_slice(after);
    // `hound` has counted the samples alone. What fits into memory fits 32 bits: `size_with` has looked.
    let all = (file.len() - 8) as u32;
    file[4..8].copy_from_slice(&all.to_le_bytes());
    Ok(file)
}

/// All that stands before the first sample of a file with so many bytes after the last.
///
/// The plain forms of the format chunk, which every reader knows: 16 bytes with tag 1 for whole numbers, 18 with tag 3 and a
/// `fact` chunk for floats. Of one or two channels the extensible form says no more, and its speaker mask would call a single
/// channel the left front.
pub(super) fn header(frames: u64, rate: u32, spec: &Spec, after: u64) -> Result<Vec<u8>, RenderError> {
    let all = size_with(frames, spec, after)?;
    // Sizes fit 32 bits: `size` has looked.
    let long = |v: u64| (v as u32).to_le_bytes();
    let short = |v: u16| v.to_le_bytes();
    let float = spec.format == Format::Float32;
    let (tag, rest): (u16, &[u8]) = if float { (3, &[0, 0]) } else { (1, &[]) };
    let mut bytes = Vec::with_capacity(spec.header_bytes() as usize);
    let mut put = |some: &[u8]| bytes.extend_from_slice(some);
    put(b"RIFF");
    put(&long(all - 8));
    put(b"WAVEfmt ");
    put(&long(16 + rest.len() as u64));
    put(&short(tag));
    put(&short(spec.channels.count()));
    put(&rate.to_le_bytes());
    put(&long(u64::from(rate) * spec.frame_bytes()));
    put(&short(spec.frame_bytes() as u16));
    put(&short(spec.format.bits()));
    put(rest);
    if float {
        put(b"fact");
        put(&long(4));
        put(&long(frames));
    }
    put(b"data");
    put(&long(frames * spec.frame_bytes()));
    debug_assert_eq!(bytes.len() as u64, spec.header_bytes(), "the header has the size that was announced");
    Ok(bytes)
}
