use crate::patch::Share;
use crate::time::{ExactPs, Span};
use num_rational::Ratio;

/// Delays that will do, both ends included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Window {
    /// The shortest delay that is in it.
    pub least: Span,
    /// The longest delay that is in it.
    pub most: Span,
}

impl Window {
    /// Whether a delay lies between its ends, these included.
    #[must_use]
    pub fn holds(self, delay: Span) -> bool {
        self.least <= delay && delay <= self.most
    }

    /// The middle by ratio, √(least·most): as far from both ends in per cent, since parts err in per cent. A window that
    /// begins at 0 is taken to begin at a thousandth of its end.
    #[must_use]
    pub fn middle(self) -> Span {
        let most = self.most.0 as f64;
        let least = (self.least.0 as f64).max(most / 1000.0);
        Span(libm::sqrt(least * most).round() as i64)
    }

    /// The window as shares of a period.
    #[must_use]
    pub fn shares(self, period: ExactPs) -> ShareWindow {
        let share = |span: Span| Ratio::from_integer(i128::from(span.0)) / period;
        ShareWindow { least: share(self.least), most: share(self.most) }
    }
}

/// Shares of a period that will do, both ends included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ShareWindow {
    /// The smallest share of a period that is in it.
    pub least: Share,
    /// The largest share of a period that is in it.
    pub most: Share,
}

/// What is in both of two lists, each in order and without overlaps.
pub(super) fn both<T: Ord + Copy>(a: &[(T, T)], b: &[(T, T)]) -> Vec<(T, T)> {
    let mut all = Vec::new();
    for &(least, most) in a {
        let shared = b.iter().map(|&(l, m)| (l.max(least), m.min(most)));
        all.extend(shared.filter(|(least, most)| least <= most));
    }
    all.sort_unstable();
    all
}

/// Delays that are in a window of every list.
#[must_use]
pub fn in_all<'a>(lists: impl IntoIterator<Item = &'a Vec<Window>>) -> Vec<Window> {
    let pairs = |list: &Vec<Window>| list.iter().map(|w| (w.least, w.most)).collect::<Vec<_>>();
    let lists: Vec<_> = lists.into_iter().map(pairs).collect();
    let shared = lists.iter().skip(1).fold(lists.first().cloned().unwrap_or_default(), |a, b| both(&a, b));
    shared.into_iter().map(|(least, most)| Window { least, most }).collect()
}

/// Shares that are in a window of every list.
#[must_use]
pub fn shares_in_all(lists: &[Vec<ShareWindow>]) -> Vec<ShareWindow> {
    let pairs = |list: &Vec<ShareWindow>| list.iter().map(|w| (w.least, w.most)).collect::<Vec<_>>();
    let lists: Vec<_> = lists.iter().map(pairs).collect();
    let shared = lists.iter().skip(1).fold(lists.first().cloned().unwrap_or_default(), |a, b| both(&a, b));
    shared.into_iter().map(|(least, most)| ShareWindow { least, most }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_in_all_is_in_each() {
        let of = |list: &[(i64, i64)]| {
            list.iter().map(|&(l, m)| Window { least: Span(l), most: Span(m) }).collect::<Vec<_>>()
        };
        let lists = [of(&[(0, 10), (20, 30)]), of(&[(5, 25)]), of(&[(6, 9), (10, 10), (22, 40)])];
        assert_eq!(in_all(&lists), of(&[(6, 9), (10, 10), (22, 25)]));
        assert_eq!(in_all(&[of(&[(0, 4)]), of(&[(5, 9)])]), of(&[]));
    }

    #[test]
    fn the_middle_is_as_far_from_both_ends_in_per_cent() {
        let window = Window { least: Span(10), most: Span(1000) };
        assert_eq!(window.middle(), Span(100));
    }
}
