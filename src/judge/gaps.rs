use super::Stats;
use crate::time::{Instant, Span};

/// Signed gaps. Where many hits of one player meet many of another on one due beat, what is kept is the hits and not every
/// difference of two: their number is a product, and ten thousand by ten thousand would fill the memory.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Gaps {
    listed: Vec<Span>,
    crossed: Vec<Crossed>,
}

/// Every hit of one player on a due beat with every hit of the other's: the second's time minus the first's. Both in order.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Crossed {
    first: Vec<Instant>,
    second: Vec<Instant>,
}

/// Up to so many differences for every hit they are listed, which costs less than to keep the hits.
const LISTED_A_HIT: usize = 4;

impl Gaps {
    /// Adds one gap to those that are listed.
    pub(super) fn add(&mut self, gap: Span) {
        self.listed.push(gap);
    }

    /// Adds a gap for every two hits, one of each; their order is of no account.
    pub(super) fn cross(&mut self, first: &[Instant], second: &[Instant]) {
        let product = first.len().saturating_mul(second.len());
        if product <= LISTED_A_HIT * (first.len() + second.len()) {
            self.listed.extend(first.iter().flat_map(|x| second.iter().map(move |y| *y - *x)));
            return;
        }
        let in_order = |hits: &[Instant]| {
            let mut hits = hits.to_vec();
            hits.sort_unstable();
            hits
        };
        self.crossed.push(Crossed { first: in_order(first), second: in_order(second) });
    }

    /// The number of gaps.
    #[must_use]
    pub fn len(&self) -> usize {
        self.crossed.iter().fold(self.listed.len(), |n, c| n.saturating_add(c.len()))
    }

    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.listed.is_empty() && self.crossed.is_empty()
    }

    /// All of them, one by one; those that are not listed are made on the way.
    pub fn iter(&self) -> impl Iterator<Item = Span> {
        self.listed.iter().copied().chain(self.crossed.iter().flat_map(Crossed::iter))
    }

    /// The smallest and the largest; `None` of none.
    #[must_use]
    pub fn ends(&self) -> Option<[Span; 2]> {
        let listed = self.listed.iter().min().zip(self.listed.iter().max()).map(|(a, b)| [*a, *b]);
        let ends = self.crossed.iter().filter_map(Crossed::ends).chain(listed);
        ends.reduce(|[a, b], [c, d]| [a.min(c), b.max(d)])
    }

    /// The largest without its sign; `None` of none.
    #[must_use]
    pub fn worst(&self) -> Option<Span> {
        self.ends().map(|[least, most]| least.abs().max(most.abs()))
    }

    /// Their spread; the order of what is listed is lost. `None` of none.
    #[must_use]
    pub fn stats(&mut self) -> Option<Stats> {
        if self.crossed.is_empty() {
            return Stats::of(&mut self.listed);
        }
        let [min, max] = self.ends()?;
        self.listed.sort_unstable();
        let count = self.len();
        let lower = self.ranked((count - 1) / 2, [min, max]);
        // Of an even number there are two in the middle: the next in order, which may be as large.
        let upper = match count % 2 == 1 || self.up_to(i128::from(lower.0)) > count / 2 {
            true => lower,
            false => self.next_above(lower).unwrap_or(lower),
        };
        Some(Stats { min, median_twice: i128::from(lower.0) + i128::from(upper.0), max })
    }

    /// The gap with so many before it in order. Found by halving: how many are no larger than a time is counted without
    /// listing them, in one pass over all hits.
    fn ranked(&self, rank: usize, [least, most]: [Span; 2]) -> Span {
        let (mut low, mut high) = (i128::from(least.0), i128::from(most.0));
        while low < high {
            let middle = (low + high).div_euclid(2);
            if self.up_to(middle) > rank {
                high = middle;
            } else {
                low = middle + 1;
            }
        }
        // Both were spans, and it lies between them.
        i64::try_from(low).map_or(most, Span)
    }

    /// How many are no larger than a time in picoseconds; what is listed must be in order.
    fn up_to(&self, time: i128) -> usize {
        let listed = self.listed.partition_point(|gap| i128::from(gap.0) <= time);
        self.crossed.iter().fold(listed, |n, c| n.saturating_add(c.up_to(time)))
    }

    /// The smallest that is larger than a time; what is listed must be in order.
    fn next_above(&self, time: Span) -> Option<Span> {
        let listed = self.listed.get(self.listed.partition_point(|gap| *gap <= time)).copied();
        self.crossed.iter().filter_map(|c| c.next_above(time)).chain(listed).min()
    }
}

