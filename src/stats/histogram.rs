use super::nearest_rank;
use std::collections::BTreeMap;

/// Up to this size, either way, a cell holds one whole number.
const FINE: i64 = 1 << 16;
/// Beyond, there are so many cells to a doubling.
const PER_DOUBLING: i64 = 1 << 10;

/// Counts of whole numbers by size, in memory that grows neither with how many there are nor with how far they spread.
///
/// Up to 65,536 a number has a cell of its own; beyond, there are 1024 cells to a doubling, so that it is read to within
/// 0.05 %. At most [`Self::MOST_CELLS`] = 16,384 cells are kept: where more would fill, every two neighbours become one, as
/// often as that is needed: four times at most. What is kept depends on the numbers alone, not on the order or the groups in which they come.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Histogram {
    cells: BTreeMap<i32, u64>,
    count: u64,
    /// How often neighbours have become one: a cell is 2 to the power of this wide, in finest cells.
    joined: u32,
}

impl Histogram {
    /// The most cells that are kept: some 300 kB.
    pub const MOST_CELLS: usize = 1 << 14;

    /// Counts a number.
    pub fn add(&mut self, number: i64) {
        *self.cells.entry(finest(number) >> self.joined).or_insert(0) += 1;
        self.count += 1;
        self.keep_few();
    }

    /// Adds what another has counted.
    pub fn merge(&mut self, other: &Self) {
        while self.joined < other.joined {
            self.join();
        }
        for (&cell, &n) in &other.cells {
            *self.cells.entry(cell >> (self.joined - other.joined)).or_insert(0) += n;
        }
        self.count += other.count;
        self.keep_few();
    }

    /// The cells that hold something, in rising order: twice the middle of each, which is whole, and how many it holds.
    pub fn cells(&self) -> impl Iterator<Item = (i128, u64)> {
        self.cells.iter().map(|(&cell, &n)| (self.twice_the_middle(cell), n))
    }

    /// Twice the middle of the cell up to which lie at least so many hundredths of all (nearest rank); `None` of none.
    #[must_use]
    pub fn percentile_twice(&self, hundredths: u64) -> Option<i128> {
        let rank = nearest_rank(self.count, hundredths);
        let mut below = 0;
        let (&found, _) = self.cells.iter().find(|(_, n)| {
            below += **n;
            below >= rank
        })?;
        Some(self.twice_the_middle(found))
    }

    fn keep_few(&mut self) {
        while self.cells.len() > Self::MOST_CELLS {
            self.join();
        }
    }

    /// Makes every two neighbours one.
    fn join(&mut self) {
        self.joined += 1;
        for (cell, n) in std::mem::take(&mut self.cells) {
            *self.cells.entry(cell >> 1).or_insert(0) += n;
        }
    }

    fn twice_the_middle(&self, cell: i32) -> i128 {
        let first = i64::from(cell) << self.joined;
        middle(first) + middle(first + (1 << self.joined) - 1)
    }
}

/// The finest cell of a number; they rise with it.
fn finest(number: i64) -> i32 {
    let size = number.unsigned_abs();
    let cell = if size < FINE.unsigned_abs() {
        size as i64
    } else {
        // size = 2^(16 + doublings) · (1 + part/1024)
        let doublings = i64::from(size.ilog2()) - 16;
        let part = (size >> (doublings + 6)) as i64 - PER_DOUBLING;
        FINE + doublings * PER_DOUBLING + part
    };
    (cell * number.signum()) as i32
}

/// The middle of a finest cell.
fn middle(cell: i64) -> i128 {
    let place = cell.abs();
    let size = if place < FINE {
        i128::from(place)
    } else {
        let (doublings, part) = ((place - FINE) / PER_DOUBLING, (place - FINE) % PER_DOUBLING);
        let low = i128::from(PER_DOUBLING + part) << (doublings + 6);
        low + (1_i128 << (doublings + 5))
    };
    size * i128::from(cell.signum())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn of(numbers: impl IntoIterator<Item = i64>) -> Histogram {
        let mut histogram = Histogram::default();
        numbers.into_iter().for_each(|n| histogram.add(n));
        histogram
    }

    #[test]
    fn small_numbers_are_read_as_they_are() {
        for n in [0, 1, -1, 40, -500, 65_535, -65_535] {
            assert_eq!(of([n]).cells().collect::<Vec<_>>(), [(2 * i128::from(n), 1)]);
        }
    }

    /// However far numbers spread, and whatever the order and the groups in which they come.
    #[test]
    fn cells_stay_few_and_depend_on_the_numbers_alone() {
        // All sizes alike often, both signs: multiplied by an odd number and cut, so that they come in no order.
        let wide = |n: i64| (n.wrapping_mul(0x9e37_79b9_7f4a_7c15_u64 as i64)) >> (n % 50);
        let numbers: Vec<i64> = (0..60_000).map(wide).collect();
        let whole = of(numbers.iter().copied());
        assert!(whole.cells().count() <= Histogram::MOST_CELLS && whole.joined > 0, "{}", whole.joined);
        assert_eq!(whole.cells().map(|cell| cell.1).sum::<u64>(), 60_000);
        assert_eq!(of(numbers.iter().rev().copied()), whole);
        let mut groups = of(numbers[..700].iter().copied());
        groups.merge(&of(numbers[30_000..].iter().copied()));
        groups.merge(&of(numbers[700..30_000].iter().copied()));
        assert_eq!(groups, whole);
    }

    #[test]
    fn percentiles_of_wide_numbers_are_read_to_the_width_of_a_cell() {
        // 40,000 cells become 10,000 of four numbers each; by nearest rank the median of 0 to 39,999 is 19,999.
        let histogram = of(0..40_000);
        assert_eq!((histogram.cells().count(), histogram.joined), (10_000, 2));
        assert_eq!(histogram.percentile_twice(50), Some(19_996 + 19_999));
        assert_eq!(histogram.percentile_twice(100), Some(39_996 + 39_999));
    }

    proptest! {
        /// Against sorting: the value of the nearest rank, to within half a cell.
        #[test]
        fn percentiles_are_those_of_the_sorted_list(
            list in proptest::collection::vec(-100_000_000_000_i64..200_000_000_000, 1..80),
            scale in 0_u32..10,
            hundredths in 1_u64..=100,
        ) {
            let mut list: Vec<i64> = list.iter().map(|t| t / 10_i64.pow(scale)).collect();
            let histogram = of(list.iter().copied());
            list.sort_unstable();
            let rank = (list.len() as u64 * hundredths).div_ceil(100).max(1);
            let exact = i128::from(list[rank as usize - 1]);
            let found = histogram.percentile_twice(hundredths).expect("some");
            let room = if exact.abs() < 65_536 { 0 } else { exact.abs() / 1024 };
            prop_assert!((found - 2 * exact).abs() <= room, "{found} {exact}");
        }

        #[test]
        fn cells_rise_with_the_number(a in any::<i64>(), b in any::<i64>()) {
            let (a, b) = (a.min(b), a.max(b));
            prop_assert!(finest(a) <= finest(b));
            prop_assert!(middle(finest(a).into()) <= middle(finest(b).into()));
        }
    }
}
