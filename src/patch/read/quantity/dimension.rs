//! What is measured: units, their spellings, and how large a number may be.

use super::QuantityError;
use crate::patch::check::show::shown;
use crate::patch::decimal::Decimal;

/// What a dimension calls itself, and its units: a spelling and the power of ten that leads to the base.
pub(super) struct Dimension {
    /// For "is not a unit of …".
    pub(super) noun: &'static str,
    pub(super) expected: &'static str,
    pub(super) units: &'static [(&'static str, i32)],
    /// The unit to suggest where there is none.
    pub(super) usual: &'static str,
    /// The largest, in the base and in words: far past any use, and safe to calculate with.
    pub(super) most: (f64, &'static str),
}

/// Exponents lead to seconds. Both code points of `µ` are known: the micro sign and the Greek letter.
pub(super) const TIME: Dimension = Dimension {
    noun: "time",
    expected: "a time with its unit, such as \"5 ms\", \"40 us\" or \"2 s\"",
    units: &[("ms", -3), ("us", -6), ("\u{b5}s", -6), ("\u{3bc}s", -6), ("s", 0), ("ns", -9), ("ps", -12)],
    usual: "ms",
    most: (8_640_000.0, "100 days"),
};
/// Exponents lead to parts of 1.
pub(super) const SHARE: Dimension = Dimension {
    noun: "shares",
    expected: "a share in per cent, such as \"1 %\"",
    units: &[("%", -2), ("pct", -2)],
    usual: "%",
    most: (10_000.0, "1000000 %"),
};
/// Exponents lead to hertz.
pub(super) const FREQUENCY: Dimension = Dimension {
    noun: "frequency",
    expected: "a frequency with its unit, such as \"120 Hz\" or \"1.5 kHz\"",
    units: &[("Hz", 0), ("kHz", 3)],
    usual: "Hz",
    most: (1e6, "1000 kHz"),
};
pub(super) const LEVEL: Dimension = Dimension {
    noun: "level",
    expected: "a level in decibels, such as \"-6 dB\"",
    units: &[("dB", 0)],
    usual: "dB",
    most: (1e6, "1000000 dB"),
};
/// Exponents lead to metres.
pub(super) const LENGTH: Dimension = Dimension {
    noun: "length",
    expected: "a length with its unit, such as \"3.4 m\", \"12 cm\" or \"8 mm\"",
    units: &[("m", 0), ("cm", -2), ("mm", -3)],
    usual: "m",
    most: (1e6, "1000000 m"),
};
/// Exponents lead to ohms. Both code points of `Ω` are known: the Greek letter and the ohm sign.
pub(super) const RESISTANCE: Dimension = Dimension {
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
pub(super) const CAPACITANCE: Dimension = Dimension {
    noun: "capacitance",
    expected: "a capacitance with its unit, such as \"100 nF\" or \"4.7 uF\"",
    units: &[("nF", -9), ("uF", -6), ("\u{b5}F", -6), ("\u{3bc}F", -6), ("pF", -12), ("F", 0)],
    usual: "nF",
    most: (1e6, "1000000 F"),
};
/// Exponents lead to volts.
pub(super) const VOLTAGE: Dimension = Dimension {
    noun: "voltage",
    expected: "a voltage with its unit, such as \"5 V\" or \"700 mV\"",
    units: &[("V", 0), ("mV", -3)],
    usual: "V",
    most: (1e6, "1000000 V"),
};
/// Exponents lead to metres a second.
pub(super) const SPEED: Dimension = Dimension {
    noun: "speed",
    expected: "a speed in metres a second, such as \"2 m/s\"",
    units: &[("m/s", 0)],
    usual: "m/s",
    most: (1e6, "1000000 m/s"),
};
/// Degrees Celsius: with the degree sign, without it, or as one character.
pub(super) const TEMPERATURE: Dimension = Dimension {
    noun: "temperature",
    expected: "a temperature in degrees Celsius, such as \"20 C\"",
    units: &[("C", 0), ("\u{b0}C", 0), ("\u{2103}", 0)],
    usual: "C",
    most: (1e6, "1000000 C"),
};
/// Exponents lead to parts of 1.
pub(super) const DRIFT: Dimension = Dimension {
    noun: "drift",
    expected: "a drift in parts per million, such as \"30 ppm\"",
    units: &[("ppm", -6), ("%", -2)],
    usual: "ppm",
    most: (1e6, "1000000000000 ppm"),
};

pub(super) fn read(text: &str, dimension: &Dimension) -> Result<(Decimal, i32), QuantityError> {
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

pub(super) fn too_much(text: &str, dimension: &Dimension) -> QuantityError {
    let message = format!("`{}` is out of bounds: at most {}", shown(text), dimension.most.1);
    QuantityError::new(message, None, dimension.expected)
}

/// In the base of its dimension, to the nearest `f64`.
pub(super) fn float(text: &str, dimension: &Dimension) -> Result<f64, QuantityError> {
    let (number, exponent) = read(text, dimension)?;
    let value = number.float(exponent);
    if value.abs() <= dimension.most.0 { Ok(value) } else { Err(too_much(text, dimension)) }
}
