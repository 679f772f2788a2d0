//! The quantities of a patch: which values of each are possible.

use super::{Bound, Dimension, Measure, Nought};

/// The longest time in a patch, in seconds. A path of 256 stages, each this slow, still ends within the days that an instant has
/// left after the longest piece.
pub(in crate::patch) const LONGEST_TIME_S: i64 = 600;
/// The longest time constant and the slowest envelope, in seconds. A curve gets within a rounding error of its aim in
/// under 50 time constants, so that a crossing stays within the longest time.
pub(in crate::patch) const LONGEST_CURVE_S: i64 = 10;

/// Any time from nothing on.
pub(in crate::patch) const TIME: Measure = Measure {
    dimension: Dimension::Time,
    least: Bound::at("0 s"),
    most: Bound::at("600 s"),
    expected: "a time from 0 s to 600 s",
    nought: Nought::Possible,
    examples: ("120 ns", "250 ns"),
};
/// A time that is longer than nothing.
pub(in crate::patch) const WIDTH: Measure = Measure {
    least: Bound::at("1 ps"),
    expected: "a time from 1 ps to 600 s",
    nought: Nought::Impossible,
    examples: ("5 ms", "6 ms"),
    ..TIME
};
/// A nudge, either way.
pub(in crate::patch) const NUDGE: Measure = Measure {
    least: Bound::at("-600 s"),
    expected: "a time from -600 s to 600 s",
    nought: Nought::Arbitrary,
    examples: ("5 ms", "1 ms"),
    ..TIME
};
/// A nudge of the clock, exact to a femtosecond.
pub(in crate::patch) const SHIFT: Measure =
    Measure { dimension: Dimension::ExactTime, expected: "at most 600 s", ..NUDGE };
/// The time of an envelope.
pub(in crate::patch) const CURVE: Measure =
    Measure { most: Bound::at("10 s"), expected: "a time from 1 ps to 10 s", ..WIDTH };
/// From one look of a loop to the next.
pub(in crate::patch) const PERIOD: Measure = Measure {
    least: Bound::at("1 us"),
    expected: "a time from 1 us to 600 s",
    examples: ("500 us", "600 us"),
    ..WIDTH
};
/// A standard deviation: it is cut at four of them, either way.
pub(in crate::patch) const SCATTER: Measure =
    Measure { most: Bound::at("75 s"), expected: "a time from 0 s to 75 s", examples: ("1 ms", "2 ms"), ..TIME };
/// Of a resistor.
pub(in crate::patch) const RESISTANCE: Measure = Measure {
    dimension: Dimension::Resistance,
    least: Bound::past("0 ohm"),
    most: Bound::at("1000 Mohm"),
    expected: "a resistance above 0 ohm, at most 1000 Mohm",
    nought: Nought::Impossible,
    examples: ("10 kohm", "11 kohm"),
};
/// Of what drives an input: none is possible.
pub(in crate::patch) const SOURCE: Measure = Measure {
    least: Bound::at("0 ohm"),
    expected: "a resistance from 0 ohm to 1000 Mohm",
    nought: Nought::Possible,
    ..RESISTANCE
};
/// Of a capacitor.
pub(in crate::patch) const CAPACITANCE: Measure = Measure {
    dimension: Dimension::Capacitance,
    least: Bound::past("0 F"),
    most: Bound::at("1 F"),
    expected: "a capacitance above 0 F, at most 1 F",
    nought: Nought::Impossible,
    examples: ("100 nF", "110 nF"),
};
/// Any voltage.
pub(in crate::patch) const VOLTAGE: Measure = Measure {
    dimension: Dimension::Voltage,
    least: Bound::at("-1000 V"),
    most: Bound::at("1000 V"),
    expected: "a voltage from -1000 V to 1000 V",
    nought: Nought::Arbitrary,
    examples: ("2.5 V", "0.2 V"),
};
/// A voltage at which something switches.
pub(in crate::patch) const THRESHOLD: Measure =
    Measure { nought: Nought::Impossible, examples: ("2.4 V", "2.6 V"), ..VOLTAGE };
