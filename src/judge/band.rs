use crate::time::{PS_PER_SECOND, Span};
use std::fmt;

/// A band of gaps that are heard alike. A band includes its lower edge.
///
/// Sources: precedence windows for clicks, Bianchi, Verhulst and Dau, JARO 2013 (doi 10.1007/s10162-013-0406-z);
/// Watson, Semin Hear 25:219, 2004 (two sounds told from one at 2–3 ms, order at 20 ms); Hirsh, JASA 31:759, 1959
/// (second-hand); played flams measured in an open drum corpus: 5–95 % 6.7–44.9 ms, median 22.7.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Band {
    /// Below 1 ms: one hit; two like sounds may change colour.
    OneHit,
    /// 1 to 5 ms: one hit, thicker or hollow.
    Thicker,
    /// 5 to 10 ms: something is two, the order is unsure.
    Split,
    /// 10 to 50 ms, 50 itself included: a flam.
    Flam,
    /// Above 50 ms.
    TwoHits,
}

/// The size of a gap from which on it is heard which hit came first (Hirsh 1959, second-hand; Watson 2004).
pub const ORDER_HEARD: Span = Span::from_ms(20);

impl Band {
    /// All bands, from the smallest gap to the largest.
    pub const ALL: [Self; 5] = [Self::OneHit, Self::Thicker, Self::Split, Self::Flam, Self::TwoHits];

    /// The band of a gap, its sign left aside.
    #[must_use]
    pub fn of(gap: Span) -> Self {
        let size = gap.abs();
        if size < Span::from_ms(1) {
            Self::OneHit
        } else if size < Span::from_ms(5) {
            Self::Thicker
        } else if size < Span::from_ms(10) {
            Self::Split
        } else if size <= Span::from_ms(50) {
            Self::Flam
        } else {
            Self::TwoHits
        }
    }

    /// The size with which it begins; that itself belongs to it, but for [`Self::TwoHits`].
    #[must_use]
    pub const fn least(self) -> Span {
        Span::from_ms(match self {
            Self::OneHit => 0,
            Self::Thicker => 1,
            Self::Split => 5,
            Self::Flam => 10,
            Self::TwoHits => 50,
        })
    }

    /// The word that stands for it in JSON and CSV.
    #[must_use]
    pub const fn key(self) -> &'static str {
        match self {
            Self::OneHit => "one-hit",
            Self::Thicker => "thicker",
            Self::Split => "split",
            Self::Flam => "flam",
            Self::TwoHits => "two-hits",
        }
    }

    /// What is heard, in a few words.
    #[must_use]
    pub const fn heard(self) -> &'static str {
        match self {
            Self::OneHit => "one hit; two like sounds may change colour",
            Self::Thicker => "one hit, thicker or hollow; careful ears tell it from one hit from 2–3 ms",
            Self::Split => "something is two, the order is unsure",
            Self::Flam => "a flam; from 20 ms on which came first is heard",
            Self::TwoHits => "two separate hits, their order plain",
        }
    }
}

impl fmt::Display for Band {
    /// The name for people: without hyphens.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::OneHit => "one hit",
            Self::TwoHits => "two hits",
            other => other.key(),
        })
    }
}

/// The lowest frequency in hertz that two equal hits this far apart cancel, `1/(2d)`; `None` for no gap, and below 20 Hz.
///
/// Closed form; the first null of a comb of two equal copies.
#[must_use]
pub fn first_notch_hz(gap: Span) -> Option<f64> {
    let d = gap.abs().0;
    let twenty_hz = PS_PER_SECOND / 40;
    (d > 0 && d <= twenty_hz).then(|| PS_PER_SECOND as f64 / (2 * d) as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_band_includes_its_lower_edge_and_50_ms_is_a_flam() {
        let ps = |ms: i64, more: i64| Band::of(Span(Span::from_ms(ms).0 + more));
        assert_eq!([ps(1, -1), ps(1, 0)], [Band::OneHit, Band::Thicker]);
        assert_eq!([ps(5, -1), ps(5, 0)], [Band::Thicker, Band::Split]);
        assert_eq!([ps(10, -1), ps(10, 0)], [Band::Split, Band::Flam]);
        assert_eq!([ps(50, 0), ps(50, 1)], [Band::Flam, Band::TwoHits]);
        assert_eq!(Band::of(Span::from_ms(-22)), Band::Flam);
        for band in Band::ALL {
            assert_eq!(Band::of(Span(band.least().0 + 1)), band);
            assert!(band == Band::OneHit || Band::of(Span(band.least().0 - 1)) < band);
        }
    }

    #[test]
    fn what_takes_hold_for_a_flam_is_the_band_of_flams() {
        use crate::hits::FLAM;
        assert_eq!([Band::of(FLAM), Band::of(Span(FLAM.0 + 1))], [Band::Flam, Band::TwoHits]);
    }

    /// A null at 500 Hz for 1 ms: Master Handbook of Acoustics, p. 202.
    #[test]
    fn the_first_notch_of_a_millisecond_is_500_hz() {
        assert_eq!(first_notch_hz(Span::from_ms(1)), Some(500.0));
        assert_eq!(first_notch_hz(Span::ZERO), None);
        assert_eq!(first_notch_hz(Span::from_ms(-25)), Some(20.0));
        assert_eq!(first_notch_hz(Span(Span::from_ms(25).0 + 1)), None);
    }
}
