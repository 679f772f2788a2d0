use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use sha2::{Digest, Sha256};

/// The random stream of a purpose: ChaCha with 8 rounds, keyed by the SHA-256 of `parts` one after the other.
///
/// Equal parts give equal bits on any machine; any difference gives unrelated ones. Parts are joined as they are: who has
/// two of changing length puts a separator between them.
#[must_use]
pub fn stream(parts: &[&[u8]]) -> ChaCha8Rng {
    let mut hash = Sha256::new();
    parts.iter().for_each(|part| hash.update(part));
    ChaCha8Rng::from_seed(hash.finalize().into())
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
    fn draws_fill_the_unit_interval_alike() {
        let mut bits = stream(&[b"test"]);
        let draws: Vec<f64> = (0..100_000).map(|_| uniform(&mut bits)).collect();
        assert!(draws.iter().all(|u| (0.0..1.0).contains(u)));
        let mean = draws.iter().sum::<f64>() / 1e5;
        // Closed form: mean ½, SD 1/√12; five standard errors of a hundred thousand draws.
        assert!((mean - 0.5).abs() < 5.0 * 0.288_675 / 1e5_f64.sqrt(), "{mean}");
    }
}
