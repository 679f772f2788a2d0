//! Sound files, read by `hound` and measured by `ebur128`.

use ebur128::{EbuR128, Mode};
use std::io::Cursor;

/// A file's samples, full scale 1, a list a channel.
pub(crate) struct Wav {
    pub(crate) rate: u32,
    pub(crate) channels: Vec<Vec<f64>>,
}

impl Wav {
    pub(crate) fn read(bytes: &[u8]) -> Self {
        let mut reader = hound::WavReader::new(Cursor::new(bytes)).expect("a WAV file");
        let spec = reader.spec();
        let all: Vec<f64> = match spec.sample_format {
            hound::SampleFormat::Float => reader.samples::<f32>().map(|s| f64::from(s.expect("a sample"))).collect(),
            hound::SampleFormat::Int => {
                let full = f64::from(1_u32 << (spec.bits_per_sample - 1));
                reader.samples::<i32>().map(|s| f64::from(s.expect("a sample")) / full).collect()
            }
        };
        let count = usize::from(spec.channels);
        let channels = (0..count).map(|c| all.iter().skip(c).step_by(count).copied().collect()).collect();
        Self { rate: spec.sample_rate, channels }
    }

    /// The only channel, or the first.
    pub(crate) fn left(&self) -> &[f64] {
        &self.channels[0]
    }

    pub(crate) fn frame(&self, seconds: f64) -> usize {
        (seconds * f64::from(self.rate)).round() as usize
    }

    /// The stretch between two times, in seconds from the file's begin.
    pub(crate) fn between(&self, from: f64, to: f64) -> &[f64] {
        &self.left()[self.frame(from)..self.frame(to).min(self.left().len())]
    }

    /// The highest true peak of any channel, in dBTP.
    pub(crate) fn true_peak(&self) -> f64 {
        let count = self.channels.len() as u32;
        let mut meter = EbuR128::new(count, self.rate, Mode::TRUE_PEAK).expect("a usual rate");
        // The meter's filter is late: silence lets it finish.
        let padded: Vec<Vec<f64>> = self.channels.iter().map(|c| [c.as_slice(), &[0.0; 100]].concat()).collect();
        let planes: Vec<&[f64]> = padded.iter().map(Vec::as_slice).collect();
        meter.add_frames_planar_f64(&planes).expect("whole frames");
        20.0 * (0..count).map(|c| meter.true_peak(c).expect("a channel")).fold(0.0, f64::max).log10()
    }
}

/// Gated loudness in LUFS of one channel (BS.1770), heard alone.
pub(crate) fn loudness(samples: &[f64], rate: u32) -> f64 {
    let mut meter = EbuR128::new(1, rate, Mode::I).expect("a usual rate");
    meter.add_frames_f64(samples).expect("whole frames");
    meter.loudness_global().expect("a loudness")
}

/// The times of short ticks in seconds from the file's begin: where each is largest. Two that are less than 0.6 ms
/// apart are one.
pub(crate) fn ticks(wav: &Wav) -> Vec<f64> {
    let samples = wav.left();
    let largest = samples.iter().fold(0.0_f64, |m, s| m.max(s.abs()));
    let rest = wav.frame(0.0006);
    let mut peaks: Vec<(usize, usize)> = Vec::new();
    for (i, _) in samples.iter().enumerate().filter(|(_, s)| s.abs() > 0.1 * largest) {
        match peaks.last_mut() {
            Some((peak, last)) if i - *last < rest => {
                *last = i;
                if samples[i].abs() > samples[*peak].abs() {
                    *peak = i;
                }
            }
            _ => peaks.push((i, i)),
        }
    }
    peaks.iter().map(|(peak, _)| *peak as f64 / f64::from(wav.rate)).collect()
}
