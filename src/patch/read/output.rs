use crate::patch::check::fault::Fault;
use crate::patch::model::measures::{PART, PHASE, PULSE, SHIFT};
use crate::patch::model::{Keys, Output, Row, Rule, Share, Takes, Timing, Width, show_share, show_time};
use crate::patch::read::fields::{Fields, Got, Told};
use crate::patch::read::quantity::{self, QuantityError};
use crate::patch::read::values::check;
use crate::time::{Beat, ExactPs, PS_PER_US, Tempo};
use num_rational::Ratio;

/// The keys of an output.
pub(in crate::patch) static KEYS: Keys = Keys {
    what: "an output",
    about: "an output of the clock",
    rows: &[
        Row::free("rate", Takes::Rate, "`at`", "how often it pulses: `4 per beat`, `1 per 2 beats` and so on"),
        Row::free(
            "at",
            Takes::Words(&["start", "stop", "run"]),
            "`rate`",
            "instead of a rate: one pulse when the clock starts or stops, or a level while it runs",
        ),
        Row::or("phase", Takes::Quantity(&PHASE), "0 %", "a share of this output's own period; later is positive"),
        Row::or("shift", Takes::Quantity(&SHIFT), "0 s", "a time added to every rise; later is positive"),
        Row::or(
            "swing",
            Takes::Quantity(&PART),
            "50 %",
            "where in two periods the second pulse is meant to be; 50 % is straight",
        ),
        Row::free(
            "width",
            Takes::TimeOrShare(&PULSE, &PART),
            "the shorter of 5 ms and half the period",
            "how long a pulse stays high: a time, or a share of the period",
        ),
    ],
    rules: &[Rule::OneOf(&["rate", "at"])],
};
/// The shortest period, in picoseconds: 10 µs.
pub(in crate::patch) const SHORTEST_PERIOD_PS: i64 = 10 * PS_PER_US;
/// The width that an output has unless it says so, where that is shorter than half the period.
const DEFAULT_WIDTH_PS: i64 = 5 * 1000 * PS_PER_US;
/// The most decimals of a per cent in a swing.
const FINEST_SWING: i128 = 10_000;

/// Reads a `[clock.NAME]` table. `fastest` is the fastest tempo that the patch is looked at.
pub(in crate::patch) fn output(fields: &mut Fields<'_, '_>, fastest: Tempo) -> Result<Output, Told> {
    check(fields, &KEYS);
    let name = fields.section.name.text.clone();
    let rate = fields.quantity("rate", quantity::rate);
    let at = fields.choice("at", &[("start", At::Start), ("stop", At::Stop), ("run", At::Run)]);
    let shift = fields.time("shift");
    let width = fields.quantity("width", width).and_then(|w| width_in_bounds(fields, w));
    let timing = match (fields.get("rate"), fields.get("at")) {
        (Some(rate), Some(at)) => {
            let (first, second) = if rate.0.at.start < at.0.at.start { (rate.0, at.0) } else { (at.0, rate.0) };
            let fault = Fault::new(second.at.clone(), format!("{} has both `rate` and `at`", fields.what))
                .label("expected one of the two")
                .context(first.at.clone(), "the other is here")
                .help("keep `rate` for pulses again and again, or at = \"start\" for one pulse when the clock starts");
            Err(fields.tell(fault))
        }
        (None, None) => {
            let fault = Fault::new(fields.at.clone(), format!("{} has neither `rate` nor `at`", fields.what))
                .label("expected one of the two in this table")
                .help("write rate = \"4 per beat\", or at = \"start\" for one pulse when the clock starts");
            Err(fields.tell(fault))
        }
        (None, Some(_)) => at.and_then(|at| at_timing(fields, at.ok_or(Told)?, shift, &width)),
        (Some(_), None) => rate_timing(fields, rate, &width, fastest),
    };
    let (timing, shift, width) = (timing?, shift?, width?);
    Ok(Output {
        name,
        timing,
        width: width.unwrap_or(Width::Default),
        shift: shift.unwrap_or_else(|| ExactPs::from_integer(0)),
    })
}

fn width(text: &str) -> Result<Width, QuantityError> {
    if text.trim_end().ends_with(['%', 't']) {
        return quantity::share(text).map(Width::Share);
    }
    match quantity::time(text) {
        Ok(time) => Ok(Width::Time(time)),
        Err(error) => {
            let expected = "a time or a share of the period, such as \"5 ms\" or \"50 %\"";
            Err(QuantityError { expected, ..error })
        }
    }
}

fn width_in_bounds(fields: &mut Fields<'_, '_>, width: Option<Width>) -> Got<Width> {
    match width {
        Some(Width::Time(time)) => {
            fields.time("width")?;
            // Under a picosecond a pulse could fall at the instant at which it rises.
            if time < Ratio::from_integer(1) {
                return Err(fields.out_of_bounds("width", &show_time(time), "at least 1 ps"));
            }
        }
        Some(Width::Share(share)) if share <= Ratio::from_integer(0) || share >= Ratio::from_integer(1) => {
            return Err(fields.out_of_bounds("width", &show_share(share), "a share above 0 % and below 100 %"));
        }
        _ => {}
    }
    Ok(width)
}

