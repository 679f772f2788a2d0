//! A file as it is played.

use super::decode::decode;
use super::reader::Reader;
use super::wave::Wave;
use super::{Cut, Flaw, LONGEST, Onset, RecordingError};
use crate::dsp::{MASTER_RATE, decibels};
use crate::time::{PS_PER_SECOND, Span};
use crate::voice::envelope::fade;
use dasp::peak::full_wave;

/// What is kept of a file before its onset, in seconds: whatever comes earlier is no part of the hit.
const BEFORE: f64 = 0.01;
/// Over how much of that it is faded in, where something was cut off, in samples of a master: 5 ms.
const FADE_IN: usize = 480;
/// What is lower at either end is left out, against the largest sample: −110 dB.
const FLOOR: f64 = 3e-6;
/// The last stretch of a master, which a drum fades out, in samples: 5 ms.
const FADE_OUT: usize = 480;
/// An onset that is less sure is told of, in seconds: twice the smallest gap that may be too much.
const BLURRED: f64 = 0.001;

/// A file that can be played: its sound at [`MASTER_RATE`], its onset on a whole sample.
#[derive(Clone, Debug)]
pub struct Stroke {
    /// How many of the samples lie before the onset.
    pub(in crate::voice) pre: usize,
    /// The sound; its largest sample is 1, without sign.
    pub(in crate::voice) samples: Vec<f64>,
    /// Where the file begins to sound.
    pub onset: Onset,
    /// What of the file is known.
    pub file: FileFacts,
    /// What is to be told of it.
    pub flaws: Vec<Flaw>,
    /// The SHA-256 of the file's bytes, in hexadecimal digits.
    pub checksum: String,
    /// How it was cut.
    pub cut: Cut,
}

/// What is known of a file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FileFacts {
    /// WAV, AIFF or FLAC.
    pub format: &'static str,
    /// Samples a second.
    pub rate: u32,
    /// One or two.
    pub channels: usize,
    /// How long it is.
    pub seconds: f64,
    /// Its largest sample when it is mixed to one channel, in decibels of full scale.
    pub peak_db: f64,
}

/// Two files of one content, cut alike, sound alike.
impl PartialEq for Stroke {
    fn eq(&self, other: &Self) -> bool {
        (&self.checksum, self.cut) == (&other.checksum, other.cut)
    }
}

impl Stroke {
    /// Reads the bytes of a file, whose checksum is handed in.
    ///
    /// # Errors
    /// [`RecordingError`], if it is no drum.
    pub fn new(bytes: &[u8], checksum: String, cut: Cut) -> Result<Self, RecordingError> {
        let decoded = decode(bytes)?;
        let mut wave = Wave::new(&decoded)?;
        let reader = Reader::new(&wave.samples, wave.rate);
        let onset = match cut.onset {
            Some(given) => at(given, &wave)?,
            None => Onset::find(&wave, &reader),
        };
        if onset.within_s > BLURRED {
            wave.flaws.push(Flaw::Blurred(onset.within_s * 1e3));
        }
        let file = FileFacts {
            format: decoded.format,
            rate: wave.rate,
            channels: decoded.channels,
            seconds: wave.seconds(),
            peak_db: decibels(wave.peak),
        };
        let (pre, samples) = master(&wave, &reader, onset, cut.trim)?;
        Ok(Self { pre, samples, onset, file, flaws: wave.flaws, checksum, cut })
    }
}

/// An onset that is given.
fn at(given: Span, wave: &Wave) -> Result<Onset, RecordingError> {
    let at_s = given.0 as f64 / PS_PER_SECOND as f64;
    if at_s >= wave.seconds() {
        return Err(RecordingError::Onset { onset_ms: at_s * 1e3, lasts_ms: wave.seconds() * 1e3 });
    }
    Ok(Onset { at_s, within_s: 0.0, given: true })
}

