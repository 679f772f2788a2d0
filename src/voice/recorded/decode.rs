//! From the bytes of a file to its samples.

use super::{LONGEST_FILE_S, RATES, RecordingError};
use dasp::Sample;
use hound::{SampleFormat, WavReader};
use std::io::Cursor;
use symphonia::core::codecs::audio::AudioDecoderOptions;
use symphonia::core::errors::Error as Fault;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, TrackType};
use symphonia::core::io::MediaSourceStream;
use symphonia::core::meta::MetadataOptions;

/// What a file holds.
#[derive(Debug)]
pub(super) struct Decoded {
    /// WAV, AIFF or FLAC.
    pub(super) format: &'static str,
    /// Samples a second.
    pub(super) rate: u32,
    /// One or two.
    pub(super) channels: usize,
    /// Frame by frame, full scale 1.
    pub(super) samples: Vec<f64>,
}

/// Decodes a file by what it begins with, whatever it is called.
pub(super) fn decode(bytes: &[u8]) -> Result<Decoded, RecordingError> {
    match bytes {
        [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'A', b'V', b'E', ..] => wav(bytes),
        [b'F', b'O', b'R', b'M', _, _, _, _, b'A', b'I', b'F', b'F' | b'C', ..] => packed(bytes, "AIFF"),
        [b'f', b'L', b'a', b'C', ..] => packed(bytes, "FLAC"),
        [] => Err(RecordingError::Kind("empty")),
        [b'O', b'g', b'g', b'S', ..] | [b'I', b'D', b'3', ..] | [0xff, 0xe0..=0xff, ..] => {
            Err(RecordingError::Kind("compressed with loss, which moves an attack"))
        }
        [b'M', b'T', b'h', b'd', ..] => Err(RecordingError::Kind("a MIDI file")),
        [b'R', b'F', b'6', b'4', ..] | [b'R', b'I', b'F', b'X', ..] => {
            Err(RecordingError::Kind("a form of WAV that is not read"))
        }
        _ => Err(RecordingError::Kind("no sound file that is known here")),
    }
}

/// Refuses what is no drum before any of it is decoded.
fn fits(rate: u32, channels: usize, frames: Option<u64>) -> Result<(), RecordingError> {
    if !(1..=2).contains(&channels) {
        return Err(RecordingError::Channels(channels));
    }
    if !(RATES[0]..=RATES[1]).contains(&rate) {
        return Err(RecordingError::Rate(rate));
    }
    match frames {
        Some(frames) if frames > most_frames(rate) => Err(RecordingError::TooLong(frames as f64 / f64::from(rate))),
        _ => Ok(()),
    }
}

/// The most samples a channel of a file.
fn most_frames(rate: u32) -> u64 {
    u64::from(rate) * u64::from(LONGEST_FILE_S)
}

fn wav(bytes: &[u8]) -> Result<Decoded, RecordingError> {
    let form = |told: String| RecordingError::Form { format: "WAV", told };
    let mut reader = WavReader::new(Cursor::new(bytes)).map_err(|e| form(e.to_string()))?;
    let spec = reader.spec();
    let channels = usize::from(spec.channels);
    let promised = u64::from(reader.duration());
    // A header that lies is told as one that lies, not as a file that is too long.
    let possible = bytes.len() as u64 / u64::from(spec.bits_per_sample.div_ceil(8)).max(1);
    fits(spec.sample_rate, channels, (promised <= possible).then_some(promised))?;
    let mut samples = Vec::new();
    let most = possible.min(promised.saturating_mul(channels as u64)) as usize;
    // What cannot be read any more ends it, and is told below.
    match spec.sample_format {
        SampleFormat::Float => samples.extend(reader.samples::<f32>().map_while(Result::ok).take(most).map(f64::from)),
        SampleFormat::Int => {
            let full = f64::from(1_u32 << (spec.bits_per_sample - 1).min(31));
            samples.extend(reader.samples::<i32>().map_while(Result::ok).take(most).map(|x| f64::from(x) / full));
        }
    }
    whole(Decoded { format: "WAV", rate: spec.sample_rate, channels, samples }, Some(promised))
}

