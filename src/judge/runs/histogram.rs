use crate::stats;
use crate::time::{PS_PER_US, Span};

/// Counts of times by size, in memory that grows neither with their number nor with their spread.
///
/// A time counts as the nearest whole microsecond, so that it is read to within 0.5 µs up to 65.5 ms, and to within 0.05 %
/// beyond; where times fill more than 16,384 cells of that width, neighbours are joined: see [`stats::Histogram`].
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Histogram(stats::Histogram);

impl Histogram {
    /// Counts a time.
    pub fn add(&mut self, time: Span) {
        let us = (i128::from(time.0) + i128::from(PS_PER_US / 2)).div_euclid(i128::from(PS_PER_US));
        self.0.add(us as i64);
    }

    /// Adds what another has counted.
    pub fn merge(&mut self, other: &Self) {
        self.0.merge(&other.0);
    }

    /// The cells that hold something, in rising order: the middle of each and how many times it holds.
    pub fn bins(&self) -> impl Iterator<Item = (Span, u64)> {
        self.0.cells().map(|(twice, n)| (half(twice), n))
    }

    /// The smallest time up to which lie at least so many hundredths of all (nearest rank), as the middle of its cell;
    /// `None` of none.
    #[must_use]
    pub fn percentile(&self, hundredths: u64) -> Option<Span> {
        self.0.percentile_twice(hundredths).map(half)
    }
}

/// Half of some microseconds.
fn half(twice_us: i128) -> Span {
    let ps = twice_us * i128::from(PS_PER_US / 2);
    Span(ps.clamp(i128::from(i64::MIN), i128::from(i64::MAX)) as i64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_read_as_the_nearest_microsecond() {
        let read = |ps: i64| {
            let mut histogram = Histogram::default();
            histogram.add(Span(ps));
            histogram.percentile(50)
        };
        for us in [0, 1, -1, 40, -500, 65_535, -65_535] {
            for off in [0, 499_999, -500_000] {
                assert_eq!(read(us * PS_PER_US + off), Some(Span(us * PS_PER_US)), "{us} us and {off} ps");
            }
        }
        assert_eq!(read(i64::MAX).map(|t| t.0 > i64::MAX / 1001 * 1000), Some(true));
    }
}
