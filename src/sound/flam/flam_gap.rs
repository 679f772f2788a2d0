use crate::patch::quantity::{self, QuantityError};
use crate::text::nine_places;
use crate::time::{Beat, Span, Tempo, round_half_up};

/// A gap as it was asked for: a time, or a share of a period.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FlamGap {
    /// What was written.
    pub text: String,
    size: Size,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Size {
    Time(Span),
    /// A distance in beats.
    Beats(Beat),
}

/// The longest gap that is taken: beyond, somebody wrote the wrong unit.
const LONGEST_GAP: Span = Span::from_ms(10_000);

/// Why a text is no gap.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SettingError {
    /// No time, or no share.
    #[error(transparent)]
    Quantity(#[from] QuantityError),
    /// A number of a list with a comma in it: what was found, and what was meant.
    #[error("`{0}` has a comma in its number")]
    Comma(String, String),
    /// Longer than 10 s at the slowest tempo.
    #[error("a gap of {} ms is longer than 10 s", nine_places(Beat::new(i128::from(.0.0), i128::from(Span::from_ms(1).0))))]
    TooLong(Span),
}

impl SettingError {
    /// What to do, for after `help: `.
    #[must_use]
    pub fn help(&self) -> String {
        match self {
            Self::Quantity(error) => error.help(),
            Self::Comma(_, meant) => format!("write {meant}: a comma parts one setting from the next"),
            Self::TooLong(_) => "look at the unit: times are written as 5ms or 40us".to_owned(),
        }
    }
}

impl FlamGap {
    /// Reads a time or, with `shares`, a share of a period of so many beats.
    ///
    /// # Errors
    /// See [`SettingError`].
    pub fn parse(text: &str, shares: bool, period: Beat, tempos: &[Tempo]) -> Result<Self, SettingError> {
        let text = text.trim();
        let size = if shares {
            // As on a phase dial: 99 % and −1 % are one setting.
            Size::Beats(period * quantity::phase(quantity::share(text)?))
        } else {
            Size::Time(quantity::whole_time(text)?)
        };
        let setting = Self { text: text.to_owned(), size };
        let slowest = tempos.iter().min().copied().unwrap_or(Tempo::whole(120));
        let gap = setting.gap(slowest);
        if gap.abs() > LONGEST_GAP { Err(SettingError::TooLong(gap)) } else { Ok(setting) }
    }

    /// Reads settings with commas between them.
    ///
    /// # Errors
    /// See [`SettingError`].
    pub fn parse_list(list: &str, shares: bool, period: Beat, tempos: &[Tempo]) -> Result<Vec<Self>, SettingError> {
        if let Some((found, meant)) = quantity::decimal_comma(list) {
            return Err(SettingError::Comma(found, meant));
        }
        list.split(',').map(|text| Self::parse(text, shares, period, tempos)).collect()
    }

    /// The second voice's hit minus the first's.
    #[must_use]
    pub fn gap(&self, tempo: Tempo) -> Span {
        match self.size {
            Size::Time(gap) => gap,
            Size::Beats(beats) => Span(i64::try_from(round_half_up(tempo.exact(beats))).unwrap_or(i64::MAX)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 1 % of a beat is 10 ms at 60 and 5 ms at 120, and of half a beat half of that; 99 % stands at −1 %.
    #[test]
    fn a_share_is_another_gap_at_every_tempo() {
        let tempos = [Tempo::whole(60), Tempo::whole(120)];
        let gaps = |text: &str, period: Beat| {
            let setting = FlamGap::parse(text, true, period, &tempos).expect("a share");
            tempos.map(|t| setting.gap(t).ms())
        };
        assert_eq!(gaps("1%", Beat::from_integer(1)), [10.0, 5.0]);
        assert_eq!(gaps("1 pct", Beat::new(1, 2)), [5.0, 2.5]);
        assert_eq!(gaps(" 99 % ", Beat::from_integer(1)), [-10.0, -5.0]);
        let time = FlamGap::parse("-22ms", false, Beat::from_integer(1), &tempos).expect("a time");
        assert_eq!(tempos.map(|t| time.gap(t).ms()), [-22.0, -22.0]);
    }

    /// The bound itself is taken, at the slowest tempo; a picosecond more is not.
    #[test]
    fn ten_seconds_are_the_longest() {
        let tempos = [Tempo::whole(120), Tempo::whole(6)];
        let of = |text: &str, shares| FlamGap::parse(text, shares, Beat::from_integer(2), &tempos);
        assert!(of("10s", false).is_ok() && of("-10s", false).is_ok() && of("50%", true).is_ok());
        assert_eq!(of("10000000000001ps", false), Err(SettingError::TooLong(Span(10_000_000_000_001))));
        let two = FlamGap::parse("50%", true, Beat::from_integer(3), &tempos).expect_err("15 s");
        assert_eq!(two.to_string(), "a gap of 15000 ms is longer than 10 s");
        let comma = FlamGap::parse_list("1ms,2,5ms", false, Beat::from_integer(1), &tempos).expect_err("a comma");
        assert_eq!(comma.help(), "write 2.5ms: a comma parts one setting from the next");
    }
}
