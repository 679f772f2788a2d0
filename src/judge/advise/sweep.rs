//! From single delays to windows: which of them fit, and where that ends.
//!
//! Between two meetings of edges nobody plays anything else, every hit stands still or moves with the delay, and the worst
//! gap is a convex function of the delay whose slopes are −1, 0 and 1. So its crossing of the max gap follows from one
//! value outside; the simulator is asked on both sides of it all the same, and if it disagrees (behind what queues or
//! looks) the crossing is found by halving.

use super::outcome::{Care, Outcome};
use std::collections::BTreeMap;

/// Delays that were tried, in picoseconds, and what they came to.
pub(super) struct Sweep<'t> {
    tried: BTreeMap<i64, Outcome>,
    try_it: Box<dyn FnMut(i64) -> Outcome + 't>,
    /// How many may still be tried.
    budget: usize,
}

/// The reasons for which a window ends where it does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum End {
    /// Nothing beyond was looked at.
    Search,
    /// A gap is over the max gap there.
    Gap,
    /// Somebody plays something else there.
    Decision,
}

/// A window, and why it ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Stretch {
    pub(super) least: i64,
    pub(super) most: i64,
    pub(super) low: End,
    pub(super) high: End,
}

/// The most delays that are tried at one tempo, beside those at which edges meet: past it the answer is what is known by then.
const MOST_TRIED: usize = 20_000;

impl<'t> Sweep<'t> {
    pub(super) fn new(try_it: impl FnMut(i64) -> Outcome + 't) -> Self {
        Self { tried: BTreeMap::new(), try_it: Box::new(try_it), budget: MOST_TRIED }
    }

    /// What a delay comes to.
    pub(super) fn at(&mut self, delay: i64) -> &Outcome {
        let (budget, try_it) = (&mut self.budget, &mut self.try_it);
        self.tried.entry(delay).or_insert_with(|| {
            *budget = budget.saturating_sub(1);
            try_it(delay)
        })
    }

    /// Takes in what delays came to that were tried elsewhere.
    pub(super) fn know(&mut self, known: impl IntoIterator<Item = (i64, Outcome)>) {
        self.tried.extend(known);
    }

    pub(super) fn tried(&self) -> &BTreeMap<i64, Outcome> {
        &self.tried
    }

    /// Whether it stopped early.
    pub(super) fn is_spent(&self) -> bool {
        self.budget == 0
    }

    /// Tries delays until every change of what is played, and every end of a window, lies between two neighbours.
    pub(super) fn refine(&mut self) {
        let mut open: Vec<(i64, i64, [bool; 2])> = self.neighbours();
        while let Some((p, q, dips)) = open.pop() {
            if self.budget == 0 {
                return;
            }
            if q - p < 2 {
                continue;
            }
            if let Some((between, dips)) = self.split(p, q, dips) {
                self.at(between);
                open.extend([(p, between, dips), (between, q, dips)]);
            }
        }
    }

    fn neighbours(&self) -> Vec<(i64, i64, [bool; 2])> {
        let delays: Vec<i64> = self.tried.keys().copied().collect();
        delays.windows(2).map(|two| (two[0], two[1], [true; 2])).collect()
    }

    /// Where between two delays something has to be tried, if anywhere, and whether the worst gap may still dip under the
    /// max gap between two that are over it: once a dip has been looked for, a convex function has no other.
    fn split(&self, p: i64, q: i64, dips: [bool; 2]) -> Option<(i64, [bool; 2])> {
        let (a, b) = (&self.tried[&p], &self.tried[&q]);
        let middle = p + (q - p) / 2;
        if a.print != b.print {
            return Some((middle, dips));
        }
        if !a.right {
            return None;
        }
        let inside = |d: i64| (p < d && d < q).then_some(d);
        for (n, care) in [Care::Typical, Care::Sure].into_iter().enumerate() {
            let (Some(low), Some(high)) = (a.over(care), b.over(care)) else { continue };
            let found = match (low <= 0, high <= 0) {
                (true, true) => None,
                // The last that fits, or where that has been tried, the first that does not.
                (true, false) => inside(q - high).or_else(|| inside(q - high + 1)).or(Some(middle)),
                (false, true) => inside(p + low).or_else(|| inside(p + low - 1)).or(Some(middle)),
                (false, false) => {
                    let (first, last) = (p + low, q - high);
                    let found = inside(first).or_else(|| inside(last)).filter(|_| dips[n] && first <= last);
                    if let Some(found) = found {
                        let mut dips = dips;
                        dips[n] = false;
                        return Some((found, dips));
                    }
                    None
                }
            };
            if let Some(found) = found {
                return Some((found, dips));
            }
        }
        None
    }

    /// The stretches of delays that fit, in order.
    pub(super) fn stretches(&self, care: Care) -> Vec<Stretch> {
        let mut all: Vec<Stretch> = Vec::new();
        let mut before: Option<(i64, &Outcome)> = None;
        let end = |a: &Outcome, b: &Outcome| if a.print == b.print { End::Gap } else { End::Decision };
        for (&delay, outcome) in &self.tried {
            if outcome.fits(care) {
                match (before, all.last_mut()) {
                    (Some((_, last)), Some(open)) if last.fits(care) => open.most = delay,
                    _ => {
                        let low = before.map_or(End::Search, |(_, last)| end(last, outcome));
                        all.push(Stretch { least: delay, most: delay, low, high: End::Search });
                    }
                }
            } else if let (Some((_, last)), Some(open)) = (before, all.last_mut())
                && last.fits(care)
            {
                open.high = end(last, outcome);
            }
            before = Some((delay, outcome));
        }
        all
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn outcome(right: bool, over: i64, print: u64) -> Outcome {
        Outcome { right, over, surely_over: Some(over + 3), print }
    }

    #[test]
    fn ends_are_found_to_the_picosecond() {
        // Right from 1 on; a gap of |d − 400|, and at most 100 will do: 300 to 500.
        let try_it = |d: i64| if d < 1 { outcome(false, 0, 1) } else { outcome(true, (d - 400).abs() - 100, 2) };
        let mut sweep = Sweep::new(try_it);
        for d in [-1, 0, 1, 100_000] {
            sweep.at(d);
        }
        sweep.refine();
        let window = |least, most| Stretch { least, most, low: End::Gap, high: End::Gap };
        assert_eq!(sweep.stretches(Care::Typical), [window(300, 500)]);
        assert_eq!(sweep.stretches(Care::Sure), [window(303, 497)]);
    }

    #[test]
    fn where_slopes_are_not_as_they_should_be_halving_finds_the_end() {
        let try_it = |d: i64| outcome(true, if d < 12_345 { -5 } else { 70 }, 2);
        let mut sweep = Sweep::new(try_it);
        for d in [0, 100_000] {
            sweep.at(d);
        }
        sweep.refine();
        let all = sweep.stretches(Care::Typical);
        assert_eq!((all.len(), all[0].least, all[0].most), (1, 0, 12_344));
    }
}