/// AIFF and FLAC.
fn packed(bytes: &[u8], format: &'static str) -> Result<Decoded, RecordingError> {
    let form = |told: Fault| RecordingError::Form { format, told: told.to_string() };
    let missing = |what: &str| RecordingError::Form { format, told: format!("it does not say {what}") };
    let stream = MediaSourceStream::new(Box::new(Cursor::new(bytes.to_vec())), Default::default());
    // Its reader multiplies what the head says before it looks at it.
    if let Some((channels, bits)) = aiff_head(bytes).map(|head| (usize::from(head.channels), head.bits)) {
        if channels > MOST_AIFF_CHANNELS {
            return Err(RecordingError::Channels(channels));
        }
        if let Some(found) = aiff_found(bytes, channels, bits) {
            return Err(found);
        }
        if !(1..=64).contains(&bits) {
            return Err(RecordingError::Form { format, told: format!("it says that a sample has {bits} bits") });
        }
    }
    let mut hint = Hint::new();
    hint.with_extension(if format == "FLAC" { "flac" } else { "aiff" });
    let (container, metadata) = (FormatOptions::default(), MetadataOptions::default());
    let mut reader = symphonia::default::get_probe().probe(&hint, stream, container, metadata).map_err(form)?;
    let track = reader.default_track(TrackType::Audio).ok_or_else(|| missing("what sounds in it"))?;
    // The reader of AIFF goes by the length of the sound; the head says how many there are, too.
    let promised = aiff_head(bytes).map(|head| head.frames).or(track.num_frames);
    let params = track.codec_params.as_ref().and_then(|params| params.audio()).cloned();
    let params = params.ok_or_else(|| missing("how it sounds"))?;
    let rate = params.sample_rate.ok_or_else(|| missing("its sample rate"))?;
    let channels = params.channels.as_ref().ok_or_else(|| missing("its channels"))?.count();
    // A sample of FLAC may take less than a bit; one of AIFF takes a byte, and who promises more lies.
    fits(rate, channels, promised.filter(|frames| format == "FLAC" || *frames <= bytes.len() as u64))?;
    let options = AudioDecoderOptions::default().verify(true);
    let mut decoder = symphonia::default::get_codecs().make_audio_decoder(&params, &options).map_err(form)?;
    let (mut samples, mut some) = (Vec::new(), Vec::new());
    let most = most_frames(rate).saturating_mul(channels as u64) as usize;
    while let Ok(Some(packet)) = reader.next_packet() {
        let Ok(decoded) = decoder.decode(&packet) else { break };
        if decoded.spec().channels().count() != channels || decoded.spec().rate() != rate {
            return Err(RecordingError::Damaged);
        }
        decoded.copy_to_vec_interleaved::<f64>(&mut some);
        samples.extend_from_slice(&some);
        if samples.len() > most {
            return Err(RecordingError::TooLong(samples.len() as f64 / channels as f64 / f64::from(rate)));
        }
    }
    let decoded = whole(Decoded { format, rate, channels, samples }, promised)?;
    match decoder.finalize().verify_ok {
        Some(false) => Err(RecordingError::Damaged),
        _ => Ok(decoded),
    }
}

/// More channels than any desk has: a head that says so lies.
const MOST_AIFF_CHANNELS: usize = 256;

/// What the head of an AIFF file says.
struct AiffHead {
    channels: u16,
    frames: u64,
    bits: u16,
}

/// A file that ends before all of its plain samples are there, as it is told.
fn aiff_found(bytes: &[u8], channels: usize, bits: u16) -> Option<RecordingError> {
    // Others are packed, and may be shorter.
    bytes.get(8..12).filter(|form| *form == b"AIFF")?;
    let promised = aiff_head(bytes)?.frames;
    let sound = aiff_chunk(bytes, b"SSND")?;
    // Eight bytes of a place and a block stand before the samples.
    let there = sound.len().saturating_sub(8) as u64;
    let frame = u64::try_from(channels).ok()?.checked_mul(u64::from(bits.div_ceil(8)))?;
    let found = there.checked_div(frame)?;
    (found < promised).then_some(RecordingError::Short { promised, found })
}

/// What is there of a chunk of an AIFF file, from behind its length.
fn aiff_chunk<'b>(bytes: &'b [u8], wanted: &[u8; 4]) -> Option<&'b [u8]> {
    let mut rest = bytes.strip_prefix(b"FORM")?.get(8..)?;
    loop {
        let (id, length) = (rest.get(..4)?, rest.get(4..8)?);
        let length = u32::from_be_bytes(length.try_into().ok()?) as usize;
        let own = rest.get(8..)?;
        if id == wanted {
            return Some(own.get(..length).unwrap_or(own));
        }
        // A chunk of odd length has a byte more.
        rest = own.get(length.checked_add(length % 2)?..)?;
    }
}

/// The head of an AIFF file; `None` where it is none, or is cut short.
fn aiff_head(bytes: &[u8]) -> Option<AiffHead> {
    let own = aiff_chunk(bytes, b"COMM")?;
    let two = |at: usize| Some(u16::from_be_bytes(own.get(at..at + 2)?.try_into().ok()?));
    let frames = u64::from(u32::from_be_bytes(own.get(2..6)?.try_into().ok()?));
    Some(AiffHead { channels: two(0)?, frames, bits: two(6)? })
}

/// What was decoded, if it is all that was promised and can be counted with.
fn whole(mut decoded: Decoded, promised: Option<u64>) -> Result<Decoded, RecordingError> {
    let found = (decoded.samples.len() / decoded.channels) as u64;
    // A file without an end may promise nothing.
    if let Some(promised) = promised.filter(|promised| *promised != found) {
        return Err(RecordingError::Short { promised, found });
    }
    decoded.samples.truncate(found as usize * decoded.channels);
    match decoded.samples.iter().position(|x| !x.is_finite()) {
        Some(at) => Err(RecordingError::NoNumber((at / decoded.channels) as u64 + 1)),
        None if found == 0 => Err(RecordingError::Silent("it holds no samples".to_owned())),
        None => Ok(decoded),
    }
}

impl Decoded {
    /// Its samples as one channel: of two, half the sum.
    pub(super) fn mixed(&self) -> Vec<f64> {
        if self.channels == 1 {
            return self.samples.clone();
        }
        let frames: &[[f64; 2]] = dasp::slice::to_frame_slice(&self.samples[..]).unwrap_or_default();
        frames.iter().map(|[left, right]| left.mul_amp(0.5) + right.mul_amp(0.5)).collect()
    }
}

#[cfg(test)]
mod tests;
