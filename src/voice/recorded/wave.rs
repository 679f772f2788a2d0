//! One channel out of what was decoded, and what is wrong with it.

use super::decode::Decoded;
use super::{Flaw, RecordingError};
use crate::dsp::{amplitude, decibels};
use dasp::peak::full_wave;
use dasp::ring_buffer::Fixed;

/// A file whose largest sample is no higher is silent, in decibels of full scale: a handful of steps of 16 bits.
const SILENT_DB: f64 = -80.0;
/// What stands off zero by less, against the largest sample, is left: −60 dB, as much as a drawn voice may have.
const OFFSET: f64 = 0.001;
/// From here on a flat top is the end of the scale; lower it may be the sound's own.
const FULL: f64 = 0.98;
/// So many equal samples one after the other make a flat top.
const FLAT: usize = 3;
/// From here on it is told that channels cancel, in decibels: unlike channels lose 3.
const CANCELS_DB: f64 = 6.0;

/// A sound of one channel.
#[derive(Debug)]
pub(super) struct Wave {
    /// Samples a second.
    pub(super) rate: u32,
    /// Full scale 1, about zero.
    pub(super) samples: Vec<f64>,
    /// The largest of them, without sign.
    pub(super) peak: f64,
    /// What is to be told.
    pub(super) flaws: Vec<Flaw>,
}

impl Wave {
    /// Mixes, brings to zero and looks for flaws.
    pub(super) fn new(decoded: &Decoded) -> Result<Self, RecordingError> {
        let mut samples = decoded.mixed();
        let mut flaws = Vec::new();
        let clipped: usize = (0..decoded.channels).map(|n| clipped(decoded, n)).sum();
        if clipped > 0 {
            flaws.push(Flaw::Clipped(clipped));
        }
        let middle = offset(&samples);
        let about: Vec<f64> = samples.iter().map(|x| x - middle).collect();
        let mut peak = largest(&about);
        if decibels(peak) <= SILENT_DB {
            let apart = decoded.samples.chunks_exact(2).any(|frame| (frame[0] - frame[1]).abs() > amplitude(SILENT_DB));
            if decoded.channels == 2 && apart {
                return Err(RecordingError::Cancels);
            }
            return Err(RecordingError::Silent(format!(
                "its largest sample is {} of full scale",
                if peak > 0.0 { format!("{:.0} dB", decibels(peak)) } else { "nothing".to_owned() }
            )));
        }
        if middle.abs() > OFFSET * peak {
            flaws.push(Flaw::Offset(middle.abs() / peak));
            samples = about;
        } else {
            peak = largest(&samples);
        }
        let lost = lost_db(decoded);
        if lost > CANCELS_DB {
            flaws.push(Flaw::Cancels(lost));
        }
        Ok(Self { rate: decoded.rate, samples, peak, flaws })
    }

    /// How long it is, in seconds.
    pub(super) fn seconds(&self) -> f64 {
        self.samples.len() as f64 / f64::from(self.rate)
    }
}

fn largest(samples: &[f64]) -> f64 {
    samples.iter().map(|x| full_wave(*x)).fold(0.0, f64::max)
}

/// Where a sound stands that should stand at zero: its mean or its median, whichever is nearer to zero, where both lie on one
/// side. The mean of a drum is moved by its attack, and the median of a square wave is one of its ends.
fn offset(samples: &[f64]) -> f64 {
    let mean = samples.iter().sum::<f64>() / samples.len() as f64;
    let median = median(samples);
    if mean * median <= 0.0 { 0.0 } else { mean.abs().min(median.abs()).copysign(median) }
}

