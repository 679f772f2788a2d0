//! Sets of changes.

/// A set of changes: indices into the offers of the catalogue, in order.
pub(super) type Set = Vec<u16>;

/// The largest budget: a set of so many is kept in a word.
pub const MOST_CHANGES: usize = 4;

/// A set as a word; no two have the same.
pub(super) fn packed(set: impl IntoIterator<Item = u16>) -> u64 {
    set.into_iter().fold(0, |word, n| word << 16 | (u64::from(n) + 1))
}

/// The set that a word stands for.
pub(super) fn unpacked(word: u64) -> impl Iterator<Item = u16> + Clone {
    let places = (0..MOST_CHANGES).rev().map(move |n| word >> (16 * n) & 0xffff);
    places.filter(|n| *n > 0).filter_map(|n| u16::try_from(n - 1).ok())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_set_comes_back_out_of_its_word() {
        for set in [vec![], vec![0], vec![0, 1], vec![7, 300, 19_999], vec![0, 1, 2, 3]] {
            assert_eq!(unpacked(packed(set.iter().copied())).collect::<Set>(), set);
        }
    }
}
