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
    /// For "is not a unit of …".
    noun: &'static str,
    expected: &'static str,
    units: &'static [(&'static str, i32)],
    /// The unit to suggest where there is none.
    usual: &'static str,
    /// The largest, in the base and in words: far past any use, and safe to calculate with.
    most: (f64, &'static str),
}

/// Exponents lead to seconds. Both code points of `µ` are known: the micro sign and the Greek letter.
const TIME: Dimension = Dimension {
    noun: "time",
    expected: "a time with its unit, such as \"5 ms\", \"40 us\" or \"2 s\"",
    units: &[("ms", -3), ("us", -6), ("\u{b5}s", -6), ("\u{3bc}s", -6), ("s", 0), ("ns", -9), ("ps", -12)],
    usual: "ms",
    most: (8_640_000.0, "100 days"),
};
/// Exponents lead to parts of 1.
const SHARE: Dimension = Dimension {
    noun: "shares",
    expected: "a share in per cent, such as \"1 %\"",
    units: &[("%", -2), ("pct", -2)],
    usual: "%",
    most: (10_000.0, "1000000 %"),
};
/// Exponents lead to hertz.
const FREQUENCY: Dimension = Dimension {
    noun: "frequency",
    expected: "a frequency with its unit, such as \"120 Hz\" or \"1.5 kHz\"",
    units: &[("Hz", 0), ("kHz", 3)],
    usual: "Hz",
    most: (1e6, "1000 kHz"),
};
const LEVEL: Dimension = Dimension {
    noun: "level",
    expected: "a level in decibels, such as \"-6 dB\"",
    units: &[("dB", 0)],
    usual: "dB",
    most: (1e6, "1000000 dB"),
};
/// Exponents lead to metres.
const LENGTH: Dimension = Dimension {
    noun: "length",
    expected: "a length with its unit, such as \"3.4 m\", \"12 cm\" or \"8 mm\"",
    units: &[("m", 0), ("cm", -2), ("mm", -3)],
    usual: "m",
    most: (1e6, "1000000 m"),
};
/// Exponents lead to ohms. Both code points of `Ω` are known: the Greek letter and the ohm sign.
const RESISTANCE: Dimension = Dimension {
    noun: "resistance",
    expected: "a resistance with its unit, such as \"10 kohm\" or \"470 ohm\"",
    units: &[
        ("ohm", 0),
        ("\u{3a9}", 0),
        ("\u{2126}", 0),
        ("kohm", 3),
        ("k\u{3a9}", 3),
        ("k\u{2126}", 3),
        ("Mohm", 6),
        ("M\u{3a9}", 6),
        ("M\u{2126}", 6),
    ],
    usual: "ohm",
    most: (1e12, "1000000 Mohm"),
};
/// Exponents lead to farads.
const CAPACITANCE: Dimension = Dimension {
    noun: "capacitance",
    expected: "a capacitance with its unit, such as \"100 nF\" or \"4.7 uF\"",
    units: &[("nF", -9), ("uF", -6), ("\u{b5}F", -6), ("\u{3bc}F", -6), ("pF", -12), ("F", 0)],
    usual: "nF",
    most: (1e6, "1000000 F"),
};
/// Exponents lead to volts.
const VOLTAGE: Dimension = Dimension {
    noun: "voltage",
    expected: "a voltage with its unit, such as \"5 V\" or \"700 mV\"",
    units: &[("V", 0), ("mV", -3)],
    usual: "V",
    most: (1e6, "1000000 V"),
};
/// Exponents lead to metres a second.
const SPEED: Dimension = Dimension {
    noun: "speed",
    expected: "a speed in metres a second, such as \"2 m/s\"",
    units: &[("m/s", 0)],
    usual: "m/s",
    most: (1e6, "1000000 m/s"),
};
/// Degrees Celsius: with the degree sign, without it, or as one character.
const TEMPERATURE: Dimension = Dimension {
    noun: "temperature",
    expected: "a temperature in degrees Celsius, such as \"20 C\"",
    units: &[("C", 0), ("\u{b0}C", 0), ("\u{2103}", 0)],
    usual: "C",
    most: (1e6, "1000000 C"),
};
/// Exponents lead to parts of 1.
const DRIFT: Dimension = Dimension {
    noun: "drift",
    expected: "a drift in parts per million, such as \"30 ppm\"",
    units: &[("ppm", -6), ("%", -2)],
    usual: "ppm",
    most: (1e6, "1000000000000 ppm"),
};

