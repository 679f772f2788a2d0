//! What is measured: units, their spellings, and how large a number may be.

/// What a quantity is a quantity of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dimension {
    /// A time of whole picoseconds.
    Time,
    /// A time that is exact to a femtosecond.
    ExactTime,
    /// A part of a whole.
    Share,
    /// Hertz.
    Frequency,
    /// Decibels.
    Level,
    /// Metres.
    Length,
    /// Ohms.
    Resistance,
    /// Farads.
    Capacitance,
    /// Volts.
    Voltage,
    /// Metres a second.
    Speed,
    /// Degrees Celsius.
    Temperature,
    /// Parts per million.
    Drift,
}

/// What a dimension calls itself, and its units.
#[derive(Debug)]
pub struct Units {
    /// For "is not a unit of …".
    pub noun: &'static str,
    /// What is expected, with an example.
    pub expected: &'static str,
    /// A spelling, and the power of ten that leads to the base.
    pub spelled: &'static [(&'static str, i32)],
    /// The unit to suggest where there is none.
    pub usual: &'static str,
    /// The largest, in the base and in words: far past any use, and safe to calculate with.
    pub most: (f64, &'static str),
}

impl Dimension {
    /// What may be written behind its numbers, and how large they may be.
    #[must_use]
    pub fn units(self) -> &'static Units {
        match self {
            Self::Time | Self::ExactTime => &TIME,
            Self::Share => &SHARE,
            Self::Frequency => &FREQUENCY,
            Self::Level => &LEVEL,
            Self::Length => &LENGTH,
            Self::Resistance => &RESISTANCE,
            Self::Capacitance => &CAPACITANCE,
            Self::Voltage => &VOLTAGE,
            Self::Speed => &SPEED,
            Self::Temperature => &TEMPERATURE,
            Self::Drift => &DRIFT,
        }
    }
}

/// Exponents lead to seconds. Both code points of `µ` are known: the micro sign and the Greek letter.
static TIME: Units = Units {
    noun: "time",
    expected: "a time with its unit, such as \"5 ms\", \"40 us\" or \"2 s\"",
    spelled: &[("ms", -3), ("us", -6), ("\u{b5}s", -6), ("\u{3bc}s", -6), ("s", 0), ("ns", -9), ("ps", -12)],
    usual: "ms",
    most: (8_640_000.0, "100 days"),
};
/// Exponents lead to parts of 1.
static SHARE: Units = Units {
    noun: "shares",
    expected: "a share in per cent, such as \"1 %\"",
    spelled: &[("%", -2), ("pct", -2)],
    usual: "%",
    most: (10_000.0, "1000000 %"),
};
/// Exponents lead to hertz.
static FREQUENCY: Units = Units {
    noun: "frequency",
    expected: "a frequency with its unit, such as \"120 Hz\" or \"1.5 kHz\"",
    spelled: &[("Hz", 0), ("kHz", 3)],
    usual: "Hz",
    most: (1e6, "1000 kHz"),
};
static LEVEL: Units = Units {
    noun: "level",
    expected: "a level in decibels, such as \"-6 dB\"",
    spelled: &[("dB", 0)],
    usual: "dB",
    most: (1e6, "1000000 dB"),
};
/// Exponents lead to metres.
static LENGTH: Units = Units {
    noun: "length",
    expected: "a length with its unit, such as \"3.4 m\", \"12 cm\" or \"8 mm\"",
    spelled: &[("m", 0), ("cm", -2), ("mm", -3)],
    usual: "m",
    most: (1e6, "1000000 m"),
};
/// Exponents lead to ohms. Both code points of `Ω` are known: the Greek letter and the ohm sign.
static RESISTANCE: Units = Units {
    noun: "resistance",
    expected: "a resistance with its unit, such as \"10 kohm\" or \"470 ohm\"",
    spelled: &[
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
static CAPACITANCE: Units = Units {
    noun: "capacitance",
    expected: "a capacitance with its unit, such as \"100 nF\" or \"4.7 uF\"",
    spelled: &[("nF", -9), ("uF", -6), ("\u{b5}F", -6), ("\u{3bc}F", -6), ("pF", -12), ("F", 0)],
    usual: "nF",
    most: (1e6, "1000000 F"),
};
/// Exponents lead to volts.
static VOLTAGE: Units = Units {
    noun: "voltage",
    expected: "a voltage with its unit, such as \"5 V\" or \"700 mV\"",
    spelled: &[("V", 0), ("mV", -3)],
    usual: "V",
    most: (1e6, "1000000 V"),
};
/// Exponents lead to metres a second.
static SPEED: Units = Units {
    noun: "speed",
    expected: "a speed in metres a second, such as \"2 m/s\"",
    spelled: &[("m/s", 0)],
    usual: "m/s",
    most: (1e6, "1000000 m/s"),
};
/// Degrees Celsius: with the degree sign, without it, or as one character.
static TEMPERATURE: Units = Units {
    noun: "temperature",
    expected: "a temperature in degrees Celsius, such as \"20 C\"",
    spelled: &[("C", 0), ("\u{b0}C", 0), ("\u{2103}", 0)],
    usual: "C",
    most: (1e6, "1000000 C"),
};
/// Exponents lead to parts of 1.
static DRIFT: Units = Units {
    noun: "drift",
    expected: "a drift in parts per million, such as \"30 ppm\"",
    spelled: &[("ppm", -6), ("%", -2)],
    usual: "ppm",
    most: (1e6, "1000000000000 ppm"),
};