/// The outputs that have no rate.
#[derive(Clone, Copy)]
enum At {
    Start,
    Stop,
    Run,
}

fn at_timing(fields: &mut Fields<'_, '_>, at: At, shift: Got<ExactPs>, width: &Got<Width>) -> Result<Timing, Told> {
    let (does, timing) = match at {
        At::Start => ("pulses once, when the clock starts", Timing::Start),
        At::Stop => ("pulses once, when the clock stops", Timing::Stop),
        At::Run => ("is high while the clock runs", Timing::Run),
    };
    let mut told = Ok(());
    for key in ["phase", "swing"] {
        if let Some((key_at, _)) = fields.get(key) {
            let fault = Fault::new(key_at.at.clone(), format!("{} {does}, so it has no `{key}`", fields.what))
                .label("found a share of a period, expected none")
                .help("take it out, or write a `shift` as a time");
            told = Err(fields.tell(fault));
        }
    }
    if let (At::Run, Some((key, _))) = (at, fields.get("width")) {
        let fault = Fault::new(key.at.clone(), format!("{} {does}, so it has no `width`", fields.what))
            .label("found a width, expected none")
            .help("take it out, or write at = \"start\" for a pulse");
        told = Err(fields.tell(fault));
    } else if let (Ok(Some(Width::Share(_))), Some((_, node))) = (width, fields.get("width")) {
        let message = format!("{} {does}, so its width is no share of a period", fields.what);
        let fault =
            Fault::new(node.at.clone(), message).label("found a share, expected a time").help("write width = \"5 ms\"");
        told = Err(fields.tell(fault));
    }
    if let (At::Stop | At::Run, Ok(Some(shift)), Some((_, node))) = (at, shift, fields.get("shift"))
        && shift < Ratio::from_integer(0)
    {
        let fault = Fault::new(node.at.clone(), format!("{} {does}, so it has no negative `shift`", fields.what))
            .label(format!("found {}, expected 0 s or more", fields.written("shift")))
            .help("write a later shift, or none: nobody knows of a start or a stop before it comes");
        told = Err(fields.tell(fault));
    }
    told.map(|()| timing)
}

fn rate_timing(
    fields: &mut Fields<'_, '_>,
    rate: Got<Beat>,
    width: &Got<Width>,
    fastest: Tempo,
) -> Result<Timing, Told> {
    let phase = fields.quantity("phase", quantity::share);
    let swing = fields.quantity("swing", quantity::share).and_then(|s| swing_in_bounds(fields, s));
    let period = rate?.ok_or(Told)?;
    if fastest.exact(period) < Ratio::from_integer(i128::from(SHORTEST_PERIOD_PS)) {
        let found = format!("a period of {} at {fastest}", show_time(fastest.exact(period)));
        return Err(fields.out_of_bounds("rate", &found, "a period of 10 us or more at every tempo"));
    }
    let (phase, swing) = (phase?.unwrap_or_else(|| Share::from_integer(0)), swing?.unwrap_or(Share::new(1, 2)));
    let shorter = swing.min(Share::from_integer(1) - swing);
    let gap = fastest.exact(period * 2 * shorter);
    if let Ok(width) = width {
        let high = match width {
            Some(Width::Time(time)) => *time,
            Some(Width::Share(share)) => fastest.exact(period * share),
            _ => fastest.exact(period / 2).min(Ratio::from_integer(i128::from(DEFAULT_WIDTH_PS))),
        };
        // Rise and fall are each rounded once: a picosecond between them is certain to survive that.
        if high > gap - 1 {
            return Err(reaches(fields, high, gap, fastest));
        }
        if high < Ratio::from_integer(1) {
            let found = format!("{} at {fastest}", show_time(high));
            return Err(fields.out_of_bounds("width", &found, "at least 1 ps"));
        }
    }
    Ok(Timing::Rate { period, phase: quantity::phase(phase), swing })
}

fn reaches(fields: &mut Fields<'_, '_>, high: ExactPs, gap: ExactPs, fastest: Tempo) -> Told {
    let (key, help) = if fields.has("width") {
        ("width", "write a shorter `width`")
    } else {
        ("swing", "write a `width` that is short enough, or a `swing` nearer to 50 %")
    };
    let at = fields.get(key).map_or(fields.at.clone(), |(_, node)| node.at.clone());
    let message = format!("at {fastest} a width of {} reaches the next rise of {}", show_time(high), fields.what);
    let fault = Fault::new(at, message)
        .label(format!(
            "expected a width of less than {}, the shortest time between two rises at {fastest}",
            show_time(gap)
        ))
        .help(help);
    fields.tell(fault)
}

fn swing_in_bounds(fields: &mut Fields<'_, '_>, swing: Option<Share>) -> Got<Share> {
    let Some(swing) = swing else { return Ok(None) };
    if swing <= Share::from_integer(0) || swing >= Share::from_integer(1) {
        return Err(fields.out_of_bounds("swing", &show_share(swing), "a share above 0 % and below 100 %"));
    }
    if !(swing * 100 * FINEST_SWING).is_integer() {
        return Err(fields.out_of_bounds(
            "swing",
            "more than 4 decimals of a per cent",
            "a share with at most 4 decimals",
        ));
    }
    Ok(Some(swing))
}
