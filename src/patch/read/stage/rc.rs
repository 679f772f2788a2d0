use super::{plain_or, together};
use crate::patch::check::fault::Fault;
use crate::patch::check::view::View;
use crate::patch::model::{Rc, Sheet, StageKind};
use crate::patch::read::fields::{Fields, Told};
use crate::patch::read::measure::{
    CAPACITANCE, LONGEST_CURVE_S, RESISTANCE, SOURCE, THRESHOLD, VOLTAGE, show_span, show_voltage,
};
use crate::patch::read::sheet::sheet;
use crate::time::{PS_PER_SECOND, Span};

/// A high input unless the stage says so, in volts (common practice, no source).
const HIGH: f64 = 5.0;

pub(super) fn read(fields: &mut Fields<'_, '_>, _: &View<'_>) -> Result<StageKind, Told> {
    let r = sheet(fields, "r", &RESISTANCE);
    let r = fields.needed("r", r, "write r = \"10 kohm\"");
    let c = sheet(fields, "c", &CAPACITANCE);
    let c = fields.needed("c", c, "write c = \"100 nF\"");
    let high = plain_or(fields, "high", &VOLTAGE, HIGH);
    let low = plain_or(fields, "low", &VOLTAGE, 0.0);
    let source = plain_or(fields, "source", &SOURCE, 0.0);
    let load = plain_or(fields, "load", &RESISTANCE, f64::INFINITY);
    let discharge = plain_or(fields, "discharge", &RESISTANCE, f64::INFINITY);
    let rise = sheet(fields, "threshold-rise", &THRESHOLD);
    let rise =
        fields.needed("threshold-rise", rise, "write threshold-rise = \"2.5 V\", at which the next input reads high");
    let fall = sheet(fields, "threshold-fall", &THRESHOLD);
    let (r, c, high, low, source, load, discharge) = (r?, c?, high?, low?, source?, load?, discharge?);
    let (threshold_rise, fall) = (rise?, fall?);
    let threshold_fall = fall.unwrap_or(threshold_rise);
    let rc = Rc { r, c, high, low, source, load, discharge, threshold_rise, threshold_fall };
    possible(fields, &rc)?;
    Ok(StageKind::Rc(rc))
}

/// The voltage that a high input leads to in the end: the divider of `r` and `source` against `load`.
fn highest(rc: &Rc, r: f64) -> f64 {
    let through = if rc.load.is_finite() { rc.load / (r + rc.source + rc.load) } else { 1.0 };
    rc.low + (rc.high - rc.low) * through
}

/// The longest time constant, in seconds.
fn slowest(rc: &Rc) -> f64 {
    let series = rc.r.max + rc.source;
    let parallel = if rc.load.is_finite() { series * rc.load / (series + rc.load) } else { series };
    rc.c.max * parallel
}

fn possible(fields: &mut Fields<'_, '_>, rc: &Rc) -> Result<(), Told> {
    if rc.high <= rc.low {
        let key = if fields.has("high") { "high" } else { "low" };
        let (found, low) = (show_voltage(rc.high), show_voltage(rc.low));
        let found = format!("{found} for a high input and {low} for a low one");
        return Err(together(
            fields,
            key,
            "never rises",
            &found,
            "`high` above `low`",
            "write a larger `high` or a smaller `low`",
        ));
    }
    let slowest = slowest(rc);
    if slowest > LONGEST_CURVE_S as f64 {
        // Up to a year in picoseconds fits; what is shown past it is the bound of the parts.
        let found = show_span(Span((slowest.min(9e6) * PS_PER_SECOND as f64) as i64));
        let expected = format!("at most {LONGEST_CURVE_S} s");
        let help = "write a smaller `c` or `r`: the time constant is c·((r + source) ∥ load)";
        return Err(together(fields, "c", "has too long a time constant", &found, &expected, help));
    }
    let (rise, fall) = (rc.threshold_rise, rc.threshold_fall);
    if fall.typ > rise.typ || fall.min > rise.min || fall.max > rise.max {
        let expected = format!("at most {}, the `threshold-rise`", limits(rise));
        let help = "an input that reads high above one voltage reads low below the same or a lower one";
        let message = "has its `threshold-fall` above its `threshold-rise`";
        return Err(together(fields, "threshold-fall", message, &limits(fall), &expected, help));
    }
    let top = Sheet { min: highest(rc, rc.r.max), typ: highest(rc, rc.r.typ), max: highest(rc, rc.r.min) };
    if rise.typ >= top.typ {
        let expected = format!("less than {}, the highest voltage that it reaches", show_voltage(top.typ));
        let help = "lower `threshold-rise`, `r` or `source`, or raise `high` or `load`: \
                    the highest is low + (high − low)·load/(r + source + load)";
        let found = show_voltage(rise.typ);
        return Err(together(fields, "threshold-rise", "never reads high", &found, &expected, help));
    }
    if fall.typ <= rc.low {
        let key = if fields.has("threshold-fall") { "threshold-fall" } else { "threshold-rise" };
        let expected = format!("more than {}, the lowest voltage that it reaches", show_voltage(rc.low));
        let found = show_voltage(fall.typ);
        return Err(together(
            fields,
            key,
            "never reads low again",
            &found,
            &expected,
            "raise the threshold or lower `low`",
        ));
    }
    if rise.max >= top.min {
        let label = format!(
            "at its limits the threshold is {}, and the highest voltage {}",
            show_voltage(rise.max),
            show_voltage(top.min)
        );
        warn(fields, "threshold-rise", "may never read high", label);
    }
    if fall.min <= rc.low {
        let label = format!(
            "at its limits the threshold is {}, and the lowest voltage {}",
            show_voltage(fall.min),
            show_voltage(rc.low)
        );
        warn(fields, "threshold-fall", "may never read low again", label);
    }
    Ok(())
}

fn limits(sheet: Sheet<f64>) -> String {
    if sheet.is_plain() {
        return show_voltage(sheet.typ);
    }
    format!("{} ({} to {})", show_voltage(sheet.typ), show_voltage(sheet.min), show_voltage(sheet.max))
}

fn warn(fields: &mut Fields<'_, '_>, key: &str, message: &str, label: String) {
    let at = fields.get(key).map_or(fields.at.clone(), |(_, node)| node.at.clone());
    let fault = Fault::new(at, format!("{} {message}", fields.what))
        .label(label)
        .help("such a device lets nothing through: write closer limits, or choose another threshold");
    fields.warnings.push(fault);
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Voltage divider and parallel resistance by hand: 10 V over 10 kΩ + 10 kΩ against 20 kΩ.
    #[test]
    fn a_load_divides_the_voltage_and_shortens_the_time() {
        let plain = Sheet::plain;
        let loaded = Rc {
            r: plain(9000.0),
            c: plain(1e-6),
            high: 10.0,
            low: 0.0,
            source: 1000.0,
            load: 10_000.0,
            discharge: f64::INFINITY,
            threshold_rise: plain(2.0),
            threshold_fall: plain(2.0),
        };
        assert_eq!(highest(&loaded, 9000.0), 5.0);
        assert!((slowest(&loaded) - 5e-3).abs() < 1e-12, "5 kΩ and 1 µF");
        let free = Rc { load: f64::INFINITY, ..loaded };
        assert_eq!(highest(&free, 9000.0), 10.0);
        assert!((slowest(&free) - 1e-2).abs() < 1e-12);
    }
}