impl Crossed {
    fn len(&self) -> usize {
        self.first.len().saturating_mul(self.second.len())
    }

    fn iter(&self) -> impl Iterator<Item = Span> {
        self.first.iter().flat_map(|x| self.second.iter().map(move |y| *y - *x))
    }

    fn ends(&self) -> Option<[Span; 2]> {
        Some([*self.second.first()? - *self.first.last()?, *self.second.last()? - *self.first.first()?])
    }

    /// For each of the first's hits how many of the second's come no later behind it than a time: the later the hit, the more.
    fn reached(&self, time: i128) -> impl Iterator<Item = (Instant, usize)> {
        let mut reached = 0;
        self.first.iter().map(move |x| {
            let near = |y: &Instant| i128::from(y.0) - i128::from(x.0) <= time;
            while self.second.get(reached).is_some_and(near) {
                reached += 1;
            }
            (*x, reached)
        })
    }

    fn up_to(&self, time: i128) -> usize {
        self.reached(time).fold(0, |n: usize, (_, reached)| n.saturating_add(reached))
    }

    fn next_above(&self, time: Span) -> Option<Span> {
        let next = |(x, reached): (Instant, usize)| self.second.get(reached).map(|y| *y - x);
        self.reached(i128::from(time.0)).filter_map(next).min()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn times(of: &[i64]) -> Vec<Instant> {
        of.iter().copied().map(Instant).collect()
    }

    /// Times in any order, close together, so that many differences are equal, or far apart.
    fn hits() -> impl Strategy<Value = Vec<i64>> {
        prop_oneof![
            proptest::collection::vec(-6_i64..6, 0..40),
            proptest::collection::vec(-9_000_000_000_000_i64..9_000_000_000_000, 0..40),
        ]
    }

    proptest! {
        /// Against every difference written out.
        #[test]
        fn what_is_not_listed_is_what_would_be(
            blocks in proptest::collection::vec((hits(), hits()), 0..4),
            single in proptest::collection::vec(-9_i64..9, 0..60),
        ) {
            let mut gaps = Gaps::default();
            let mut brute: Vec<Span> = Vec::new();
            for (a, b) in &blocks {
                gaps.cross(&times(a), &times(b));
                brute.extend(a.iter().flat_map(|x| b.iter().map(move |y| Span(y - x))));
            }
            for &gap in &single {
                gaps.add(Span(gap));
                brute.push(Span(gap));
            }
            let mut iterated: Vec<Span> = gaps.iter().collect();
            iterated.sort_unstable();
            brute.sort_unstable();
            prop_assert_eq!(&iterated, &brute);
            prop_assert_eq!((gaps.len(), gaps.is_empty()), (brute.len(), brute.is_empty()));
            prop_assert_eq!(gaps.worst(), brute.iter().map(|g| g.abs()).max());
            let n = brute.len();
            let expected = (n > 0).then(|| Stats {
                min: brute[0],
                median_twice: i128::from(brute[(n - 1) / 2].0) + i128::from(brute[n / 2].0),
                max: brute[n - 1],
            });
            prop_assert_eq!(gaps.stats(), expected);
        }
    }

    /// Two evenly spaced rows: a million times 999,999 differences would take 8 TB. The first's hits lie at 0, 2, 4 … and the
    /// second's, one fewer, at 1, 3, 5 …: the difference of the j-th and the i-th is 2(j − i) + 1, and j − i lies as often at a
    /// distance above −½ as below. So the two in the middle are −1 and 1 (closed form).
    #[test]
    fn a_million_million_gaps_take_the_room_of_the_hits() {
        let first: Vec<Instant> = (0..1_000_000).map(|n| Instant(2 * n)).collect();
        let second: Vec<Instant> = (0..999_999).map(|n| Instant(2 * n + 1)).collect();
        let mut gaps = Gaps::default();
        gaps.cross(&first, &second);
        assert_eq!(gaps.len(), 1_000_000 * 999_999);
        let stats = Stats { min: Span(1 - 1_999_998), median_twice: 0, max: Span(1_999_997) };
        assert_eq!(gaps.stats(), Some(stats));
    }
}
