//! Numbers with their units, as they are written in a patch and on the command line.
//!
//! A number is a plain decimal (`5`, `-0.25`) with a blank or none before its unit. It has no exponent, no `inf`, no
//! `nan`, and at most 18 digits on each side of the point: what is written is kept exactly, in `i128` fractions, and
//! the bounds here are what makes overflow impossible in the arithmetic of tempo, phase and shift that follows.
//! Without a unit nothing is guessed: `5` could be milliseconds to one reader and per cent to the next.

use crate::patch::check::show::shown;
use crate::patch::decimal::Decimal;
use crate::patch::model::{Dimension, Share, Units};
use crate::time::{ExactPs, LONGEST_PIECE_PS, Span};
use num_rational::Ratio;

mod rate;
mod rate_meant;

pub use rate::rate;
pub use rate_meant::{LARGEST_RATE, counts_bars, rate_meant};

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
    pub(in crate::patch) fn new(message: String, write: Option<String>, expected: &'static str) -> Self {
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

/// The finest that an exact time may be: a femtosecond, in decimals of a second.
const FINEST_TIME: i32 = 15;
/// Picoseconds are 12 decimals of a second.
const PS: i32 = 12;
/// The most decimals of a per cent.
const FINEST_SHARE: u32 = 9;
/// The largest share, in per cent.
const LARGEST_SHARE: i128 = 1_000_000;

/// A time, exact: `"5 ms"`, `"-40 us"`, `"2 s"`, `"350 ns"`, `"12.5 ps"`. In picoseconds.
///
/// # Errors
/// If it is not a number with a unit of time, is finer than a femtosecond, or is over 100 days.
pub fn time(text: &str) -> Result<ExactPs, QuantityError> {
    let (number, exponent) = read(text, Dimension::Time.units())?;
    if number.decimals.cast_signed() - exponent > FINEST_TIME {
        let message = format!("`{}` is finer than a femtosecond (0.001 ps)", shown(text));
        return Err(QuantityError::new(message, None, Dimension::Time.units().expected));
    }
    // 10^12 at most: with 36 digits before it, that could pass an i128. So the size is looked at first.
    let power = Ratio::from_integer(10_i128.pow((exponent + PS).unsigned_abs()));
    let longest = Ratio::from_integer(i128::from(LONGEST_PIECE_PS));
    let value = number.ratio();
    if value > longest / power || value < -longest / power {
        return Err(too_much(text, Dimension::Time.units()));
    }
    Ok(value * power)
}

/// Where a list parted by commas holds a number that was written with one: what was meant, with a point. `2,5 ms` is no list
/// of `2` and `5 ms`, since all have their units.
#[must_use]
pub fn decimal_comma(list: &str) -> Option<(String, String)> {
    let parts: Vec<&str> = list.split(',').map(str::trim).collect();
    let bare = |part: &str| {
        let digits = part.trim_start_matches(['-', '+', '\u{2212}']);
        !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit())
    };
    let goes_on = |part: &str| part.starts_with(|c: char| c.is_ascii_digit());
    let pair = parts.windows(2).find(|pair| bare(pair[0]) && goes_on(pair[1]))?;
    Some((shown(&pair.join(",")), shown(&pair.join("."))))
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
    let (number, exponent) = read(text, Dimension::Time.units())?;
    Ok(number.float(exponent))
}

