use crate::time::Span;

/// The spread of some signed times.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stats {
    /// The smallest, by sign: the most negative.
    pub min: Span,
    /// Twice the median: the sum of the two in the middle (of the one in the middle with itself), so that it is exact.
    pub median_twice: i128,
    /// The largest, by sign: the most positive.
    pub max: Span,
}

impl Stats {
    /// The spread of some times, whose order is lost; `None` of none.
    #[must_use]
    pub fn of(times: &mut [Span]) -> Option<Self> {
        let (min, max) = (*times.iter().min()?, *times.iter().max()?);
        if min == max {
            return Some(Self { min, median_twice: 2 * i128::from(min.0), max });
        }
        let half = times.len() / 2;
        let upper = times.select_nth_unstable(half).1.0;
        let lower = if times.len() % 2 == 1 { upper } else { times[..half].iter().max()?.0 };
        Some(Self { min, median_twice: i128::from(upper) + i128::from(lower), max })
    }

    /// The median in milliseconds, to the nearest `f64`.
    #[must_use]
    pub fn median_ms(self) -> f64 {
        self.median_twice as f64 / 2.0 / Span::from_ms(1).0 as f64
    }

    /// The largest without its sign.
    #[must_use]
    pub fn worst(self) -> Span {
        self.min.abs().max(self.max.abs())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn agrees_with_sorting(mut times in proptest::collection::vec(-9_i64..9, 1..12)) {
            let stats = Stats::of(&mut times.iter().map(|&t| Span(t)).collect::<Vec<_>>()).expect("some");
            times.sort_unstable();
            let n = times.len();
            prop_assert_eq!(stats.min.0, times[0]);
            prop_assert_eq!(stats.max.0, times[n - 1]);
            prop_assert_eq!(stats.median_twice, i128::from(times[(n - 1) / 2] + times[n / 2]));
        }
    }
}
