use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use sha2::{Digest, Sha256};

/// The key of a random stream: the SHA-256 of the words of its purpose, one after the other.
///
/// Equal words give equal bits on any machine; any difference gives unrelated ones. Words are joined as they are: who has
/// two of changing length puts a separator between them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct StreamKey([u8; 32]);

impl StreamKey {
    /// The key of a purpose.
    #[must_use]
    pub fn of(purpose: &[&[u8]]) -> Self {
        let mut hash = Sha256::new();
        purpose.iter().for_each(|part| hash.update(part));
        Self(hash.finalize().into())
    }

    /// The key as ChaCha takes it, 32 bytes.
    #[must_use]
    pub const fn bytes(&self) -> &[u8; 32] {
        &self.0
    }

    /// The stream from its start: ChaCha with 8 rounds.
    #[must_use]
    pub fn stream(&self) -> ChaCha8Rng {
        ChaCha8Rng::from_seed(self.0)
    }
}

/// The random stream of a purpose: see [`StreamKey`].
#[must_use]
pub fn stream(purpose: &[&[u8]]) -> ChaCha8Rng {
    StreamKey::of(purpose).stream()
}

/// One of the 2⁶⁴ streams that a seed has, told by its number: the key is the seed itself, least byte first, then noughts.
///
/// For what is drawn by position and is written into files: dither.
#[must_use]
pub fn numbered_stream(seed: u64, number: u64) -> ChaCha8Rng {
    let mut key = [0; 32];
    key[..8].copy_from_slice(&seed.to_le_bytes());
    let mut bits = ChaCha8Rng::from_seed(key);
    bits.set_stream(number);
    bits
}

/// The random stream of a seed alone, for what one number in a file must give again: a session's intervals, a class pack.
#[must_use]
pub fn seeded_stream(seed: u64) -> ChaCha8Rng {
    ChaCha8Rng::seed_from_u64(seed)
}

/// A draw from 0 up to, and not, 1, every multiple of 2⁻⁵³ alike.
///
/// Written out and not taken from a library, since bytes of files hang on it: libraries may change how they draw.
pub fn uniform(bits: &mut ChaCha8Rng) -> f64 {
    // The upper 53 bits of 64: all that a double holds.
    (bits.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_are_the_key_whatever_their_borders() {
        let bits = |parts: &[&[u8]]| stream(parts).next_u64();
        assert_eq!(bits(&[b"ab", b"c"]), bits(&[b"abc"]));
        assert_ne!(bits(&[b"abc"]), bits(&[b"abd"]));
    }

    #[test]
    fn a_seed_has_streams_that_differ_by_their_number_and_are_the_same_again() {
        let first = |seed, number| numbered_stream(seed, number).next_u64();
        assert_eq!(first(1, 2), first(1, 2));
        assert!(first(1, 2) != first(1, 3) && first(1, 2) != first(2, 2));
        assert_eq!(seeded_stream(7).next_u64(), seeded_stream(7).next_u64());
        assert_ne!(seeded_stream(7).next_u64(), seeded_stream(8).next_u64());
    }

    #[test]
    fn a_stream_without_a_number_is_the_ciphers_published_one() {
        // The key stream of ChaCha with 8 rounds for a key and a nonce of noughts begins 3e 00 ef 2f 89 5f 40 d6
        // (draft-strombergson-chacha-test-vectors-01, test vector 1, 256 bits of key).
        assert_eq!(numbered_stream(0, 0).next_u64().to_le_bytes(), [0x3e, 0x00, 0xef, 0x2f, 0x89, 0x5f, 0x40, 0xd6]);
    }

    #[test]
    fn draws_fill_the_unit_interval_alike() {
        let mut bits = stream(&[b"test"]);
        let draws: Vec<f64> = (0..100_000).map(|_| uniform(&mut bits)).collect();
        assert!(draws.iter().all(|u| (0.0..1.0).contains(u)));
        let mean = draws.iter().sum::<f64>() / 1e5;
        // Closed form: mean ½, SD 1/√12; five standard errors of a hundred thousand draws.
        assert!((mean - 0.5).abs() < 5.0 * 0.288_675 / 1e5_f64.sqrt(), "{mean}");
    }
}
