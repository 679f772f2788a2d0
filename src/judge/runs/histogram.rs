use crate::time::{PS_PER_US, Span};
use std::collections::BTreeMap;

/// Up to this many microseconds, either way, a bin is one microsecond wide.
const FINE: i64 = 1 << 16;
/// Beyond, there are so many bins to a doubling.
const PER_DOUBLING: i64 = 1 << 10;

/// How often times of which size came, in memory that does not grow with their number.
///
/// Up to 65.536 ms a time counts as the nearest whole microsecond, so that it is read to within 0.5 µs; beyond, there
/// are 1024 bins to a doubling, and it is read to within 0.05 %. At most 190,000 bins can ever fill.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Histogram {
    bins: BTreeMap<i32, u64>,
    count: u64,
}

impl Histogram {
    /// Counts a time.
    pub fn add(&mut self, time: Span) {
        *self.bins.entry(bin(time)).or_insert(0) += 1;
        self.count += 1;
    }

    /// Adds what another has counted.
    pub fn merge(&mut self, other: &Self) {
        for (&bin, &n) in &other.bins {
            *self.bins.entry(bin).or_insert(0) += n;
        }
        self.count += other.count;
    }

    /// The bins that hold something, in rising order: the middle of each and how many times it holds.
    pub fn bins(&self) -> impl Iterator<Item = (Span, u64)> {
        self.bins.iter().map(|(&bin, &n)| (middle(bin), n))
    }

    /// The smallest time up to which lie at least so many hundredths of all (nearest rank), as the middle of its bin;
    /// `None` of none.
    #[must_use]
    pub fn percentile(&self, hundredths: u64) -> Option<Span> {
        let rank = (u128::from(self.count) * u128::from(hundredths)).div_ceil(100).max(1);
        let mut below = 0_u128;
        let (&found, _) = self.bins.iter().find(|(_, n)| {
            below += u128::from(**n);
            below >= rank
        })?;
        Some(middle(found))
    }
}

/// The number of a time's bin; they rise with the time.
fn bin(time: Span) -> i32 {
    let us = (i128::from(time.0) + i128::from(PS_PER_US / 2)).div_euclid(i128::from(PS_PER_US)) as i64;
    let size = us.abs();
    let number = if size < FINE {
        size
    } else {
        // size = 2^(16 + doublings) · (1 + part/1024)
        let doublings = i64::from(size.ilog2()) - 16;
        let part = (size >> (doublings + 6)) - PER_DOUBLING;
        FINE + doublings * PER_DOUBLING + part
    };
    (number * us.signum()) as i32
}

fn middle(bin: i32) -> Span {
    let number = i64::from(bin).abs();
    let us = if number < FINE {
        i128::from(number)
    } else {
        let (doublings, part) = ((number - FINE) / PER_DOUBLING, (number - FINE) % PER_DOUBLING);
        let low = i128::from(PER_DOUBLING + part) << (doublings + 6);
        low + (1_i128 << (doublings + 5))
    };
    let ps = us * i128::from(PS_PER_US) * i128::from(bin.signum());
    Span(ps.clamp(i128::from(i64::MIN), i128::from(i64::MAX)) as i64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn whole_microseconds_are_read_as_they_are() {
        for us in [0, 1, -1, 40, -500, 65_535, -65_535] {
            assert_eq!(middle(bin(Span(us * PS_PER_US))), Span(us * PS_PER_US));
        }
    }

    proptest! {
        /// Against sorting: the value of the nearest rank, to within half a bin.
        #[test]
        fn percentiles_are_those_of_the_sorted_list(
            list in proptest::collection::vec(-100_000_000_000_i64..200_000_000_000, 1..80),
            scale in 0_u32..6,
            hundredths in 1_u64..=100,
        ) {
            let mut list: Vec<i64> = list.iter().map(|t| t * 10_i64.pow(scale) / 1000).collect();
            let mut histogram = Histogram::default();
            list.iter().for_each(|&t| histogram.add(Span(t)));
            list.sort_unstable();
            let rank = (list.len() as u64 * hundredths).div_ceil(100).max(1);
            let exact = list[rank as usize - 1];
            let found = histogram.percentile(hundredths).expect("some").0;
            let room = PS_PER_US / 2 + if exact.abs() < 65_536 * PS_PER_US { 0 } else { exact.abs() / 2048 };
            prop_assert!((found - exact).abs() <= room, "{found} {exact}");
        }

        #[test]
        fn bins_rise_with_the_time(a in any::<i64>(), b in any::<i64>()) {
            let (a, b) = (a.min(b), a.max(b));
            prop_assert!(bin(Span(a)) <= bin(Span(b)));
            prop_assert!(middle(bin(Span(a))) <= middle(bin(Span(b))));
        }
    }
}
