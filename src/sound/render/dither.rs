use crate::dsp::numbered_stream;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::Rng;

/// The stream that dither draws from; each purpose of random numbers has a number of its own.
const STREAM: u64 = u64::from_le_bytes(*b"dither16");

/// Triangular noise of ±1 step, given by a sample's index: the same whatever was asked for before.
#[derive(Clone, Debug)]
pub(super) struct Dither {
    random: ChaCha8Rng,
    bytes: Vec<u8>,
}

impl Dither {
    pub(super) fn new(seed: u64) -> Self {
        Self { random: numbered_stream(seed, STREAM), bytes: Vec::new() }
    }

    /// The noise of the samples from `first` on, counted through all channels, in steps.
    pub(super) fn steps(&mut self, first: u64, count: usize) -> impl Iterator<Item = f32> + '_ {
        // One word of the stream a sample: its halves are two even draws, and their difference is triangular.
        self.random.set_word_pos(u128::from(first));
        self.bytes.resize(count * 4, 0);
        self.random.fill_bytes(&mut self.bytes);
        self.bytes.chunks_exact(4).map(|word| {
            let (a, b) = (u16::from_le_bytes([word[0], word[1]]), u16::from_le_bytes([word[2], word[3]]));
            (i32::from(a) - i32::from(b)) as f32 / 65_536.0
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn noise_is_triangular_and_white() {
        let noise: Vec<f64> = Dither::new(1).steps(0, 1 << 20).map(f64::from).collect();
        let n = noise.len() as f64;
        let mean = noise.iter().sum::<f64>() / n;
        let power = noise.iter().map(|v| v * v).sum::<f64>() / n;
        let next = noise.windows(2).map(|w| w[0] * w[1]).sum::<f64>() / n;
        // Closed forms: mean 0, variance 2 · 1/12, half of all within 1 − √½, none past 1. Five standard errors of a
        // million draws: 0.002, 0.001, 0.0025 of a share.
        assert!(mean.abs() < 0.002, "{mean}");
        assert!((power - 1.0 / 6.0).abs() < 0.001, "{power}");
        assert!(next.abs() < 0.001, "{next}");
        let within = noise.iter().filter(|v| v.abs() < 1.0 - 0.5_f64.sqrt()).count() as f64 / n;
        assert!((within - 0.5).abs() < 0.0025, "{within}");
        assert!(noise.iter().all(|v| v.abs() < 1.0));
    }

    #[test]
    fn noise_is_given_by_the_index() {
        let all: Vec<f32> = Dither::new(7).steps(0, 1_000).collect();
        let mut again = Dither::new(7);
        for (first, count) in [(990, 10), (0, 1), (123, 500), (17, 64), (1, 15)] {
            let some: Vec<f32> = again.steps(first as u64, count).collect();
            assert_eq!(some, all[first..first + count], "from {first}");
        }
        assert_ne!(Dither::new(8).steps(0, 1_000).collect::<Vec<_>>(), all);
    }

    #[test]
    fn the_stream_stays_what_it_was() {
        // The first words of ChaCha8 with this key and stream, worked out apart from the cipher's published rounds. A
        // change here changes every 16-bit file.
        let first: Vec<f32> = Dither::new(1).steps(0, 3).map(|v| v * 65_536.0).collect();
        assert_eq!(first, [37_427.0, 54_255.0, -1_892.0]);
    }
}
