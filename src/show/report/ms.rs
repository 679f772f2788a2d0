//! Times in milliseconds as people read them, and the rule that no printed figure lies on another side of a bound than the
//! time that was judged.

use crate::judge::{Band, ORDER_HEARD};
use crate::time::{Span, round_half_up};
use num_rational::Ratio;

/// A time in milliseconds with as many decimals as it deserves: 2400, 24, 7.5, 0.94, 0.04, 0.0013.
///
/// For times that nothing is judged by; a gap is shown by [`gap_ms`].
#[must_use]
pub fn ms(time: Span) -> String {
    ms_by(time, &[])
}

/// A gap in milliseconds, as [`ms`] has it; with more decimals where the figure would be heard otherwise, or be over the max
/// gap where the gap is not: 2.004 for a max gap of 2, and 9.996, which is no flam. From 0.1 µs down it is `just over 2`,
/// or `just under 10`.
#[must_use]
pub fn gap_ms(gap: Span, max_gap: Span) -> String {
    let mut bounds = bands();
    bounds.push(Bound::most(max_gap));
    ms_by(gap, &bounds)
}

/// A time in milliseconds with every picosecond, and no idle noughts.
#[must_use]
pub fn exact_ms(time: Span) -> String {
    crate::text::nine_places(Ratio::new(i128::from(time.0), i128::from(Span::from_ms(1).0)))
}

/// A size by which times are judged.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bound {
    at: Span,
    /// Whether a time of just this size counts as over it.
    is_over: bool,
}

impl Bound {
    /// The largest size of one kind: what is larger is of another.
    pub(super) const fn most(at: Span) -> Self {
        Self { at, is_over: false }
    }

    /// The smallest size of one kind: what is smaller is of another.
    pub(super) const fn least(at: Span) -> Self {
        Self { at, is_over: true }
    }

    fn is_passed_by(self, time: Span) -> bool {
        let size = time.abs();
        size > self.at || (self.is_over && size == self.at)
    }
}

/// The edges of the bands, and from where on the order is heard.
fn bands() -> Vec<Bound> {
    let edge = |band: &Band| match band {
        Band::TwoHits => Bound::most(band.least()),
        _ => Bound::least(band.least()),
    };
    Band::ALL.iter().skip(1).map(edge).chain([Bound::least(ORDER_HEARD)]).collect()
}

/// The most decimals of a millisecond that people are shown.
const MOST_DECIMALS: u32 = 4;

/// A time as [`ms`] has it, with so many more decimals that the figure lies on the same side of each bound as the time.
pub(super) fn ms_by(time: Span, bounds: &[Bound]) -> String {
    let alike = |shown: Span| bounds.iter().all(|b| b.is_passed_by(shown) == b.is_passed_by(time));
    let finer = (deserved(time)..=MOST_DECIMALS).map(|decimals| rounded(time, decimals));
    if let Some(shown) = finer.into_iter().find(|shown| alike(*shown)) {
        if shown != Span::ZERO || time == Span::ZERO {
            return exact_ms(shown).replace('-', "−");
        }
        // Whatever lies below the last decimal must be judged alike, or the words would say too little.
        if alike(Span(LAST - 1)) {
            return "under 0.0001".into();
        }
    }
    // What no decimal shows is told by the bound that it is close to; what would not be told apart by that is told whole.
    let beside =
        bounds.iter().map(|b| b.at).filter(|at| (time.0 - at.0).abs() < LAST).min_by_key(|at| (time.0 - at.0).abs());
    match beside {
        Some(at) if time > at && alike(Span(at.0 + 1)) => format!("just over {}", exact_ms(at)),
        Some(at) if time < at && alike(Span(at.0 - 1)) => format!("just under {}", exact_ms(at)),
        _ => exact_ms(time).replace('-', "−"),
    }
}

/// A unit of the last decimal.
const LAST: i64 = Span::from_ms(1).0 / 10_i64.pow(MOST_DECIMALS);

/// How many decimals of a millisecond a time deserves.
const fn deserved(time: Span) -> u32 {
    match time.abs().0 {
        s if s < Span::from_ms(1).0 / 100 => 4,
        s if s < Span::from_ms(100).0 => 2,
        s if s < Span::from_ms(1000).0 => 1,
        _ => 0,
    }
}

