use crate::patch::{Share, quantity, shown};
use crate::time::Span;
use num_rational::Ratio;

/// The most settings of one grid.
pub const MOST_VALUES: usize = 1000;

/// A setting of a grid.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Value {
    /// A delay.
    Delay(Span),
    /// A share of the period.
    Phase(Share),
}

impl Value {
    /// The value as it is shown, and as it stands in the name of a file: `5ms`, `1pct`.
    #[must_use]
    pub fn name(self) -> String {
        match self {
            Self::Delay(delay) => {
                let ms = Ratio::new(i128::from(delay.0), i128::from(Span::from_ms(1).0));
                format!("{}ms", crate::text::nine_places(ms))
            }
            Self::Phase(share) => format!("{}pct", crate::text::nine_places(share * 100)),
        }
    }

    /// The value as people read it: `5 ms`, `1 %`.
    #[must_use]
    pub fn words(self) -> String {
        let name = self.name();
        name.strip_suffix("pct").map_or_else(|| name.replace("ms", " ms"), |n| format!("{n} %"))
    }
}

/// Why a list of settings cannot be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RangeError {
    /// A quantity is none.
    #[error("{0}")]
    Quantity(String),
    /// A number with a comma in it: what was found, and what was meant.
    #[error("`{0}` has a comma in its number")]
    Comma(String, String),
    /// A range without a step.
    #[error("`{}` has no step", shown(.0))]
    NoStep(String),
    /// A step that leads nowhere.
    #[error("`{}` goes nowhere: its step is not above 0", shown(.0))]
    Step(String),
    /// A range that runs downwards.
    #[error("`{}` runs downwards", shown(.0))]
    Backwards(String),
    /// A delay below nothing.
    #[error("`{}` is a negative delay", shown(.0))]
    Negative(String),
    /// A delay that is longer than any in a patch.
    #[error("`{}` is longer than 600 s, the longest delay there is", shown(.0))]
    Long(String),
    /// More than are played at once.
    #[error("more than {MOST_VALUES} settings")]
    TooMany,
}

impl RangeError {
    /// What to do, for after `help: `.
    #[must_use]
    pub fn help(&self) -> String {
        let help = match self {
            Self::Comma(_, meant) => return format!("write {meant}: a comma parts one setting from the next"),
            Self::Quantity(_) | Self::NoStep(_) | Self::Step(_) => {
                "write from..to:step, such as 0ms..30ms:1ms or 0%..5%:0.5%, or a list with commas"
            }
            Self::Backwards(_) => "write the smaller end first",
            Self::Negative(_) => "delay the other box instead, or use a phase, which may be negative",
            Self::Long(_) => "look at the unit: times are written as 5ms or 40us",
            Self::TooMany => "a larger step, or several runs, will do",
        };
        help.to_owned()
    }
}

/// Reads `0ms..30ms:1ms`, `1ms,5ms`, or both mixed; as shares where `phase` is asked for. The end of a range is included if
/// it is hit; equal settings are one.
///
/// # Errors
/// See [`RangeError`].
pub fn values(text: &str, phase: bool) -> Result<Vec<Value>, RangeError> {
    if let Some((found, meant)) = quantity::decimal_comma(text) {
        return Err(RangeError::Comma(found, meant));
    }
    let read = |text: &str| -> Result<Share, RangeError> {
        let error = |e: quantity::QuantityError| RangeError::Quantity(e.to_string());
        if phase {
            return quantity::share(text).map_err(error);
        }
        let time = quantity::whole_time(text).map_err(error)?;
        Ok(Ratio::from_integer(i128::from(time.0)))
    };
    let value = |n: Share| {
        if phase { Value::Phase(n) } else { Value::Delay(Span(i64::try_from(n.to_integer()).unwrap_or(i64::MAX))) }
    };
    let most = Ratio::from_integer(600 * i128::from(crate::time::PS_PER_SECOND));
    let mut all: Vec<Value> = Vec::new();
    let mut add = |n: Share, part: &str| {
        if !phase && n < Ratio::from_integer(0) {
            return Err(RangeError::Negative(part.to_owned()));
        }
        if !phase && n > most {
            return Err(RangeError::Long(part.to_owned()));
        }
        if !all.contains(&value(n)) {
            if all.len() == MOST_VALUES {
                return Err(RangeError::TooMany);
            }
            all.push(value(n));
        }
        Ok(())
    };
    for part in text.split(',').map(str::trim) {
        let Some((from, rest)) = part.split_once("..") else {
            add(read(part)?, part)?;
            continue;
        };
        let (to, step) = rest.split_once(':').ok_or_else(|| RangeError::NoStep(part.to_owned()))?;
        let (from, to, step) = (read(from)?, read(to)?, read(step)?);
        if step <= Ratio::from_integer(0) {
            return Err(RangeError::Step(part.to_owned()));
        }
        if from > to {
            return Err(RangeError::Backwards(part.to_owned()));
        }
        let mut now = from;
        while now <= to {
            add(now, part)?;
            now += step;
        }
    }
    Ok(all)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(text: &str, phase: bool) -> Vec<String> {
        values(text, phase).expect("settings").into_iter().map(Value::name).collect()
    }

    #[test]
    fn the_end_of_a_range_is_included_if_it_is_hit_and_equal_settings_are_one() {
        assert_eq!(names("0ms..2ms:500us", false), ["0ms", "0.5ms", "1ms", "1.5ms", "2ms"]);
        assert_eq!(names("0ms..2ms:1.5ms,0.0015 s, 40us", false), ["0ms", "1.5ms", "0.04ms"]);
        assert_eq!(names("-0.5%..0.5pct:0.5%", true), ["-0.5pct", "0pct", "0.5pct"]);
    }

    #[test]
    fn what_is_no_list_of_settings_is_refused() {
        for text in
            ["", "5", "1ms..2ms", "1ms..2ms:0ms", "2ms..1ms:1ms", "-1ms", "700s", "1%", "0ms..1s:1us", "1ms..x:1ms"]
        {
            assert!(values(text, false).is_err(), "{text}");
        }
        assert_eq!(values("0ms..1s:1us", false), Err(RangeError::TooMany));
        assert!(values("1ms", true).is_err());
        for (text, phase, found, meant) in [
            ("2,5 ms", false, "2,5 ms", "2.5 ms"),
            ("1ms, 2,5ms,7ms", false, "2,5ms", "2.5ms"),
            ("0ms..2,5ms:0,5ms", false, "", ""),
            ("-0,5%", true, "-0,5%", "-0.5%"),
        ] {
            let Err(RangeError::Comma(f, m)) = values(text, phase) else {
                assert!(found.is_empty() && values(text, phase).is_err(), "{text}");
                continue;
            };
            assert_eq!((&*f, &*m), (found, meant), "{text}");
        }
        assert!(values("2ms,5ms", false).is_ok() && values("2 ms, 5ms..6ms:1ms", false).is_ok());
    }
}
