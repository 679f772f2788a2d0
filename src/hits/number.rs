//! Decimals in a file of hits, exact: no float is on the way.

use crate::text::{Decimal, DecimalFault, Notation};
use crate::time::{Beat, Instant, LONGEST_PIECE_PS, PS_PER_SECOND, round_half_up};
use num_rational::Ratio;

/// Decimals of a second that whole picoseconds have.
const SECOND_PLACES: u32 = 12;
/// The decimals that a beat is written with at most.
pub(super) const BEAT_PLACES: u32 = 9;
/// The furthest beat: 100 days at 1000 quarter notes a minute.
pub(super) const LAST_BEAT: i128 = 144_000_000;

/// The faults for which a text is not the number that was asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum NotA {
    /// No plain decimal.
    Decimal,
    /// One with too many digits.
    Fine,
    /// One that is too large.
    Small,
}

impl From<DecimalFault> for NotA {
    fn from(fault: DecimalFault) -> Self {
        match fault {
            DecimalFault::Malformed => Self::Decimal,
            DecimalFault::TooFine => Self::Fine,
            DecimalFault::TooLarge => Self::Small,
        }
    }
}

/// Seconds to a time, rounded once to the nearest picosecond.
pub(super) fn time(text: &str) -> Result<Instant, NotA> {
    let seconds = Decimal::read(text, Notation::Lenient)?;
    let ps = if seconds.decimals <= SECOND_PLACES {
        seconds.scaled(SECOND_PLACES).ok_or(NotA::Small)?
    } else {
        round_half_up(seconds.ratio() * i128::from(PS_PER_SECOND))
    };
    bounded(ps).ok_or(NotA::Small)
}

/// A time within the days that a piece may last, either way.
pub(super) fn bounded(ps: i128) -> Option<Instant> {
    i64::try_from(ps).ok().filter(|ps| ps.abs() <= LONGEST_PIECE_PS).map(Instant)
}

/// A beat: the simplest fraction that is written so in at most nine decimals. `0.666666667` is two thirds, or a hit would
/// never be due together with that of a sequencer.
pub(super) fn beat(text: &str) -> Result<Beat, NotA> {
    let beat = Decimal::read(text, Notation::Lenient)?;
    if beat.decimals > BEAT_PLACES {
        return Err(NotA::Fine);
    }
    let billionths = beat.scaled(BEAT_PLACES).ok_or(NotA::Small)?;
    if billionths.abs() > LAST_BEAT * 10_i128.pow(BEAT_PLACES) {
        return Err(NotA::Small);
    }
    Ok(simplest(billionths))
}

/// The fraction of smallest denominator that is rounded, half up, to so many thousand-millionths.
fn simplest(billionths: i128) -> Beat {
    // Halves go up: a fraction is written so from half a step below, which is included, to half a step above, which is not.
    let scale = 2 * 10_i128.pow(BEAT_PLACES);
    let (low, high) = (Ratio::new(2 * billionths - 1, scale), Ratio::new(2 * billionths + 1, scale));
    between(low, high)
}

/// The fraction of smallest denominator in `low..high`, by the continued fraction that both begin with.
fn between(low: Beat, high: Beat) -> Beat {
    let whole = low.floor();
    if whole == low {
        return low;
    }
    if whole + 1 < high {
        return whole + 1;
    }
    let inner = whole + strictly(low - whole, high - whole);
    if low.denom() < inner.denom() { low } else { inner }
}

/// The fraction of smallest denominator strictly between two within 0 to 1.
fn strictly(low: Beat, high: Beat) -> Beat {
    let (low, high) = (high.recip(), low.recip());
    let next = low.floor() + 1;
    if next < high {
        return next.recip();
    }
    let whole = low.floor();
    let (low, high) = (low - whole, high - whole);
    // `low` may be whole itself: then anything a little above will do, and the simplest of that is one over a whole.
    let inner = if low == Ratio::from_integer(0) { (high.recip().floor() + 1).recip() } else { strictly(low, high) };
    (whole + inner).recip()
}

/// A whole number from 1 to `most`.
pub(super) fn count(text: &str, most: usize) -> Option<usize> {
    let plain = !text.is_empty() && text.len() <= 18 && text.bytes().all(|b| b.is_ascii_digit());
    plain.then(|| text.parse().ok()).flatten().filter(|n| (1..=most).contains(n))
}

/// The most seconds, for messages.
pub(super) const MOST_SECONDS: i64 = LONGEST_PIECE_PS / PS_PER_SECOND;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::text::nine_places as shown;
    use proptest::prelude::*;

    #[test]
    fn seconds_are_exact_to_the_picosecond() {
        let ps = |text| time(text).map(|t| t.0);
        assert_eq!(ps("1.200000000001"), Ok(1_200_000_000_001));
        assert_eq!(ps("-0.000000000005"), Ok(-5));
        assert_eq!(ps("8640000"), Ok(LONGEST_PIECE_PS));
        // Finer is rounded once, halves up.
        assert_eq!([ps("0.0000000000005"), ps("-0.0000000000005"), ps("0.00000000000049")], [Ok(1), Ok(0), Ok(0)]);
        assert_eq!([ps(".5"), ps("5."), ps("+2")], [Ok(500_000_000_000), Ok(5_000_000_000_000), Ok(2_000_000_000_000)]);
        assert_eq!([ps(""), ps("."), ps("1e3"), ps("nan"), ps("1,5"), ps("--1"), ps("0x1")], [Err(NotA::Decimal); 7]);
        assert_eq!([ps("8640000.000000000001"), ps("99999999999999999999")], [Err(NotA::Small); 2]);
        assert_eq!(ps("0.1234567890123456789"), Err(NotA::Fine));
    }

    #[test]
    fn beats_are_the_fractions_that_they_stand_for() {
        for (text, n, d) in [
            ("0.666666667", 2, 3),
            ("-0.333333333", -1, 3),
            ("7.142857143", 50, 7),
            ("0.25", 1, 4),
            ("16", 16, 1),
            ("0.000976563", 1, 1024),
        ] {
            assert_eq!(beat(text), Ok(Beat::new(n, d)), "{text}");
        }
        assert_eq!(beat("0.1234567891"), Err(NotA::Fine));
        assert_eq!(beat("144000001"), Err(NotA::Small));
    }

    proptest! {
        /// Two fractions with denominators under 22,360 are more than 2·10⁻⁹ apart, so that at most one of them is written
        /// so (the distance of n/d and m/e is at least 1/(d·e)).
        #[test]
        fn a_beat_that_was_written_is_read_again(n in -1_000_000_i128..1_000_000, d in 1_i128..22_000) {
            let written = Beat::new(n, d);
            prop_assert_eq!(beat(&shown(written)), Ok(written));
        }

        /// Whatever nine decimals say, they are written again.
        #[test]
        fn nine_decimals_are_written_again(billionths in -2_000_000_000_000_i128..2_000_000_000_000) {
            let text = shown(Beat::new(billionths, 1_000_000_000));
            prop_assert_eq!(shown(beat(&text).expect("a beat")), text);
        }
    }
}
