//! Numbers with their units, as they are written in a patch and on the command line.
//!
//! A number is a plain decimal (`5`, `-0.25`) with a blank or none before its unit. It has no exponent, no `inf`, no
//! `nan`, and at most 18 digits on each side of the point: what is written is kept exactly, in `i128` fractions, and
//! the bounds here are what makes overflow impossible in the arithmetic of tempo, phase and shift that follows.
//! Without a unit nothing is guessed: `5` could be milliseconds to one reader and per cent to the next.

use super::decimal::Decimal;
use super::model::Share;
use super::show::shown;
use crate::time::{Beat, ExactPs, LONGEST_PIECE_PS, Span};
use num_rational::Ratio;

/// Why a text is not the quantity that was asked for.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{message}")]
pub struct QuantityError {
    /// What was found, in a line that begins in lower case.
    pub message: String,
    /// What was most likely meant, ready to be written instead.
    pub write: Option<String>,
    /// What was expected, with an example.
    pub expected: &'static str,
}

impl QuantityError {
    pub(super) fn new(message: String, write: Option<String>, expected: &'static str) -> Self {
        Self { message, write, expected }
    }

    /// What to do, for after `help: `.
    #[must_use]
    pub fn help(&self) -> String {
        match &self.write {
            Some(write) => format!("write \"{write}\""),
            None => format!("write {}", self.expected),
        }
    }
}

/// What a dimension calls itself, and its units: a spelling and the power of ten that leads to the base.
struct Dimension {
    expected: &'static str,
    units: &'static [(&'static str, i32)],
    /// The unit to suggest where there is none.
    usual: &'static str,
}

/// Exponents lead to seconds. Both code points of `µ` are known: the micro sign and the Greek letter.
const TIME: Dimension = Dimension {
    expected: "a time with its unit, such as \"5 ms\", \"40 us\" or \"2 s\"",
    units: &[("ms", -3), ("us", -6), ("\u{b5}s", -6), ("\u{3bc}s", -6), ("s", 0), ("ns", -9), ("ps", -12)],
    usual: "ms",
};
/// Exponents lead to parts of 1.
const SHARE: Dimension =
    Dimension { expected: "a share in per cent, such as \"1 %\"", units: &[("%", -2), ("pct", -2)], usual: "%" };
/// Exponents lead to hertz.
const FREQUENCY: Dimension = Dimension {
    expected: "a frequency with its unit, such as \"120 Hz\" or \"1.5 kHz\"",
    units: &[("Hz", 0), ("kHz", 3)],
    usual: "Hz",
};
const LEVEL: Dimension =
    Dimension { expected: "a level in decibels, such as \"-6 dB\"", units: &[("dB", 0)], usual: "dB" };
/// Exponents lead to metres.
const DISTANCE: Dimension =
    Dimension { expected: "a distance in metres, such as \"3.4 m\"", units: &[("m", 0)], usual: "m" };

/// The finest that an exact time may be: a femtosecond, in decimals of a second.
const FINEST_TIME: i32 = 15;
/// Picoseconds are 12 decimals of a second.
const PS: i32 = 12;
/// The most decimals of a per cent.
const FINEST_SHARE: u32 = 9;
/// The largest share, in per cent, and the largest of the other dimensions: far past any use, and safe to calculate with.
const LARGEST: i128 = 1_000_000;
/// The largest number on either side of a rate.
pub const LARGEST_RATE: i128 = 10_000;

fn read(text: &str, dimension: &Dimension) -> Result<(Decimal, i32), QuantityError> {
    let (number, unit) = Decimal::split(text, dimension.expected)?;
    if let Some((_, exponent)) = dimension.units.iter().find(|(spelling, _)| *spelling == unit) {
        return Ok((number, *exponent));
    }
    let end = text.trim().len() - unit.len();
    let digits = shown(text.trim()[..end].trim_end());
    let write = |unit: &str| Some(format!("{digits} {unit}"));
    if unit.is_empty() {
        let message = format!("`{digits}` has no unit");
        return Err(QuantityError::new(message, write(dimension.usual), dimension.expected));
    }
    let respelled = dimension.units.iter().find(|(spelling, _)| spelling.eq_ignore_ascii_case(unit));
    let message = format!("`{}` is not a unit of {}", shown(unit), kind(dimension));
    Err(QuantityError::new(message, respelled.and_then(|(spelling, _)| write(spelling)), dimension.expected))
}

