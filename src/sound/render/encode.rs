use super::dither::Dither;
use super::wav::{Channels, Format, Spec};

/// Frames that go through the small buffers at a time.
const STRETCH: usize = 256;

/// Turns mixed frames into the bytes of a file.
#[derive(Debug)]
pub(super) struct Encoder {
    spec: Spec,
    gain: f32,
    dither: Dither,
    pub(super) bytes: Vec<u8>,
}

impl Encoder {
    pub(super) fn new(spec: Spec, gain: f32) -> Self {
        Self { spec, gain, dither: Dither::new(spec.seed), bytes: Vec::new() }
    }

    /// Fills [`Self::bytes`] with the frames from `first` on. Whole numbers are rounded to the nearest, halves away
    /// from zero, and held within their range.
    pub(super) fn encode(&mut self, first: u64, left: &[f32], right: &[f32]) {
        self.bytes.resize(left.len() * self.spec.frame_bytes() as usize, 0);
        let stretch_bytes = STRETCH * self.spec.frame_bytes() as usize;
        let channels = usize::from(self.spec.channels.count());
        let mut frames = [0.0; 2 * STRETCH];
        let stretches = left.chunks(STRETCH).zip(right.chunks(STRETCH));
        for (n, ((left, right), bytes)) in stretches.zip(self.bytes.chunks_mut(stretch_bytes)).enumerate() {
            let frames = &mut frames[..left.len() * channels];
            match self.spec.channels {
                Channels::Mono => frames.copy_from_slice(left),
                Channels::Stereo => interleave(frames, left, right),
            }
            let index = (first + (n * STRETCH) as u64) * channels as u64;
            match self.spec.format {
                Format::Float32 => floats(frames, self.gain, bytes),
                Format::Pcm24 => whole24(frames, self.gain * 8_388_608.0, bytes),
                Format::Pcm16 => {
                    let noise = self.dither.steps(index, frames.len());
                    whole16(frames, self.gain * 32_768.0, noise, bytes);
                }
            }
        }
    }
}

fn interleave(frames: &mut [f32], left: &[f32], right: &[f32]) {
    for ((frame, left), right) in frames.chunks_exact_mut(2).zip(left).zip(right) {
        frame[0] = *left;
        frame[1] = *right;
    }
}

fn floats(samples: &[f32], gain: f32, bytes: &mut [u8]) {
    for (v, bytes) in samples.iter().zip(bytes.chunks_exact_mut(4)) {
        bytes.copy_from_slice(&(v * gain).to_le_bytes());
    }
}

/// To the nearest whole number from −`full` to `full − 1`, halves away from zero.
fn nearest(v: f32, full: f32) -> i32 {
    let v = v.clamp(-full, full - 1.0);
    (v + 0.5_f32.copysign(v)) as i32
}

fn whole16(samples: &[f32], scale: f32, noise: impl Iterator<Item = f32>, bytes: &mut [u8]) {
    for ((v, noise), bytes) in samples.iter().zip(noise).zip(bytes.chunks_exact_mut(2)) {
        bytes.copy_from_slice(&(nearest(v * scale + noise, 32_768.0) as i16).to_le_bytes());
    }
}