/// The sound around its onset, and how many samples of it lie before.
fn master(wave: &Wave, reader: &Reader, onset: Onset, trim: Option<Span>) -> Result<(usize, Vec<f64>), RecordingError> {
    let (rate, own) = (f64::from(MASTER_RATE), f64::from(wave.rate));
    let ring = reader.reach() / own;
    let cut_in = onset.at_s > BEFORE;
    let before = BEFORE.min(onset.at_s + ring);
    let after = wave.seconds() + ring - onset.at_s;
    let kept = trim.map_or(after, |trim| after.min(trim.0 as f64 / PS_PER_SECOND as f64));
    let (mut pre, post) = ((before * rate) as usize, libm::ceil(kept * rate) as usize);
    let step = own / rate;
    let place = |n: usize| onset.at_s * own + (n as f64 - pre as f64) * step;
    let mut samples: Vec<f64> = (0..pre + post).map(|n| reader.at(place(n))).collect();
    if cut_in {
        for (n, x) in samples[..pre].iter_mut().take(FADE_IN).enumerate() {
            *x *= fade(1.0 - n as f64 / FADE_IN as f64);
        }
    }
    let peak = samples.iter().map(|x| full_wave(*x)).fold(0.0, f64::max);
    if peak <= FLOOR * wave.peak {
        return Err(RecordingError::Silent("nothing of it sounds around its onset".to_owned()));
    }
    samples.iter_mut().for_each(|x| *x /= peak);
    // What is nothing is left out at both ends, but for what is faded.
    let heard = |x: &f64| full_wave(*x) >= FLOOR;
    let last = samples.iter().rposition(heard).unwrap_or(0) + 1 + FADE_OUT;
    samples.truncate(last.max(pre + 1));
    let first = samples.iter().position(heard).unwrap_or(0).min(pre);
    samples.drain(..first);
    pre -= first;
    let sounds = (samples.len() - pre) as f64 / rate;
    if sounds > LONGEST.ms() / 1e3 + FADE_OUT as f64 / rate {
        return Err(RecordingError::Sounds(sounds));
    }
    Ok((pre, samples))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    const RATE: f64 = 48_000.0;

    /// A WAV file of floating point, one channel.
    fn file(seconds: f64, sound: impl Fn(f64) -> f64) -> Vec<u8> {
        let spec = hound::WavSpec {
            channels: 1,
            sample_rate: RATE as u32,
            bits_per_sample: 32,
            sample_format: hound::SampleFormat::Float,
        };
        let mut bytes = std::io::Cursor::new(Vec::new());
        let mut writer = hound::WavWriter::new(&mut bytes, spec).expect("a file in memory");
        for n in 0..(seconds * RATE) as u32 {
            writer.write_sample(sound(f64::from(n) / RATE) as f32).expect("a sample");
        }
        writer.finalize().expect("a file in memory");
        bytes.into_inner()
    }

    /// A tone of 200 Hz from a time on, that begins softly and dies away within a second.
    fn drum(from: f64, tau: f64) -> impl Fn(f64) -> f64 {
        move |t: f64| {
            let t = t - from;
            if t > 0.0 {
                0.4 * (1.0 - (-t / 2e-4).exp()).powi(3) * (-t / tau).exp() * (TAU * 200.0 * t).cos()
            } else {
                0.0
            }
        }
    }

    fn read(bytes: &[u8], cut: Cut) -> Result<Stroke, RecordingError> {
        Stroke::new(bytes, "0a".to_owned(), cut)
    }

    #[test]
    fn the_onset_is_a_whole_sample_and_the_sound_around_it_is_that_of_the_file() {
        for from in [0.0003, 0.02, 0.020_007_3] {
            let stroke = read(&file(1.0, drum(from, 0.05)), Cut::default()).expect("a drum");
            let meant = |n: usize| drum(from, 0.05)(stroke.onset.at_s + (n as f64 - stroke.pre as f64) / 96_000.0);
            let scale = (0..stroke.samples.len()).map(|n| meant(n).abs()).fold(0.0, f64::max);
            let off = |n: usize| (stroke.samples[n] - meant(n) / scale).abs();
            // All but its last 5 ms, of which a drum makes an end. The corner at the start has a little above 18 kHz, which is
            // gone: up to 5.5e-5, by the same sums in numpy.
            let worst = (0..stroke.samples.len() - FADE_OUT).map(off).fold(0.0, f64::max);
            assert!(worst < 1e-4, "{from}: {worst:e}");
            // A tenth of the largest within 8 ms, at the onset itself; that and the largest of all are one here.
            assert!((stroke.samples[stroke.pre].abs() - 0.1).abs() < 1e-3, "{}", stroke.samples[stroke.pre]);
            assert_eq!(stroke.samples.iter().fold(0.0_f64, |m, x| m.max(x.abs())), 1.0);
        }
    }

    #[test]
    fn an_onset_that_is_given_is_kept_to_the_picosecond() {
        let bytes = file(0.5, drum(0.02, 0.05));
        let given = |ps: i64| read(&bytes, Cut { onset: Some(Span(ps)), trim: None }).expect("a drum");
        let (early, late) = (given(20_000_000_000), given(20_003_300_000));
        assert_eq!((early.onset.at_s, early.onset.within_s, early.onset.given), (0.02, 0.0, true));
        // 3.3 µs later in the file: the slope of the sound times that, at every sample (closed form of a small shift).
        let meant = |n: usize| {
            let at = |shift: f64| drum(0.02, 0.05)(0.02 + (n as f64 - late.pre as f64) / 96_000.0 + shift);
            (at(3.3e-6), at(0.0))
        };
        let n = late.pre + 500;
        let scale = early.samples[early.pre + 500] / meant(n).1;
        assert!((late.samples[n] - scale * meant(n).0).abs() < 2e-5, "{} {}", late.samples[n], scale * meant(n).0);
        let past = read(&bytes, Cut { onset: Some(Span::from_ms(500)), trim: None });
        assert_eq!(past.expect_err("past the end"), RecordingError::Onset { onset_ms: 500.0, lasts_ms: 500.0 });
    }

    #[test]
    fn what_lasts_too_long_is_refused_and_a_trim_cuts_it() {
        let long = file(8.0, drum(0.5, 4.0));
        assert!(matches!(read(&long, Cut::default()), Err(RecordingError::Sounds(s)) if (7.4..7.6).contains(&s)));
        let cut = |ms| read(&long, Cut { onset: None, trim: Some(Span::from_ms(ms)) }).expect("a drum");
        for ms in [1, 400, 3_000] {
            let stroke = cut(ms);
            assert_eq!(stroke.samples.len() - stroke.pre, 96 * ms as usize, "{ms}");
        }
        // Of half a second before the onset 10 ms are left, and none of what is silent.
        assert!(cut(400).pre <= 960);
        // What is nothing at the end is left out.
        let quiet = read(&file(20.0, drum(0.5, 0.02)), Cut::default()).expect("a drum");
        // 110 dB are 12.7 time constants.
        assert!((0.2..0.3).contains(&((quiet.samples.len() - quiet.pre) as f64 / 96_000.0)));
    }

    #[test]
    fn what_comes_before_is_cut_and_faded_in() {
        // Hum of a fiftieth all along: -34 dB, under the tenth that makes an onset.
        let hum = |t: f64| 0.008 * (TAU * 50.0 * t).cos() + drum(0.3, 0.05)(t);
        let stroke = read(&file(1.0, hum), Cut { onset: None, trim: Some(Span::from_ms(400)) }).expect("a drum");
        assert!((900..=960).contains(&stroke.pre), "{}", stroke.pre);
        assert!(stroke.samples[0].abs() < 1e-4 && stroke.samples[1..stroke.pre - 96].iter().any(|x| x.abs() > 0.01));
        // Its onset is the drum's, and is told to be as unsure as the hum makes it.
        assert!((stroke.onset.at_s - 0.3).abs() < 4e-4, "{:?}", stroke.onset);
    }

    #[test]
    fn a_slow_beginning_is_told() {
        let swell = |t: f64| (t / 0.2).min(1.0).powi(2) * (-t / 0.3).exp() * (TAU * 700.0 * t).sin();
        let stroke = read(&file(2.0, swell), Cut { onset: None, trim: Some(Span::from_ms(1_000)) }).expect("a drum");
        assert!(matches!(stroke.flaws[..], [Flaw::Blurred(ms)] if ms > 1.0), "{:?} {:?}", stroke.flaws, stroke.onset);
    }
}
