//! Quantities within their bounds: plain ones, and those that differ from one device to the next, as `{ min, typ, max }` on a
//! data sheet or as `{ value, tolerance }`.

use crate::patch::check::fault::Fault;
use crate::patch::check::node::{Node, Value};
use crate::patch::check::view::check_keys;
use crate::patch::model::{Dimension, Measure, Nought, Share, Tolerance, show_span_whole, show_value};
use crate::patch::read::fields::{Fields, Got, Told};
use crate::patch::read::quantity::{self, QuantityError};
use crate::time::{Span, round_half_up};
use num_rational::Ratio;

/// What quantities are read as, and what limits are worked out with.
pub(in crate::patch) trait Limits: Copy + PartialOrd {
    /// Nothing.
    const NOUGHT: Self;
    /// Reads one with its unit.
    fn read(dimension: Dimension, text: &str) -> Result<Self, QuantityError>;
    /// One for people, so that what is past a bound does not read like the bound itself.
    fn shown(self, dimension: Dimension) -> String;
    /// Half way from this to a larger one.
    fn middle(self, most: Self) -> Self;
    /// A share of its size.
    fn part(self, share: Share) -> Self;
    fn plus(self, other: Self) -> Self;
    fn minus(self, other: Self) -> Self;
}

impl Limits for Span {
    const NOUGHT: Self = Self::ZERO;

    fn read(_: Dimension, text: &str) -> Result<Self, QuantityError> {
        quantity::whole_time(text)
    }

    fn shown(self, _: Dimension) -> String {
        show_span_whole(self)
    }

    fn middle(self, most: Self) -> Self {
        rounded(Ratio::new(i128::from(self.0) + i128::from(most.0), 2))
    }

    fn part(self, share: Share) -> Self {
        rounded(share * i128::from(self.0).abs())
    }

    fn plus(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }

    fn minus(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}

fn rounded(ps: Ratio<i128>) -> Span {
    Span(i64::try_from(round_half_up(ps)).unwrap_or(i64::MAX))
}

impl Limits for f64 {
    const NOUGHT: Self = 0.0;

    fn read(dimension: Dimension, text: &str) -> Result<Self, QuantityError> {
        quantity::number(dimension, text)
    }

    fn shown(self, dimension: Dimension) -> String {
        show_value(dimension, self)
    }

    fn middle(self, most: Self) -> Self {
        self + (most - self) / 2.0
    }

    fn part(self, share: Share) -> Self {
        self.abs() * (*share.numer() as Self / *share.denom() as Self)
    }

    fn plus(self, other: Self) -> Self {
        self + other
    }

