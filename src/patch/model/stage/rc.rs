use super::{Carries, Facts, KindOfStage, StageKind};
use crate::patch::model::given::{About, Conflict, Given, Told, there};
use crate::patch::model::measures::{CAPACITANCE, LONGEST_CURVE_S, RESISTANCE, SOURCE, THRESHOLD, VOLTAGE};
use crate::patch::model::{Keys, Limited, Row, Takes, Tolerance, show_span, show_voltage};
use crate::time::{PS_PER_SECOND, Span};

/// See [`StageKind::Rc`]: v∞ = low + (high − low)·load/(r + source + load), τ = c·((r + source) ∥ load).
#[derive(Clone, Debug, PartialEq)]
pub struct Rc {
    /// Series resistance in ohms.
    pub r: Tolerance<f64>,
    /// Capacitance in farads.
    pub c: Tolerance<f64>,
    /// Voltage of a high input.
    pub high: f64,
    /// Voltage of a low input.
    pub low: f64,
    /// Output resistance of what drives it, in ohms.
    pub source: f64,
    /// Input resistance of what follows, in ohms; infinite for none.
    pub load: f64,
    /// Resistance of a discharge path that works while the input is low (in parallel), in ohms; infinite for none.
    pub discharge: f64,
    /// The next input reads high when the voltage rises through this.
    pub threshold_rise: Tolerance<f64>,
    /// The next input reads low when the voltage falls through this.
    pub threshold_fall: Tolerance<f64>,
}

pub(super) const KIND: KindOfStage = KindOfStage {
    word: "rc",
    keys: Keys {
        what: "an rc stage",
        about: "a slow edge before a threshold, with the charge left over",
        rows: &[
            Row::needed("r", Takes::Limits(&RESISTANCE), "write r = \"10 kohm\"", "the resistor"),
            Row::needed("c", Takes::Limits(&CAPACITANCE), "write c = \"100 nF\"", "the capacitor"),
            // Common practice, no source.
            Row::or("high", Takes::Quantity(&VOLTAGE), "5 V", "the driving voltage while the input is high"),
            Row::or("low", Takes::Quantity(&VOLTAGE), "0 V", "the driving voltage while the input is low"),
            Row::or("source", Takes::Quantity(&SOURCE), "0 ohm", "the output resistance of what drives it"),
            Row::free("load", Takes::Quantity(&RESISTANCE), "none", "the input resistance of what hangs on it"),
            Row::free(
                "discharge",
                Takes::Quantity(&RESISTANCE),
                "none",
                "the resistance of a second way down, open while the input is low",
            ),
            Row::needed(
                "threshold-rise",
                Takes::Limits(&THRESHOLD),
                "write threshold-rise = \"2.5 V\", at which the next input reads high",
                "the voltage at which the next input reads high",
            ),
            Row::free(
                "threshold-fall",
                Takes::Limits(&THRESHOLD),
                "`threshold-rise`",
                "the voltage at which the next input reads low again",
            ),
        ],
        rules: &[],
    },
    carries: Carries::Pulses,
    formula: "v∞ = low + (high − low)·load/(r + source + load), τ = c·((r + source) ∥ load), t = τ·ln((v∞ − v)/(v∞ − threshold))",
    source: "Kirchhoff; τ·ln 2 to one half",
    made,
};

