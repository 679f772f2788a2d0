use super::{Beat, ExactPs, Instant, round_half_up};
use crate::text::{Decimal, DecimalFault, Notation, decimal, shown};
use num_rational::Ratio;
use std::fmt;
use std::str::FromStr;

/// A tempo in quarter notes a minute: the exact decimal that was written, 1 to 1000 with at most 6 decimals.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Tempo {
    /// Millionths of a quarter note a minute.
    micro: u64,
}

/// The faults for which a text is no tempo.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum TempoError {
    /// Not a plain decimal.
    #[error("`{}` is not a tempo: write quarter notes a minute, such as 120 or 97.5", shown(.0))]
    NotANumber(String),
    /// Under 1 or over 1000.
    #[error("a tempo of {} is out of bounds: 1 to 1000 quarter notes a minute", shown(.0))]
    OutOfBounds(String),
    /// More than 6 decimals.
    #[error("a tempo of {} is finer than 6 decimals", shown(.0))]
    TooFine(String),
}

/// Most decimals of a tempo.
const PLACES: u32 = 6;
const MICRO: u64 = 1_000_000;
/// Picoseconds in a minute times the millionths that a tempo counts in.
const PS_MICRO_PER_MINUTE: i128 = 60 * 1_000_000_000_000 * MICRO as i128;

impl Tempo {
    /// The tempo of a piece of which nothing is said: 120.
    pub const USUAL: Self = Self { micro: 120 * MICRO };

    /// A tempo of whole quarter notes a minute.
    ///
    /// # Panics
    /// If it is not within 1 to 1000.
    #[must_use]
    pub fn whole(bpm: u64) -> Self {
        assert!((1..=1000).contains(&bpm), "a tempo is 1 to 1000");
        Self { micro: bpm * MICRO }
    }

    /// A tempo from millionths of a quarter note a minute; `None` outside 1 to 1000.
    #[must_use]
    pub fn from_micro(micro: u64) -> Option<Self> {
        (MICRO..=1000 * MICRO).contains(&micro).then_some(Self { micro })
    }

    /// Millionths of a quarter note a minute.
    #[must_use]
    pub fn micro(self) -> u64 {
        self.micro
    }

    /// Quarter notes a minute, to the nearest `f64`.
    #[must_use]
    pub fn bpm(self) -> f64 {
        self.micro as f64 / MICRO as f64
    }

    /// Picoseconds in one quarter note, exact.
    #[must_use]
    pub fn beat_ps(self) -> ExactPs {
        // What both share is found in 64 bits.
        let micro = i128::from(self.micro);
        let rest = u64::try_from(PS_MICRO_PER_MINUTE % micro).unwrap_or_default();
        let shared = i128::from(num_integer::gcd(rest, self.micro));
        Ratio::new_raw(PS_MICRO_PER_MINUTE / shared, micro / shared)
    }

    /// How long a distance in beats lasts, exact.
    #[must_use]
    pub fn exact(self, beats: Beat) -> ExactPs {
        beats * self.beat_ps()
    }

    /// The ideal time of a beat, rounded once.
    #[must_use]
    pub fn instant(self, beat: Beat) -> Instant {
        let per = self.beat_ps();
        let plain = beat.numer().checked_mul(*per.numer()).zip(beat.denom().checked_mul(*per.denom()));
        let exact = plain.map_or_else(|| self.exact(beat), |(over, under)| Ratio::new_raw(over, under));
        Instant(i64::try_from(round_half_up(exact)).unwrap_or(i64::MAX))
    }
}

impl FromStr for Tempo {
    type Err = TempoError;

    fn from_str(text: &str) -> Result<Self, TempoError> {
        let t = text.trim();
        let out = || TempoError::OutOfBounds(t.to_owned());
        let number = Decimal::read(t, Notation::Plain).map_err(|fault| match fault {
            DecimalFault::Malformed => TempoError::NotANumber(t.to_owned()),
            DecimalFault::TooLarge => out(),
            DecimalFault::TooFine => TempoError::TooFine(t.to_owned()),
        })?;
        if number.decimals > PLACES {
            return Err(TempoError::TooFine(t.to_owned()));
        }
        let micro = number.scaled(PLACES).and_then(|micro| u64::try_from(micro).ok()).ok_or_else(out)?;
        Self::from_micro(micro).ok_or_else(out)
    }
}

impl fmt::Display for Tempo {
    /// The decimal without trailing noughts: `120`, `97.5`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&decimal(i128::from(self.micro), PLACES))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tempo_is_the_decimal_that_was_written() {
        for (text, shown) in
            [("120", "120"), ("97.50", "97.5"), ("1", "1"), ("1000.000000", "1000"), ("60.000001", "60.000001")]
        {
            assert_eq!(text.parse::<Tempo>().expect(text).to_string(), shown);
        }
        for text in [
            "0",
            "0.999999",
            "1000.000001",
            "1e2",
            "-3",
            "nan",
            "",
            ".5",
            "5.",
            "120.1234567",
            "99999999999999999999999",
        ] {
            assert!(text.parse::<Tempo>().is_err(), "{text}");
        }
    }

    #[test]
    fn what_is_no_tempo_is_shown_short_and_without_what_a_terminal_obeys() {
        let told = |text: &str| text.parse::<Tempo>().expect_err("no tempo").to_string();
        assert!(told("\u{1b}[31m\u{202e}\"9").starts_with("`\\u{1b}[31m\\u{202e}\"9` is not a tempo"));
        assert!(told(&"9".repeat(1_000_000)).len() < 200);
    }

    #[test]
    fn a_quarter_note_at_120_is_half_a_second() {
        assert_eq!(Tempo::whole(120).instant(Beat::from_integer(3)), Instant(1_500_000_000_000));
    }

    /// Against `num-rational`, numbers and all, and against its product, rounded.
    #[test]
    fn a_beat_lasts_a_minute_over_the_tempo() {
        for micro in [1_000_000, 1_000_001, 97_123_457, 120_000_000, 121_300_000, 999_999_937, 1_000_000_000] {
            let tempo = Tempo::from_micro(micro).expect("a tempo");
            let (own, exact) = (tempo.beat_ps(), Ratio::new(60_000_000_000_000_000_000, i128::from(micro)));
            assert_eq!((own.numer(), own.denom()), (exact.numer(), exact.denom()), "{micro}");
            for beat in [Beat::new(1, 3), Beat::new(-7, 4), Beat::new(1_000_001, 24), Beat::from_integer(0)] {
                assert_eq!(i128::from(tempo.instant(beat).0), round_half_up(exact * beat), "{micro} {beat}");
            }
        }
    }
}
