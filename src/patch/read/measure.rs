//! The quantities that stages are set to: how each is read and shown, and which values of it are possible.

use crate::patch::read::fields::{LONGEST_TIME_S, show_time};
use crate::patch::read::quantity::{self, QuantityError};
use crate::time::{PS_PER_SECOND, PS_PER_US, Span};
use num_rational::Ratio;

/// A quantity and its bounds.
pub(in crate::patch) struct Measure<T> {
    pub(in crate::patch) read: fn(&str) -> Result<T, QuantityError>,
    pub(in crate::patch) show: fn(T) -> String,
    /// Whether such a value is possible, and within what can be calculated with.
    pub(in crate::patch) fits: fn(T) -> bool,
    /// What is possible, for after "expected".
    pub(in crate::patch) expected: &'static str,
    pub(in crate::patch) nought: Nought,
    /// A usual value and a larger one (of a quantity with an arbitrary nought: a tolerance), for examples.
    pub(in crate::patch) examples: (&'static str, &'static str),
}

/// What 0 is on the scale of a quantity.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::patch) enum Nought {
    /// A possible value: the least where a data sheet gives none.
    Possible,
    /// An impossible value.
    Impossible,
    /// Any point of the scale: a share of a value means nothing.
    Arbitrary,
}

const LONGEST: i64 = LONGEST_TIME_S * PS_PER_SECOND;
/// The longest time constant and the slowest envelope, in seconds. A curve gets within a rounding error of its aim in
/// under 50 time constants, so that a crossing stays within the longest time.
pub(in crate::patch) const LONGEST_CURVE_S: i64 = 10;
const LONGEST_CURVE: i64 = LONGEST_CURVE_S * PS_PER_SECOND;

pub(in crate::patch) const TIME: Measure<Span> = Measure {
    read: quantity::whole_time,
    show: show_span_whole,
    fits: |t| (0..=LONGEST).contains(&t.0),
    expected: "a time from 0 s to 600 s",
    nought: Nought::Possible,
    examples: ("120 ns", "250 ns"),
};
pub(in crate::patch) const WIDTH: Measure<Span> = Measure {
    fits: |t| (1..=LONGEST).contains(&t.0),
    expected: "a time from 1 ps to 600 s",
    nought: Nought::Impossible,
    examples: ("5 ms", "6 ms"),
    ..TIME
};
/// The time of an envelope.
pub(in crate::patch) const CURVE: Measure<Span> = Measure {
    fits: |t| (1..=LONGEST_CURVE).contains(&t.0),
    expected: "a time from 1 ps to 10 s",
    nought: Nought::Impossible,
    examples: ("5 ms", "6 ms"),
    ..TIME
};
/// From one look of a loop to the next.
pub(in crate::patch) const PERIOD: Measure<Span> = Measure {
    fits: |t| (PS_PER_US..=LONGEST).contains(&t.0),
    expected: "a time from 1 us to 600 s",
    nought: Nought::Impossible,
    examples: ("500 us", "600 us"),
    ..TIME
};
/// A standard deviation: it is cut at four of them, either way.
pub(in crate::patch) const SCATTER: Measure<Span> = Measure {
    fits: |t| (0..=LONGEST / 8).contains(&t.0),
    expected: "a time from 0 s to 75 s",
    examples: ("1 ms", "2 ms"),
    ..TIME
};
pub(in crate::patch) const RESISTANCE: Measure<f64> = Measure {
    read: quantity::resistance,
    show: show_resistance,
    fits: |r| r > 0.0 && r <= 1e9,
    expected: "a resistance above 0 ohm, at most 1000 Mohm",
    nought: Nought::Impossible,
    examples: ("10 kohm", "11 kohm"),
};
/// Of what drives an input: none is possible.
pub(in crate::patch) const SOURCE: Measure<f64> = Measure {
    fits: |r| (0.0..=1e9).contains(&r),
    expected: "a resistance from 0 ohm to 1000 Mohm",
    nought: Nought::Possible,
    ..RESISTANCE
};
pub(in crate::patch) const CAPACITANCE: Measure<f64> = Measure {
    read: quantity::capacitance,
    show: show_capacitance,
    fits: |c| c > 0.0 && c <= 1.0,
    expected: "a capacitance above 0 F, at most 1 F",
    nought: Nought::Impossible,
    examples: ("100 nF", "110 nF"),
};
pub(in crate::patch) const VOLTAGE: Measure<f64> = Measure {
    read: quantity::voltage,
    show: show_voltage,
    fits: |v| (-1000.0..=1000.0).contains(&v),
    expected: "a voltage from -1000 V to 1000 V",
    nought: Nought::Arbitrary,
    examples: ("2.5 V", "0.2 V"),
};
/// A voltage at which something switches.
pub(in crate::patch) const THRESHOLD: Measure<f64> =
    Measure { nought: Nought::Impossible, examples: ("2.4 V", "2.6 V"), ..VOLTAGE };