impl Facts for Rc {
    fn limited(&mut self, each: &mut dyn FnMut(Limited<'_>)) {
        each(Limited::Number(&mut self.r));
        each(Limited::Number(&mut self.c));
        each(Limited::Number(&mut self.threshold_rise));
        // A fall comes through the later the lower its threshold is.
        each(Limited::Turned(&mut self.threshold_fall));
    }

    fn is_late(&self) -> bool {
        let series = self.r.min + self.source;
        let parallel = 1.0 / (1.0 / series + 1.0 / self.load + 1.0 / self.discharge);
        let (rise, fall) = (self.threshold_rise, self.threshold_fall);
        let gap = (rise.min - fall.min).min(rise.typ - fall.typ).min(rise.max - fall.max);
        // An exponential is steepest where it begins: at most its whole way in a time constant.
        self.c.min * parallel * 1e12 * gap / (self.high - self.low) >= super::APART_PS
    }
}

fn made(given: &mut dyn Given) -> Result<StageKind, Told> {
    let (r, c) = (given.numbers("r"), given.numbers("c"));
    let [high, low, source] = ["high", "low", "source"].map(|key| given.number(key));
    let [load, discharge] = ["load", "discharge"].map(|key| given.number(key));
    let (rise, fall) = (given.numbers("threshold-rise"), given.numbers("threshold-fall"));
    let (r, c, high, low, source) = (there(r)?, there(c)?, there(high)?, there(low)?, there(source)?);
    let [load, discharge] = [load?, discharge?].map(|ohms| ohms.unwrap_or(f64::INFINITY));
    let (threshold_rise, fall) = (there(rise)?, fall?);
    let threshold_fall = fall.unwrap_or(threshold_rise);
    let rc = Rc { r, c, high, low, source, load, discharge, threshold_rise, threshold_fall };
    possible(given, &rc)?;
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

fn possible(given: &mut dyn Given, rc: &Rc) -> Result<(), Told> {
    if rc.high <= rc.low {
        let key = if given.has("high") { "high" } else { "low" };
        let (found, low) = (show_voltage(rc.high), show_voltage(rc.low));
        let found = format!("{found} for a high input and {low} for a low one");
        return Err(given.tell(Conflict::together(
            key,
            "never rises",
            &found,
            "`high` above `low`",
            "write a larger `high` or a smaller `low`",
        )));
    }
    let slowest = slowest(rc);
    if slowest > LONGEST_CURVE_S as f64 {
        // Up to a year in picoseconds fits; what is shown past it is the bound of the parts.
        let found = show_span(Span((slowest.min(9e6) * PS_PER_SECOND as f64) as i64));
        let expected = format!("at most {LONGEST_CURVE_S} s");
        let help = "write a smaller `c` or `r`: the time constant is c·((r + source) ∥ load)";
        return Err(given.tell(Conflict::together("c", "has too long a time constant", &found, &expected, help)));
    }
    let (rise, fall) = (rc.threshold_rise, rc.threshold_fall);
    if fall.typ > rise.typ || fall.min > rise.min || fall.max > rise.max {
        let expected = format!("at most {}, the `threshold-rise`", limits(rise));
        let help = "an input that reads high above one voltage reads low below the same or a lower one";
        let message = "has its `threshold-fall` above its `threshold-rise`";
        return Err(given.tell(Conflict::together("threshold-fall", message, &limits(fall), &expected, help)));
    }
    let top = Tolerance { min: highest(rc, rc.r.max), typ: highest(rc, rc.r.typ), max: highest(rc, rc.r.min) };
    if rise.typ >= top.typ {
        let expected = format!("less than {}, the highest voltage that it reaches", show_voltage(top.typ));
        let help = "lower `threshold-rise`, `r` or `source`, or raise `high` or `load`: \
                    the highest is low + (high − low)·load/(r + source + load)";
        let found = show_voltage(rise.typ);
        return Err(given.tell(Conflict::together("threshold-rise", "never reads high", &found, &expected, help)));
    }
    if fall.typ <= rc.low {
        let key = if given.has("threshold-fall") { "threshold-fall" } else { "threshold-rise" };
        let expected = format!("more than {}, the lowest voltage that it reaches", show_voltage(rc.low));
        let found = show_voltage(fall.typ);
        return Err(given.tell(Conflict::together(
            key,
            "never reads low again",
            &found,
            &expected,
            "raise the threshold or lower `low`",
        )));
    }
    if rise.max >= top.min {
        let label = format!(
            "at its limits the threshold is {}, and the highest voltage {}",
            show_voltage(rise.max),
            show_voltage(top.min)
        );
        warn(given, "threshold-rise", "may never read high", label);
    }
    if fall.min <= rc.low {
        let label = format!(
            "at its limits the threshold is {}, and the lowest voltage {}",
            show_voltage(fall.min),
            show_voltage(rc.low)
        );
        warn(given, "threshold-fall", "may never read low again", label);
    }
    Ok(())
}

fn limits(sheet: Tolerance<f64>) -> String {
    if sheet.is_plain() {
        return show_voltage(sheet.typ);
    }
    format!("{} ({} to {})", show_voltage(sheet.typ), show_voltage(sheet.min), show_voltage(sheet.max))
}

fn warn(given: &mut dyn Given, key: &'static str, message: &str, label: String) {
    let help = "such a device lets nothing through: write closer limits, or choose another threshold";
    given.warn(Conflict::new(About::Value(key), message, label, help));
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Voltage divider and parallel resistance by hand: 10 V over 10 kΩ + 10 kΩ against 20 kΩ.
    #[test]
    fn a_load_divides_the_voltage_and_shortens_the_time() {
        let plain = Tolerance::plain;
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
