use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

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
        let mut key = [0; 32];
        key[..8].copy_from_slice(&seed.to_le_bytes());
        let mut random = ChaCha8Rng::from_seed(key);
        random.set_stream(STREAM);
        Self { random, bytes: Vec::new() }
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