/// A time to so many decimals of a millisecond.
fn rounded(time: Span, decimals: u32) -> Span {
    let unit = 10_i128.pow(9 - decimals);
    let near = round_half_up(Ratio::new(i128::from(time.0), unit)) * unit;
    i64::try_from(near).map_or(time, Span)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_time_has_as_many_decimals_as_it_deserves() {
        let cases = [
            (2_400_000_000_000, "2400"),
            (24_000_000_000, "24"),
            (7_500_000_000, "7.5"),
            (937_500_000, "0.94"),
            (40_000_000, "0.04"),
            (1_300_000, "0.0013"),
            (1, "under 0.0001"),
            (0, "0"),
            (-125_400_000_000, "−125.4"),
            (-2_004_000_000, "−2"),
        ];
        for (ps, text) in cases {
            assert_eq!(ms(Span(ps)), text);
        }
    }

    #[test]
    fn a_gap_is_seen_to_be_on_its_side() {
        let of = |ps| gap_ms(Span(ps), Span::from_ms(2));
        let cases = [
            (2_500_000_000, "2.5"),
            (2_006_000_000, "2.01"),
            (2_004_000_000, "2.004"),
            (2_003_417_852, "2.003"),
            (2_000_417_852, "2.0004"),
            (2_000_000_001, "just over 2"),
            (2_000_000_000, "2"),
            (1_999_999_999, "2"),
            (9_996_000_000, "9.996"),
            (9_999_999_999, "just under 10"),
            (10_004_000_000, "10"),
            (-9_996_000_000, "−9.996"),
            (-9_999_999_999, "−9.999999999"),
            (19_999_000_000, "19.999"),
            (50_000_000_000, "50"),
            (50_004_000_000, "50.004"),
            (999_999_999, "just under 1"),
            (30, "under 0.0001"),
        ];
        for (ps, text) in cases {
            assert_eq!(of(ps), text);
        }
        assert_eq!(gap_ms(Span(200_030_000_000), Span::from_ms(200)), "200.03");
        assert_eq!([gap_ms(Span(30), Span::ZERO), gap_ms(Span::ZERO, Span::ZERO)], ["just over 0", "0"]);
    }

    /// What a reader takes a figure for: `just over 2` is a little more than 2, `under 0.0001` any less than that.
    fn read(text: &str) -> Vec<Span> {
        let text = text.replace('−', "-");
        let (more, less, figure) = match text.split_once(' ') {
            None => (0, 0, text.as_str()),
            Some(("under", figure)) => (-1, 1 - LAST, figure),
            Some(("just", rest)) => match rest.split_once(' ') {
                Some(("over", figure)) => (1, 1, figure),
                Some(("under", figure)) => (-1, -1, figure),
                _ => panic!("{text}"),
            },
            Some(_) => panic!("{text}"),
        };
        let (sign, digits) = figure.strip_prefix('-').map_or((1, figure), |digits| (-1, digits));
        let (whole, part) = digits.split_once('.').unwrap_or((digits, ""));
        let ps: i64 = format!("{whole}{part:0<9}").parse().expect("a figure");
        vec![Span(sign * ps + more), Span(sign * ps + less)]
    }

    /// Times near the bounds, and anywhere.
    fn size() -> impl Strategy<Value = i64> {
        let edge = prop_oneof![
            Just(0),
            Just(1_000_000_000_i64),
            Just(2_000_000_000),
            Just(5_000_000_000),
            Just(10_000_000_000),
            Just(20_000_000_000),
            Just(50_000_000_000),
            Just(100_000_000_000),
            Just(1_000_000_000_000),
        ];
        let off =
            prop_oneof![-3_i64..=3, -200_000_i64..200_000, -9_000_000_i64..9_000_000, -900_000_000_i64..900_000_000];
        prop_oneof![(edge, off).prop_map(|(edge, off)| (edge + off).max(0)), 0_i64..3_000_000_000_000]
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(4000))]
        /// Whatever is printed is judged as the gap was.
        #[test]
        fn a_printed_gap_is_judged_alike(gap in size(), most in size(), near in -300_000_i64..300_000, early: bool, close: bool) {
            let max_gap = Span(if close { (gap + near).max(0) } else { most });
            let gap = Span(if early { -gap } else { gap });
            let shown = gap_ms(gap, max_gap);
            let judged = |gap: Span| (gap.abs() > max_gap, Band::of(gap), gap.abs() >= ORDER_HEARD);
            for figure in read(&shown) {
                prop_assert_eq!(judged(figure), judged(gap), "{:?} for {:?} and {:?}", shown, gap, max_gap);
                // And it is no further off than its last decimal, or than half of what is told of longer times.
                let room = if gap.abs() < Span::from_ms(100) { 5_000_000 } else { 500_000_000 };
                prop_assert!((figure.abs().0 - gap.abs().0).abs() <= room, "{:?} for {:?}", shown, gap);
            }
        }
    }
}