fn whole24(samples: &[f32], scale: f32, bytes: &mut [u8]) {
    let mut whole = [0_i32; 2 * STRETCH];
    let whole = &mut whole[..samples.len()];
    for (whole, v) in whole.iter_mut().zip(samples) {
        *whole = nearest(v * scale, 8_388_608.0);
    }
    // Four samples make three words.
    let words = whole.chunks_exact(4).zip(bytes.chunks_exact_mut(12));
    for (v, bytes) in words {
        let [a, b, c, d] = [v[0] as u32 & 0xFF_FFFF, v[1] as u32 & 0xFF_FFFF, v[2] as u32 & 0xFF_FFFF, v[3] as u32];
        bytes[0..4].copy_from_slice(&(a | b << 24).to_le_bytes());
        bytes[4..8].copy_from_slice(&(b >> 8 | c << 16).to_le_bytes());
        bytes[8..12].copy_from_slice(&(c >> 16 | d << 8).to_le_bytes());
    }
    let done = whole.len() / 4 * 4;
    for (v, bytes) in whole[done..].iter().zip(bytes[done * 3..].chunks_exact_mut(3)) {
        bytes.copy_from_slice(&v.to_le_bytes()[..3]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn encoded(format: Format, gain: f32, samples: &[f32]) -> Vec<u8> {
        let mut encoder = Encoder::new(Spec { format, channels: Channels::Mono, seed: 1 }, gain);
        encoder.encode(0, samples, samples);
        encoder.bytes
    }

    #[test]
    fn whole_numbers_of_24_bits_are_the_nearest() {
        let step = 1.0 / 8_388_608.0;
        let cases = [
            (0.0, 0),
            (step, 1),
            (-step, -1),
            (0.49 * step, 0),
            (0.5 * step, 1),
            (-0.5 * step, -1),
            (1_234_567.4 * step, 1_234_567),
            (0.999_999_9, 8_388_607),
            (1.0, 8_388_607),
            (7.0, 8_388_607),
            (-1.0, -8_388_608),
            (-7.0, -8_388_608),
            (0.5, 4_194_304),
        ];
        // Any length: the packing takes four at a time and the rest one by one.
        for len in [1, 3, 4, 5, cases.len()] {
            let bytes = encoded(Format::Pcm24, 1.0, &cases.map(|(v, _)| v)[..len]);
            let read = |b: &[u8]| i32::from_le_bytes([0, b[0], b[1], b[2]]) >> 8;
            let whole: Vec<i32> = bytes.chunks_exact(3).map(read).collect();
            assert_eq!(whole, cases.map(|(_, whole)| whole)[..len]);
        }
    }

    #[test]
    fn channels_alternate() {
        let left: Vec<f32> = (0..1_000_i16).map(f32::from).collect();
        let right: Vec<f32> = left.iter().map(|v| -v).collect();
        let mut encoder = Encoder::new(Spec { format: Format::Float32, channels: Channels::Stereo, seed: 1 }, 0.5);
        encoder.encode(0, &left, &right);
        for (n, bytes) in encoder.bytes.chunks_exact(4).enumerate() {
            let v = f32::from_le_bytes([bytes[0], bytes[1], bytes[2], bytes[3]]);
            let whole = (n / 2) as f32 * 0.5;
            assert_eq!(v, if n % 2 == 0 { whole } else { -whole }, "{n}");
        }
    }

    #[test]
    fn dither_keeps_what_is_smaller_than_a_step() {
        // A tone of −120 dB is 0.033 of a step: rounded it would be nothing at all. With dither the steps follow it on
        // average: its amplitude comes back by correlation, to within five standard errors (√(1/4 · 2/n) steps).
        let n = 1 << 20;
        let tone = |i: usize| (std::f64::consts::TAU * 0.01 * i as f64).sin();
        let samples: Vec<f32> = (0..n).map(|i| (1e-6 * tone(i)) as f32).collect();
        let bytes = encoded(Format::Pcm16, 1.0, &samples);
        let steps: Vec<f64> = bytes.chunks_exact(2).map(|b| f64::from(i16::from_le_bytes([b[0], b[1]]))).collect();
        let found = 2.0 / n as f64 * steps.iter().enumerate().map(|(i, v)| v * tone(i)).sum::<f64>();
        assert!((found - 0.032_768).abs() < 0.0035, "{found}");
        // The error of triangular dither has a power of a quarter of a step squared, signal or not (closed form).
        let power = steps.iter().enumerate().map(|(i, v)| (v - 0.032_768 * tone(i)).powi(2)).sum::<f64>() / n as f64;
        assert!((power - 0.25).abs() < 0.002, "{power}");
        assert!(steps.iter().all(|v| v.abs() <= 1.0));
    }
}