/// The middle of all samples in order of size.
fn median(samples: &[f64]) -> f64 {
    let mut sorted = samples.to_vec();
    let middle = sorted.len() / 2;
    *sorted.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// How many samples of a channel stand at the end of the scale, in flat tops.
fn clipped(decoded: &Decoded, channel: usize) -> usize {
    let samples = || decoded.samples.iter().skip(channel).step_by(decoded.channels).copied();
    let most = samples().map(full_wave).fold(0.0, f64::max);
    if most < FULL {
        return 0;
    }
    // The negative end of a scale of whole numbers lies a step lower than the positive one.
    let end = most - 2e-4;
    let mut last = Fixed::from([0.0; FLAT]);
    let mut count = 0;
    let mut flat = 0;
    for x in samples() {
        last.push(x);
        let all = last.iter().all(|near| full_wave(*near) >= end && near.is_sign_negative() == x.is_sign_negative());
        count += match (all, flat) {
            (true, 0) => FLAT,
            (true, _) => 1,
            (false, _) => 0,
        };
        flat = if all { flat + 1 } else { 0 };
    }
    count
}

/// By how much two channels lose when they are mixed, against the mean of their energies, in decibels.
fn lost_db(decoded: &Decoded) -> f64 {
    if decoded.channels == 1 {
        return 0.0;
    }
    let (mut mixed, mut each) = (0.0, 0.0);
    for frame in decoded.samples.chunks_exact(2) {
        mixed += (frame[0] + frame[1]) * (frame[0] + frame[1]) / 4.0;
        each += (frame[0] * frame[0] + frame[1] * frame[1]) / 2.0;
    }
    10.0 * libm::log10(each / mixed)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(channels: usize, samples: Vec<f64>) -> Result<Wave, RecordingError> {
        Wave::new(&Decoded { format: "WAV", rate: 48_000, channels, samples })
    }

    /// A tone of 100 Hz that dies away.
    fn tone(n: usize) -> f64 {
        let t = n as f64 / 48_000.0;
        0.5 * (-t / 0.05).exp() * (std::f64::consts::TAU * 100.0 * t).sin()
    }

    #[test]
    fn what_stands_off_zero_is_brought_back_and_told() {
        let plain: Vec<f64> = (0..48_000).map(tone).collect();
        let wave = of(1, plain.iter().map(|x| x + 0.1).collect()).expect("a sound");
        // The median of a tone that dies away is near 0: within a hundredth of what was added.
        let off = wave.samples.iter().zip(&plain).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        assert!(off < 1e-3, "{off}");
        assert!(
            matches!(wave.flaws[..], [Flaw::Offset(part)] if (part - 0.1 / wave.peak).abs() < 0.01),
            "{:?}",
            wave.flaws
        );
        // What is about zero keeps its very samples.
        let own = of(1, plain.clone()).expect("a sound");
        assert_eq!((own.samples, own.flaws), (plain, Vec::new()));
        // A steady voltage is no sound.
        assert!(matches!(of(1, vec![0.3; 4_800]), Err(RecordingError::Silent(_))));
    }

    #[test]
    fn flat_tops_at_the_end_of_the_scale_are_counted_and_a_square_wave_below_it_is_not() {
        let loud = |gain: f64| (0..4_800).map(move |n| (gain * tone(n)).clamp(-1.0, 1.0)).collect::<Vec<_>>();
        let wave = of(1, loud(4.0)).expect("a sound");
        let by_hand = loud(4.0).iter().filter(|x| x.abs() == 1.0).count();
        assert!(
            matches!(wave.flaws[..], [Flaw::Clipped(count)] if count.abs_diff(by_hand) <= 8),
            "{:?} {by_hand}",
            wave.flaws
        );
        assert_eq!(of(1, loud(1.9)).expect("a sound").flaws, []);
        let square = (0..4_800).map(|n| if n / 240 % 2 == 0 { 0.7 } else { -0.7 }).collect();
        assert_eq!(of(1, square).expect("a sound").flaws, []);
    }

    #[test]
    fn channels_that_cancel_are_told_and_opposite_ones_refused() {
        let both = |other: fn(f64) -> f64| (0..4_800).flat_map(|n| [tone(n), other(tone(n))]).collect::<Vec<_>>();
        assert_eq!(of(2, both(|x| x)).expect("a sound").flaws, []);
        // Closed form: 1 and −1/2 leave 1/4, a sixteenth, of a mean energy of 5/8: 10 dB.
        let found = of(2, both(|x| -0.5 * x)).expect("a sound").flaws;
        assert!(matches!(found[..], [Flaw::Cancels(db)] if (db - 10.0).abs() < 1e-9), "{found:?}");
        assert_eq!(of(2, both(|x| -x)).expect_err("nothing is left"), RecordingError::Cancels);
        // One channel alone is half as large, and as it is.
        let one = of(2, both(|_| 0.0)).expect("a sound");
        assert_eq!((one.samples[30], one.flaws), (tone(30) / 2.0, vec![]));
    }
}