/// The finest that an exact time may be: a femtosecond, in decimals of a second.
const FINEST_TIME: i32 = 15;
/// Picoseconds are 12 decimals of a second.
const PS: i32 = 12;
/// The most decimals of a per cent.
const FINEST_SHARE: u32 = 9;
/// The largest share, in per cent.
const LARGEST_SHARE: i128 = 1_000_000;
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
    // `mohm` may be meant as either of two that are a thousand million apart: nothing is guessed then.
    let mega = |spelling: &str| spelling.starts_with('M') && unit.starts_with('m');
    let respelled = dimension.units.iter().find(|(s, _)| s.eq_ignore_ascii_case(unit) && !mega(s));
    let message = format!("`{}` is not a unit of {}", shown(unit), dimension.noun);
    Err(QuantityError::new(message, respelled.and_then(|(spelling, _)| write(spelling)), dimension.expected))
}

fn too_much(text: &str, dimension: &Dimension) -> QuantityError {
    let message = format!("`{}` is out of bounds: at most {}", shown(text), dimension.most.1);
    QuantityError::new(message, None, dimension.expected)
}

/// In the base of its dimension, to the nearest `f64`.
fn float(text: &str, dimension: &Dimension) -> Result<f64, QuantityError> {
    let (number, exponent) = read(text, dimension)?;
    let value = number.float(exponent);
    if value.abs() <= dimension.most.0 { Ok(value) } else { Err(too_much(text, dimension)) }
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
        return Err(too_much(text, &TIME));
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
    if per_cent.numer().abs() > LARGEST_SHARE * per_cent.denom() {
        return Err(too_much(text, &SHARE));
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
    let value = float(text, &FREQUENCY)?;
    if value < 0.0 {
        let message = format!("`{}` is negative", shown(text));
        return Err(QuantityError::new(message, None, FREQUENCY.expected));
    }
    Ok(value)
}

/// A level in decibels: `"-6 dB"`.
///
/// # Errors
/// If it is not a number of decibels, or is over a million.
pub fn level(text: &str) -> Result<f64, QuantityError> {
    float(text, &LEVEL)
}

/// A length in metres: `"3.4 m"`, `"12 cm"`, `"8 mm"`.
///
/// # Errors
/// If it is not a number with a unit of length, or is over a million metres.
pub fn length(text: &str) -> Result<f64, QuantityError> {
    float(text, &LENGTH)
}

/// A resistance in ohms: `"470 ohm"`, `"10 kΩ"`, `"1 Mohm"`.
///
/// # Errors
/// If it is not a number with a unit of resistance, or is over a million megohms.
pub fn resistance(text: &str) -> Result<f64, QuantityError> {
    float(text, &RESISTANCE)
}

/// A capacitance in farads: `"100 nF"`, `"4.7 uF"`, `"22 pF"`.
///
/// # Errors
/// If it is not a number with a unit of capacitance, or is over a million farads.
pub fn capacitance(text: &str) -> Result<f64, QuantityError> {
    float(text, &CAPACITANCE)
}

/// A voltage in volts: `"5 V"`, `"-700 mV"`.
///
/// # Errors
/// If it is not a number with a unit of voltage, or is over a million volts.
pub fn voltage(text: &str) -> Result<f64, QuantityError> {
    float(text, &VOLTAGE)
}

/// A speed in metres a second: `"2 m/s"`.
///
/// # Errors
/// If it is not a number of metres a second, or is over a million.
pub fn speed(text: &str) -> Result<f64, QuantityError> {
    float(text, &SPEED)
}

/// A temperature in degrees Celsius: `"20 C"`, `"-5 °C"`.
///
/// # Errors
/// If it is not a number of degrees Celsius, is below absolute zero, or is over a million.
pub fn temperature(text: &str) -> Result<f64, QuantityError> {
    const ABSOLUTE_ZERO: f64 = -273.15;
    let value = float(text, &TEMPERATURE)?;
    if value < ABSOLUTE_ZERO {
        let message = format!("`{}` is below absolute zero, {ABSOLUTE_ZERO} C", shown(text));
        return Err(QuantityError::new(message, None, TEMPERATURE.expected));
    }
    Ok(value)
}

/// How far a clock may be off, in parts of 1: `"30 ppm"`, `"0.01 %"`.
///
/// # Errors
/// If it is not a number of parts per million or of per cent, or is over a million.
pub fn drift(text: &str) -> Result<f64, QuantityError> {
    float(text, &DRIFT)
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
        _ => return Err(fail(format!("`{}` is not a rate", shown(text)), note(text))),
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

/// What to write for a note value such as `1/8`, of a whole note, as musicians call it.
fn note(text: &str) -> Option<String> {
    let (over, under) = text.trim().split_once('/')?;
    let number = |word: &str| word.parse::<i64>().ok().filter(|n| (1..=64).contains(n));
    let (over, under) = (number(over)?, number(under)?);
    let period = Ratio::new(4 * over, under);
    Some(match (*period.numer(), *period.denom()) {
        (1, n) => format!("{n} per beat"),
        (m, n) => format!("{n} per {m} beats"),
    })
}