/// A share, exact: `"1 %"`, `"-0.5 %"`, `"12 pct"`; 1/100 is 1 %.
///
/// # Errors
/// If it is not a number of per cent, has more than 9 decimals, or is over a million per cent.
pub fn share(text: &str) -> Result<Share, QuantityError> {
    let (number, _) = read(text, Dimension::Share.units())?;
    if number.decimals > FINEST_SHARE {
        let message = format!("`{}` is finer than {FINEST_SHARE} decimals of a per cent", shown(text));
        return Err(QuantityError::new(message, None, Dimension::Share.units().expected));
    }
    let per_cent = number.ratio();
    if per_cent.numer().abs() > LARGEST_SHARE * per_cent.denom() {
        return Err(too_much(text, Dimension::Share.units()));
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
    let value = float(text, Dimension::Frequency.units())?;
    if value < 0.0 {
        let message = format!("`{}` is negative", shown(text));
        return Err(QuantityError::new(message, None, Dimension::Frequency.units().expected));
    }
    Ok(value)
}

/// A level in decibels: `"-6 dB"`.
///
/// # Errors
/// If it is not a number of decibels, or is over a million.
pub fn level(text: &str) -> Result<f64, QuantityError> {
    float(text, Dimension::Level.units())
}

/// A length in metres: `"3.4 m"`, `"12 cm"`, `"8 mm"`.
///
/// # Errors
/// If it is not a number with a unit of length, or is over a million metres.
pub fn length(text: &str) -> Result<f64, QuantityError> {
    float(text, Dimension::Length.units())
}

/// A resistance in ohms: `"470 ohm"`, `"10 kΩ"`, `"1 Mohm"`.
///
/// # Errors
/// If it is not a number with a unit of resistance, or is over a million megohms.
pub fn resistance(text: &str) -> Result<f64, QuantityError> {
    float(text, Dimension::Resistance.units())
}

/// A capacitance in farads: `"100 nF"`, `"4.7 uF"`, `"22 pF"`.
///
/// # Errors
/// If it is not a number with a unit of capacitance, or is over a million farads.
pub fn capacitance(text: &str) -> Result<f64, QuantityError> {
    float(text, Dimension::Capacitance.units())
}

/// A voltage in volts: `"5 V"`, `"-700 mV"`.
///
/// # Errors
/// If it is not a number with a unit of voltage, or is over a million volts.
pub fn voltage(text: &str) -> Result<f64, QuantityError> {
    float(text, Dimension::Voltage.units())
}

/// A speed in metres a second: `"2 m/s"`.
///
/// # Errors
/// If it is not a number of metres a second, or is over a million.
pub fn speed(text: &str) -> Result<f64, QuantityError> {
    float(text, Dimension::Speed.units())
}

/// A temperature in degrees Celsius: `"20 C"`, `"-5 °C"`.
///
/// # Errors
/// If it is not a number of degrees Celsius, is below absolute zero, or is over a million.
pub fn temperature(text: &str) -> Result<f64, QuantityError> {
    const ABSOLUTE_ZERO: f64 = -273.15;
    let value = float(text, Dimension::Temperature.units())?;
    if value < ABSOLUTE_ZERO {
        let message = format!("`{}` is below absolute zero, {ABSOLUTE_ZERO} C", shown(text));
        return Err(QuantityError::new(message, None, Dimension::Temperature.units().expected));
    }
    Ok(value)
}

/// How far a clock may be off, in parts of 1: `"30 ppm"`, `"0.01 %"`.
///
/// # Errors
/// If it is not a number of parts per million or of per cent, or is over a million.
pub fn drift(text: &str) -> Result<f64, QuantityError> {
    float(text, Dimension::Drift.units())
}

/// A quantity of any dimension, in its base: seconds, parts of 1, hertz, decibels, metres, ohms, farads, volts, metres a second,
/// degrees Celsius.
///
/// # Errors
/// As the function that is called like the dimension.
pub fn number(dimension: Dimension, text: &str) -> Result<f64, QuantityError> {
    match dimension {
        Dimension::Time | Dimension::ExactTime => seconds(text),
        Dimension::Share => share(text).map(|share| *share.numer() as f64 / *share.denom() as f64),
        Dimension::Frequency => frequency(text),
        Dimension::Temperature => temperature(text),
        Dimension::Level
        | Dimension::Length
        | Dimension::Resistance
        | Dimension::Capacitance
        | Dimension::Voltage
        | Dimension::Speed
        | Dimension::Drift => float(text, dimension.units()),
    }
}

fn read(text: &str, dimension: &Units) -> Result<(Decimal, i32), QuantityError> {
    let (number, unit) = Decimal::split(text, dimension.expected)?;
    if let Some((_, exponent)) = dimension.spelled.iter().find(|(spelling, _)| *spelling == unit) {
        return Ok((number, *exponent));
    }
    let end = text.trim().len() - unit.len();
    let digits = shown(text.trim()[..end].trim_end());
    let write = |unit: &str| Some(format!("{digits} {unit}"));
    if unit.is_empty() {
        let message = format!("`{digits}` has no unit");
        return Err(QuantityError::new(message, write(dimension.usual), dimension.expected));
    }
    // `mohm` may be meant as either of two that are a thousand million apart: nothing is guessed then.
    let mega = |spelling: &str| spelling.starts_with('M') && unit.starts_with('m');
    let respelled = dimension.spelled.iter().find(|(s, _)| s.eq_ignore_ascii_case(unit) && !mega(s));
    let message = format!("`{}` is not a unit of {}", shown(unit), dimension.noun);
    Err(QuantityError::new(message, respelled.and_then(|(spelling, _)| write(spelling)), dimension.expected))
}

fn too_much(text: &str, dimension: &Units) -> QuantityError {
    let message = format!("`{}` is out of bounds: at most {}", shown(text), dimension.most.1);
    QuantityError::new(message, None, dimension.expected)
}

/// In the base of its dimension, to the nearest `f64`.
fn float(text: &str, dimension: &Units) -> Result<f64, QuantityError> {
    let (number, exponent) = read(text, dimension)?;
    let value = number.float(exponent);
    if value.abs() <= dimension.most.0 { Ok(value) } else { Err(too_much(text, dimension)) }
}
