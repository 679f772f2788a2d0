use super::Histogram;
use crate::time::Span;
use num_bigint::{BigInt, BigUint};

/// Signed times of many runs: exact sums and extremes, percentiles to the [`Histogram`]'s width.
///
/// Only whole numbers are kept, so that the order in which times and runs come changes nothing.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Times {
    histogram: Histogram,
    count: u64,
    sum: i128,
    squares: Squares,
    ends: Option<[Span; 2]>,
    /// The largest without its sign, and the first run that has it.
    worst: Option<(Span, u64)>,
}

/// A sum of squares of 256 bits: of squares of `i64` never too small.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Squares {
    low: u128,
    high: u128,
}

impl Squares {
    fn add(&mut self, other: Self) {
        let (low, carry) = self.low.overflowing_add(other.low);
        *self = Self { low, high: self.high + other.high + u128::from(carry) };
    }
}

/// The figures that are reported of times.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Figures {
    /// How many there were.
    pub count: u64,
    /// Their mean, to the picosecond.
    pub mean: Span,
    /// Their standard deviation, to the picosecond, with one less than their number in the denominator; 0 of one.
    pub sd: Span,
    /// The smallest up to which lie 5, 50, 95 and 99 % of them, to within half a cell of the [`Histogram`].
    pub percentiles: [Span; 4],
    /// The largest without its sign, exact; of two alike the positive one.
    pub worst: Span,
    /// The first run in which that came.
    pub worst_run: u64,
}

/// The percentiles that are reported.
pub const PERCENTILES: [u64; 4] = [5, 50, 95, 99];

impl Times {
    /// Counts a time of a run.
    pub fn add(&mut self, run: u64, time: Span) {
        self.histogram.add(time);
        self.count += 1;
        self.sum += i128::from(time.0);
        let size = u128::from(time.0.unsigned_abs());
        self.squares.add(Squares { low: size * size, high: 0 });
        self.ends = Some(self.ends.map_or([time; 2], |[a, b]| [a.min(time), b.max(time)]));
        self.meet(time, run);
    }

    /// Keeps the worse of two; of two alike the positive one, then that of the earlier run.
    fn meet(&mut self, time: Span, run: u64) {
        let key = |(time, run): (Span, u64)| (time.0.unsigned_abs(), time.0, std::cmp::Reverse(run));
        if self.worst.is_none_or(|worst| key((time, run)) > key(worst)) {
            self.worst = Some((time, run));
        }
    }

    /// Adds what another has counted.
    pub fn merge(&mut self, other: &Self) {
        self.histogram.merge(&other.histogram);
        self.count += other.count;
        self.sum += other.sum;
        self.squares.add(other.squares);
        if let Some([a, b]) = other.ends {
            self.ends = Some(self.ends.map_or([a, b], |[c, d]| [a.min(c), b.max(d)]));
        }
        if let Some((time, run)) = other.worst {
            self.meet(time, run);
        }
    }

    /// The histogram of the times.
    #[must_use]
    pub fn histogram(&self) -> &Histogram {
        &self.histogram
    }

    /// The figures that are reported of them; `None` of none.
    #[must_use]
    pub fn figures(&self) -> Option<Figures> {
        let ([least, most], (worst, worst_run)) = (self.ends?, self.worst?);
        let mut percentiles = [Span::ZERO; 4];
        for (found, p) in percentiles.iter_mut().zip(PERCENTILES) {
            // The middle of a bin may lie beyond all that is in it.
            *found = self.histogram.percentile(p)?.clamp(least, most);
        }
        let count = i128::from(self.count);
        let mean = Span(((2 * self.sum + count).div_euclid(2 * count)) as i64);
        Some(Figures { count: self.count, mean, sd: self.sd(), percentiles, worst, worst_run })
    }

    /// √((n·Σx² − (Σx)²) / (n·(n − 1))), rounded down.
    fn sd(&self) -> Span {
        if self.count < 2 {
            return Span::ZERO;
        }
        let n = BigInt::from(self.count);
        let squares = (BigInt::from(self.squares.high) << 128) + BigInt::from(self.squares.low);
        let sum = BigInt::from(self.sum);
        let over: BigInt = &n * squares - &sum * &sum;
        let variance = over.magnitude() / (BigUint::from(self.count) * BigUint::from(self.count - 1));
        Span(i64::try_from(variance.sqrt()).unwrap_or(i64::MAX))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn of(list: &[(u64, i64)]) -> Times {
        let mut times = Times::default();
        list.iter().for_each(|&(run, t)| times.add(run, Span(t)));
        times
    }

    /// The mean of 2, 4, 4, 4, 5, 5, 7, 9 is 5; the squares of what is left add up to 32, so that the SD of a sample
    /// is √(32/7) = 2.138090 (closed form).
    #[test]
    fn mean_and_sd_of_a_school_example() {
        let times = of(&[2, 4, 4, 4, 5, 5, 7, 9].map(|t: i64| (1, t * 1_000_000_000)));
        let figures = times.figures().expect("some");
        assert_eq!((figures.count, figures.mean), (8, Span::from_ms(5)));
        assert_eq!(figures.sd, Span(2_138_089_935));
        assert_eq!(figures.percentiles, [2, 4, 9, 9].map(Span::from_ms));
        assert_eq!(of(&[]).figures(), None);
        assert_eq!(of(&[(3, -7)]).figures().expect("one").sd, Span::ZERO);
    }

    #[test]
    fn sums_of_the_widest_times_do_not_run_over() {
        let times = of(&[(1, i64::MAX), (2, -i64::MAX), (3, i64::MAX), (4, -i64::MAX)]);
        let figures = times.figures().expect("some");
        // √(4/3) of the size, cut to what a span holds.
        assert_eq!((figures.mean, figures.sd), (Span::ZERO, Span(i64::MAX)));
        assert_eq!((figures.worst, figures.worst_run), (Span(i64::MAX), 1));
    }

    proptest! {
        /// In whatever order and groups runs are counted.
        #[test]
        fn the_order_changes_nothing(
            list in proptest::collection::vec((1_u64..5, -9_000_000_i64..9_000_000), 0..40),
            cut in 0_usize..40,
        ) {
            let whole = of(&list);
            let cut = cut.min(list.len());
            let (mut back, front) = (of(&list[cut..]), of(&list[..cut]));
            back.merge(&front);
            prop_assert_eq!(&back, &whole);
            let worst = list.iter().map(|(_, t)| t.abs()).max();
            prop_assert_eq!(whole.figures().map(|f| f.worst.0.abs()), worst);
        }
    }
}
