//! Values as people read them.

use super::{Dimension, Share};
use crate::time::{ExactPs, PS_PER_SECOND, PS_PER_US, Span, round_half_up};
use num_rational::Ratio;

/// A time for people: in the largest unit that leaves a whole part, at most three decimals.
pub(in crate::patch) fn show_time(time: ExactPs) -> String {
    let ps = time.numer().abs() / time.denom();
    let (unit, per) = match ps {
        1_000_000_000_000.. => ("s", 1_000_000_000_000),
        1_000_000_000.. => ("ms", 1_000_000_000),
        1_000_000.. => ("us", 1_000_000),
        1_000.. => ("ns", 1_000),
        _ => ("ps", 1),
    };
    let thousandths = round_half_up(time * Ratio::new(1000, per));
    format!("{} {unit}", decimal(thousandths))
}

/// Thousandths as a decimal without trailing noughts.
pub(in crate::patch) fn decimal(thousandths: i128) -> String {
    let sign = if thousandths < 0 { "-" } else { "" };
    let (whole, part) = (thousandths.abs() / 1000, thousandths.abs() % 1000);
    let text = format!("{sign}{whole}.{part:03}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A share in per cent, to three decimals.
pub(in crate::patch) fn show_share(share: Share) -> String {
    format!("{} %", decimal(round_half_up(share * 100_000)))
}

pub(in crate::patch) fn show_span(span: Span) -> String {
    if span == Span::ZERO { "0 s".to_owned() } else { show_time(Ratio::from_integer(i128::from(span.0))) }
}

/// A time with every picosecond: rounded, what is past a bound could read like the bound itself.
#[must_use]
pub fn show_span_whole(span: Span) -> String {
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

/// A value in the base of its dimension.
pub(in crate::patch) fn show_value(dimension: Dimension, value: f64) -> String {
    match dimension {
        Dimension::Resistance => show_resistance(value),
        Dimension::Capacitance => show_capacitance(value),
        Dimension::Voltage => show_voltage(value),
        Dimension::Length => show_length(value),
        Dimension::Drift => format!("{} ppm", short(value * 1e6)),
        Dimension::Share => format!("{} %", short(value * 1e2)),
        Dimension::Time | Dimension::ExactTime => format!("{} s", short(value)),
        Dimension::Frequency | Dimension::Level | Dimension::Speed | Dimension::Temperature => {
            format!("{} {}", short(value), dimension.units().usual)
        }
    }
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