fn kind(dimension: &Dimension) -> &'static str {
    match dimension.usual {
        "ms" => "time",
        "%" => "shares",
        "Hz" => "frequency",
        "dB" => "level",
        _ => "distance",
    }
}

fn too_much(text: &str, most: &str, dimension: &Dimension) -> QuantityError {
    QuantityError::new(format!("`{}` is out of bounds: at most {most}", shown(text)), None, dimension.expected)
}

/// A time, exact: `"5 ms"`, `"-40 us"`, `"2 s"`, `"350 ns"`, `"12.5 ps"`. In picoseconds.
///
/// # Errors
/// If it is not a number with a unit of time, is finer than a femtosecond, or is over 100 days.
pub fn time(text: &str) -> Result<ExactPs, QuantityError> {
    let (number, exponent) = read(text, &TIME)?;
    if number.decimals.cast_signed() - exponent > FINEST_TIME {
        let message = format!("`{}` is finer than a femtosecond (0.001 ps)", shown(text));
        return Err(QuantityError::new(message, None, TIME.expected));
    }
    // 10^12 at most: with 36 digits before it, that could pass an i128. So the size is looked at first.
    let power = Ratio::from_integer(10_i128.pow((exponent + PS).unsigned_abs()));
    let longest = Ratio::from_integer(i128::from(LONGEST_PIECE_PS));
    let value = number.ratio();
    if value > longest / power || value < -longest / power {
        return Err(too_much(text, "100 days", &TIME));
    }
    Ok(value * power)
}

/// A time of whole picoseconds: what a stage delays by, latencies, thresholds.
///
/// Finer is refused, not rounded, so that two ways of equal delay meet at equal instants whatever their order.
///
/// # Errors
/// As [`time`], and if it is finer than a picosecond.
pub fn whole_time(text: &str) -> Result<Span, QuantityError> {
    let exact = time(text)?;
    let whole = exact.is_integer().then(|| i64::try_from(*exact.numer()).ok()).flatten();
    whole.map(Span).ok_or_else(|| {
        let message = format!("`{}` is finer than a picosecond", shown(text));
        QuantityError::new(message, None, "a time of whole picoseconds, such as \"40 us\" or \"350 ps\"")
    })
}

/// A time in seconds, to the nearest `f64`: for how a voice sounds, where nothing needs to be exact.
///
/// # Errors
/// As [`time`].
pub fn seconds(text: &str) -> Result<f64, QuantityError> {
    time(text)?;
    let (number, exponent) = read(text, &TIME)?;
    Ok(number.float(exponent))
}

/// A share, exact: `"1 %"`, `"-0.5 %"`, `"12 pct"`; 1/100 is 1 %.
///
/// # Errors
/// If it is not a number of per cent, has more than 9 decimals, or is over a million per cent.
pub fn share(text: &str) -> Result<Share, QuantityError> {
    let (number, _) = read(text, &SHARE)?;
    if number.decimals > FINEST_SHARE {
        let message = format!("`{}` is finer than {FINEST_SHARE} decimals of a per cent", shown(text));
        return Err(QuantityError::new(message, None, SHARE.expected));
    }
    let per_cent = number.ratio();
    if per_cent.numer().abs() > LARGEST * per_cent.denom() {
        return Err(too_much(text, "1000000 %", &SHARE));
    }
    Ok(per_cent / 100)
}

/// A share taken round into −1/2 (not included) to 1/2: 99 % and −1 % of a period are one phase.
#[must_use]
pub fn phase(share: Share) -> Share {
    let (n, d) = (*share.numer(), *share.denom());
    let n = n.rem_euclid(d);
    Ratio::new(if n > d - n { n - d } else { n }, d)
}