    fn minus(self, other: Self) -> Self {
        self - other
    }
}

/// Whether a value lies within the bounds of its measure.
pub(in crate::patch) fn fits<T: Limits>(value: T, measure: &Measure) -> bool {
    let end = |text: &str| T::read(measure.dimension, text).ok();
    let above = end(measure.least.text).is_some_and(|least| value > least || (!measure.least.open && value == least));
    above && end(measure.most.text).is_some_and(|most| value < most || (!measure.most.open && value == most))
}

/// A quantity without limits of its own.
pub(in crate::patch) fn plain<T: Limits>(fields: &mut Fields<'_, '_>, key: &str, measure: &Measure) -> Got<T> {
    match fields.quantity(key, |text| T::read(measure.dimension, text))? {
        Some(value) if !fits(value, measure) => {
            let written = fields.written(key);
            Err(fields.out_of_bounds(key, &written, measure.expected))
        }
        value => Ok(value),
    }
}

/// A quantity with or without limits.
pub(in crate::patch) fn sheet<T: Limits + PartialEq>(
    fields: &mut Fields<'_, '_>,
    key: &str,
    measure: &Measure,
) -> Got<Tolerance<T>> {
    match fields.get(key) {
        Some((name, Node { value: Value::Table(table), .. })) => {
            fields.within(name, table, |inner| limited(inner, measure)).map(Some)
        }
        _ => Ok(plain(fields, key, measure)?.map(Tolerance::plain)),
    }
}

fn limited<T: Limits>(inner: &mut Fields<'_, '_>, measure: &Measure) -> Result<Tolerance<T>, Told> {
    const SHEET: [&str; 3] = ["min", "typ", "max"];
    const AROUND: [&str; 2] = ["value", "tolerance"];
    let known = [&SHEET[..], &AROUND].concat();
    check_keys(&inner.section.fields, &known, "a value with limits", inner.faults);
    let first = |keys: &[&str]| keys.iter().find_map(|key| inner.get(key)).map(|(key, _)| key);
    match (first(&SHEET), first(&AROUND)) {
        (Some(one), Some(other)) => {
            let message = format!("{} has both `{}` and `{}`", inner.what, one.text, other.text);
            let fault = Fault::new(other.at.clone(), message)
                .label("expected one way to say how far it may be off")
                .context(one.at.clone(), "the other is here")
                .help(help(measure));
            Err(inner.tell(fault))
        }
        (None, Some(_)) => around(inner, measure),
        _ => of_sheet(inner, measure),
    }
}

fn help(measure: &Measure) -> String {
    let (usual, more) = measure.examples;
    match measure.nought {
        Nought::Possible => {
            format!(
                "write {{ typ = \"{usual}\", max = \"{more}\" }} as on a data sheet, or {{ value = \"{usual}\", tolerance = \"5 %\" }}"
            )
        }
        Nought::Impossible => {
            format!(
                "write {{ min = \"{usual}\", max = \"{more}\" }} as on a data sheet, or {{ value = \"{usual}\", tolerance = \"5 %\" }}"
            )
        }
        Nought::Arbitrary => format!("write {{ value = \"{usual}\", tolerance = \"{more}\" }}"),
    }
}

fn of_sheet<T: Limits>(inner: &mut Fields<'_, '_>, measure: &Measure) -> Result<Tolerance<T>, Told> {
    let [min, typ, max] = ["min", "typ", "max"].map(|key| plain(inner, key, measure));
    let max = inner.needed("max", max, &help(measure));
    let min = match min? {
        Some(min) => min,
        None if measure.nought == Nought::Possible => T::NOUGHT,
        None => return Err(inner.missing("min", &format!("write a `min` too: {}", measure.expected))),
    };
    let (typ, max) = (typ?, max?);
    let sheet = Tolerance { min, typ: typ.unwrap_or(min.middle(max)), max };
    for (low, high, is_above) in [("min", "typ", sheet.min > sheet.typ), ("typ", "max", sheet.typ > sheet.max)] {
        // Without a usual value it is the other two that are the wrong way round.
        let (low, high) = if typ.is_none() { ("min", "max") } else { (low, high) };
        if is_above {
            let (found, most) = (inner.written(low), inner.written(high));
            let at = inner.get(low).map_or(inner.at.clone(), |(_, node)| node.at.clone());
            let fault = Fault::new(at, format!("{} has a `{low}` above its `{high}`", inner.what))
                .label(format!("found {found}, expected at most {most}"))
                .help("write min, typ and max in rising order");
            return Err(inner.tell(fault));
        }
    }
    Ok(sheet)
}

fn around<T: Limits>(inner: &mut Fields<'_, '_>, measure: &Measure) -> Result<Tolerance<T>, Told> {
    let value: Got<T> = plain(inner, "value", measure);
    let value = inner.needed("value", value, &help(measure));
    // A tolerance is a share, or a quantity of the same kind: then it ends in that one's unit.
    let written = inner.written("tolerance");
    let is_share = measure.nought != Nought::Arbitrary
        && (written.ends_with("pct") || !written.ends_with(|c: char| c.is_alphabetic()));
    let off = if is_share {
        let share = inner.quantity("tolerance", quantity::share);
        let share = inner.needed("tolerance", share, &help(measure))?;
        let value = value?;
        (value, value.part(share), share < Ratio::from_integer(0))
    } else {
        let off: Got<T> = inner.quantity("tolerance", |text| T::read(measure.dimension, text));
        let off = inner.needed("tolerance", off, &help(measure))?;
        (value?, off, off < T::NOUGHT)
    };
    let (value, off, negative) = off;
    if negative {
        return Err(inner.out_of_bounds("tolerance", &written, "a tolerance that is not negative"));
    }
    let sheet = Tolerance { min: value.minus(off), typ: value, max: value.plus(off) };
    for (limit, name) in [(sheet.min, "least"), (sheet.max, "most")] {
        if !fits(limit, measure) {
            let message =
                format!("with its `tolerance` {} may be {} at {name}", inner.what, limit.shown(measure.dimension));
            let at = inner.get("tolerance").map_or(inner.at.clone(), |(_, node)| node.at.clone());
            let fault = Fault::new(at, message)
                .label(format!("found {written}, expected to stay within {}", measure.expected))
                .help("write a smaller tolerance");
            return Err(inner.tell(fault));
        }
    }
    Ok(sheet)
}