/// A voltage that is measured from 0 upwards, and its threshold.
pub(in crate::patch) const PEAK: Measure<f64> = Measure {
    fits: |v| v > 0.0 && v <= 1000.0,
    expected: "a voltage above 0 V, at most 1000 V",
    nought: Nought::Impossible,
    examples: ("8 V", "9 V"),
    ..VOLTAGE
};
pub(in crate::patch) const DISTANCE: Measure<f64> = Measure {
    read: quantity::length,
    show: show_length,
    fits: |d| (0.0..=10_000.0).contains(&d),
    expected: "a distance from 0 m to 10000 m",
    nought: Nought::Possible,
    examples: ("3 m", "4 m"),
};
pub(in crate::patch) const STROKE: Measure<f64> = Measure {
    fits: |d| d > 0.0 && d <= 10.0,
    expected: "a length above 0 m, at most 10 m",
    nought: Nought::Impossible,
    examples: ("8 mm", "9 mm"),
    ..DISTANCE
};
pub(in crate::patch) const SPEED: Measure<f64> = Measure {
    read: quantity::speed,
    show: |v| format!("{} m/s", short(v)),
    fits: |v| v > 0.0 && v <= 1000.0,
    expected: "a speed above 0 m/s, at most 1000 m/s",
    nought: Nought::Impossible,
    examples: ("2 m/s", "2.5 m/s"),
};
pub(in crate::patch) const TEMPERATURE: Measure<f64> = Measure {
    read: quantity::temperature,
    show: |t| format!("{} C", short(t)),
    fits: |t| (-100.0..=100.0).contains(&t),
    expected: "a temperature from -100 C to 100 C, where air is a gas and its law holds",
    nought: Nought::Arbitrary,
    examples: ("20 C", "3 C"),
};
pub(in crate::patch) const DRIFT: Measure<f64> = Measure {
    read: quantity::drift,
    show: |d| format!("{} ppm", short(d * 1e6)),
    fits: |d| (0.0..=0.1).contains(&d),
    expected: "a drift from 0 ppm to 100000 ppm",
    nought: Nought::Possible,
    examples: ("30 ppm", "50 ppm"),
};

pub(in crate::patch) fn show_span(span: Span) -> String {
    if span == Span::ZERO { "0 s".to_owned() } else { show_time(Ratio::from_integer(i128::from(span.0))) }
}

/// The same with every picosecond: rounded, what is past a bound could read like the bound itself.
fn show_span_whole(span: Span) -> String {
    let units =
        [("s", PS_PER_SECOND), ("ms", PS_PER_US * 1000), ("us", PS_PER_US), ("ns", PS_PER_US / 1000), ("ps", 1)];
    let Some((unit, per)) = units.into_iter().find(|(_, per)| span.0.abs() >= *per) else { return "0 s".to_owned() };
    let (sign, ps) = (if span.0 < 0 { "-" } else { "" }, span.0.unsigned_abs());
    let (whole, part) = (ps / per.unsigned_abs(), ps % per.unsigned_abs());
    let digits = per.ilog10() as usize;
    let text = format!("{sign}{whole}.{part:0digits$}");
    format!("{} {unit}", text.trim_end_matches('0').trim_end_matches('.'))
}

pub(in crate::patch) fn show_voltage(volts: f64) -> String {
    scaled(volts, &[(1.0, "V"), (1e-3, "mV")])
}

fn show_resistance(ohms: f64) -> String {
    scaled(ohms, &[(1e6, "Mohm"), (1e3, "kohm"), (1.0, "ohm")])
}

fn show_capacitance(farads: f64) -> String {
    scaled(farads, &[(1.0, "F"), (1e-6, "uF"), (1e-9, "nF"), (1e-12, "pF")])
}

fn show_length(metres: f64) -> String {
    scaled(metres, &[(1.0, "m"), (1e-2, "cm"), (1e-3, "mm")])
}

/// In the largest unit that leaves a whole part; the units go down, and one of them is the base.
fn scaled(value: f64, units: &[(f64, &str)]) -> String {
    let fits = |(scale, _): &&(f64, &str)| if value == 0.0 { *scale == 1.0 } else { value.abs() >= *scale };
    let (scale, unit) = units.iter().find(fits).or(units.last()).copied().unwrap_or((1.0, ""));
    format!("{} {unit}", short(value / scale))
}

/// At most six decimals.
fn short(value: f64) -> String {
    let text = format!("{value:.6}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_time_is_shown_with_every_picosecond() {
        for (ps, text) in [
            (0, "0 s"),
            (-1, "-1 ps"),
            (1_500, "1.5 ns"),
            (600_000_000_000_001, "600.000000000001 s"),
            (-40_000_000, "-40 us"),
            (123_456_789_012, "123.456789012 ms"),
        ] {
            assert_eq!(show_span_whole(Span(ps)), text);
        }
    }
}