/// A frequency in hertz: `"120 Hz"`, `"1.5 kHz"`. Never negative.
///
/// # Errors
/// If it is not a number with a unit of frequency, is negative, or is over a million hertz.
pub fn frequency(text: &str) -> Result<f64, QuantityError> {
    let (number, exponent) = read(text, &FREQUENCY)?;
    if number.negative {
        let message = format!("`{}` is negative", shown(text));
        return Err(QuantityError::new(message, None, FREQUENCY.expected));
    }
    bounded(number.float(exponent), || too_much(text, "1000 kHz", &FREQUENCY))
}

/// A level in decibels: `"-6 dB"`.
///
/// # Errors
/// If it is not a number of decibels, or is over a million.
pub fn level(text: &str) -> Result<f64, QuantityError> {
    let (number, exponent) = read(text, &LEVEL)?;
    bounded(number.float(exponent), || too_much(text, "1000000 dB", &LEVEL))
}

/// A distance in metres, exact: `"3.4 m"`. Never negative.
///
/// # Errors
/// If it is not a number of metres, is negative, or is over a million.
pub fn distance(text: &str) -> Result<Ratio<i128>, QuantityError> {
    let (number, exponent) = read(text, &DISTANCE)?;
    if number.negative {
        let message = format!("`{}` is negative", shown(text));
        return Err(QuantityError::new(message, None, DISTANCE.expected));
    }
    bounded(number.float(exponent), || too_much(text, "1000000 m", &DISTANCE))?;
    Ok(number.ratio())
}

fn bounded(value: f64, error: impl FnOnce() -> QuantityError) -> Result<f64, QuantityError> {
    if value.abs() <= LARGEST as f64 { Ok(value) } else { Err(error()) }
}

/// What a rate looks like, for messages.
const RATE: &str = "a rate such as \"4 per beat\" or \"1 per 8 beats\"";

/// The period in beats of a rate: `M/N` for `"N per M beats"`; `"4 per beat"` is a quarter of a beat.
///
/// # Errors
/// If it is not of that form, or a number is not whole and within 1 to 10,000.
pub fn rate(text: &str) -> Result<Beat, QuantityError> {
    let fail = |message: String, write: Option<String>| QuantityError::new(message, write, RATE);
    let words: Vec<&str> = text.split_whitespace().take(5).collect();
    let (n, m) = match words[..] {
        [n, "per", "beat" | "beats"] => (n, "1"),
        [n, "per", m, "beat" | "beats"] => (n, m),
        [n] if !n.is_empty() && n.len() <= 5 && n.bytes().all(|b| b.is_ascii_digit()) => {
            return Err(fail(format!("`{n}` is not a rate"), Some(format!("{n} per beat"))));
        }
        _ => return Err(fail(format!("`{}` is not a rate", shown(text)), None)),
    };
    let number = |word: &str| -> Result<Decimal, QuantityError> {
        match Decimal::split(word, RATE)? {
            (number, "") => Ok(number),
            _ => Err(fail(format!("`{}` is not a number", shown(word)), None)),
        }
    };
    let (rate_n, rate_m) = (number(n)?, number(m)?);
    for (word, number) in [(n, rate_n), (m, rate_m)] {
        let value = number.ratio();
        if value <= Ratio::from_integer(0) || value > Ratio::from_integer(LARGEST_RATE) {
            return Err(fail(
                format!("`{}` in a rate is out of bounds: 1 to {LARGEST_RATE}, whole numbers", shown(word)),
                None,
            ));
        }
    }
    // Both are at most 10,000 with at most 18 decimals: the quotient is looked at only where it is short.
    if rate_n.decimals + rate_m.decimals > 8 {
        return Err(fail(format!("`{}` is not a whole number", shown(if rate_n.decimals > 0 { n } else { m })), None));
    }
    let period = rate_m.ratio() / rate_n.ratio();
    let (over, under) = (*period.numer(), *period.denom());
    if rate_n.decimals + rate_m.decimals == 0 {
        return Ok(period);
    }
    let fits = over <= LARGEST_RATE && under <= LARGEST_RATE;
    let write = fits.then(|| match over {
        1 => format!("{under} per beat"),
        _ => format!("{under} per {over} beats"),
    });
    Err(fail(format!("`{}` is not a whole number", shown(if rate_n.decimals > 0 { n } else { m })), write))
}