/// A voltage that is measured from 0 upwards, and its threshold.
pub(in crate::patch) const PEAK: Measure = Measure {
    least: Bound::past("0 V"),
    expected: "a voltage above 0 V, at most 1000 V",
    nought: Nought::Impossible,
    examples: ("8 V", "9 V"),
    ..VOLTAGE
};
/// From a drum to an ear.
pub(in crate::patch) const DISTANCE: Measure = Measure {
    dimension: Dimension::Length,
    least: Bound::at("0 m"),
    most: Bound::at("10000 m"),
    expected: "a distance from 0 m to 10000 m",
    nought: Nought::Possible,
    examples: ("3 m", "4 m"),
};
/// Of what strikes.
pub(in crate::patch) const STROKE: Measure = Measure {
    least: Bound::past("0 m"),
    most: Bound::at("10 m"),
    expected: "a length above 0 m, at most 10 m",
    nought: Nought::Impossible,
    examples: ("8 mm", "9 mm"),
    ..DISTANCE
};
/// At which something lands.
pub(in crate::patch) const SPEED: Measure = Measure {
    dimension: Dimension::Speed,
    least: Bound::past("0 m/s"),
    most: Bound::at("1000 m/s"),
    expected: "a speed above 0 m/s, at most 1000 m/s",
    nought: Nought::Impossible,
    examples: ("2 m/s", "2.5 m/s"),
};
/// Of air.
pub(in crate::patch) const TEMPERATURE: Measure = Measure {
    dimension: Dimension::Temperature,
    least: Bound::at("-100 C"),
    most: Bound::at("100 C"),
    expected: "a temperature from -100 C to 100 C, where air is a gas and its law holds",
    nought: Nought::Arbitrary,
    examples: ("20 C", "3 C"),
};
/// How far a clock may be off, either way.
pub(in crate::patch) const DRIFT: Measure = Measure {
    dimension: Dimension::Drift,
    least: Bound::at("0 ppm"),
    most: Bound::at("100000 ppm"),
    expected: "a drift from 0 ppm to 100000 ppm",
    nought: Nought::Possible,
    examples: ("30 ppm", "50 ppm"),
};
/// Samples a second.
pub(in crate::patch) const SAMPLE_RATE: Measure = Measure {
    dimension: Dimension::Frequency,
    least: Bound::at("1 kHz"),
    most: Bound::at("768 kHz"),
    expected: "a whole number of hertz from 1 kHz to 768 kHz",
    nought: Nought::Impossible,
    examples: ("48 kHz", "96 kHz"),
};
/// A level in the mix.
pub(in crate::patch) const LEVEL: Measure = Measure {
    dimension: Dimension::Level,
    least: Bound::at("-100 dB"),
    most: Bound::at("24 dB"),
    expected: "a level from -100 dB to 24 dB",
    nought: Nought::Arbitrary,
    examples: ("-6 dB", "1 dB"),
};
/// A place between left and right.
pub(in crate::patch) const PAN: Measure = Measure {
    dimension: Dimension::Share,
    least: Bound::at("-100 %"),
    most: Bound::at("100 %"),
    expected: "a share from -100 % (left) to 100 % (right)",
    nought: Nought::Arbitrary,
    examples: ("-50 %", "10 %"),
};
/// A phase: any share, taken round.
pub(in crate::patch) const PHASE: Measure = Measure {
    least: Bound::at("-1000000 %"),
    most: Bound::at("1000000 %"),
    expected: "a share in per cent",
    examples: ("1 %", "1 %"),
    ..PAN
};
/// A part of a period, neither nothing nor all of it.
pub(in crate::patch) const PART: Measure = Measure {
    least: Bound::past("0 %"),
    most: Bound::past("100 %"),
    expected: "a share above 0 % and below 100 %",
    examples: ("50 %", "1 %"),
    ..PAN
};
/// How long a pulse of the clock stays high, exact to a femtosecond. Under a picosecond it could fall at the instant at which it
/// rises.
pub(in crate::patch) const PULSE: Measure =
    Measure { dimension: Dimension::ExactTime, expected: "a time from 1 ps to 600 s", ..WIDTH };
/// A time above nothing, where nothing would say nothing.
pub(in crate::patch) const SOME_TIME: Measure =
    Measure { least: Bound::past("0 s"), expected: "a time above 0 s, at most 600 s", ..WIDTH };
