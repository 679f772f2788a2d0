use super::{Align, Table};
use crate::judge::Judged;
use crate::judge::{Breakdown, Cause, PathPoint, Reached};
use crate::patch::Rig;
use crate::time::{PS_PER_SECOND, Span};
use serde::Serialize;
use std::fmt::Write;

/// What adds to a lateness, in words: `the phase of slow`.
#[must_use]
pub(super) fn cause(rig: &Rig, sequencer: usize, cause: Cause) -> String {
    let it = &rig.sequencers[sequencer];
    let output = &rig.outputs[rig.origin(&it.clock)].name;
    match cause {
        Cause::Counting => "counts off the one".to_owned(),
        Cause::Phase => format!("phase of {output}"),
        Cause::Shift => format!("shift of {output}"),
        Cause::Output => format!("phase and shift of {output}"),
        Cause::Clock => "jitter of the clock".to_owned(),
        Cause::Way(_, PathPoint::Stage(stage)) => rig.stages[stage].name.clone(),
        Cause::Way(_, PathPoint::Sequencer(other)) => format!("through {}", rig.sequencers[other].name),
        Cause::WholeWay => "the way to its clock".to_owned(),
        Cause::Inputs => match it.poll {
            Some(stage) => format!("looks at its inputs ({})", rig.stages[stage].name),
            None => "reads its inputs".to_owned(),
        },
        Cause::Reset => "the reset plays".to_owned(),
        Cause::Latency => "latency".to_owned(),
        Cause::Offset => "offset".to_owned(),
        Cause::Out(_, stage) => format!("{}, behind it", rig.stages[stage].name),
    }
}

/// Microseconds with as many decimals as it takes, at most six.
fn us(time: Span) -> String {
    let sign = if time.0 < 0 { "−" } else { "" };
    let (whole, part) = (time.0.abs() / 1_000_000, time.0.abs() % 1_000_000);
    let text = format!("{sign}{whole}.{part:06}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn share(of: Span, period: Option<Span>) -> String {
    let Some(period) = period.filter(|p| p.0 > 0) else { return String::new() };
    let percent = of.0 as f64 / period.0 as f64 * 100.0;
    let text = format!("{percent:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    format!("{} %", text.strip_prefix('-').map_or_else(|| text.to_owned(), |rest| format!("−{rest}")))
}

/// Where the time goes at one tempo: for each sequencer what adds to its lateness, and the sum.
#[must_use]
pub(super) fn block(judged: &Judged<'_>) -> String {
    let rig = &judged.variant.rig;
    let all: Vec<(usize, &Breakdown)> =
        judged.breakdown.iter().enumerate().filter_map(|(n, b)| Some((n, b.as_ref()?))).collect();
    if judged.breakdown.is_empty() {
        return String::new();
    }
    let mut out = format!("  from the beat to the sound, at {}:\n", judged.tempo);
    let mut table = Table::new(&[
        ("", Align::Left),
        ("what adds", Align::Left),
        ("least µs", Align::Right),
        ("usual µs", Align::Right),
        ("most µs", Align::Right),
        ("of the period", Align::Right),
    ]);
    for (n, breakdown) in all {
        let row = |name: &str, what: String, reached: &Reached| {
            let [least, usual, most] = [reached.least, reached.typical, reached.most].map(us);
            [name.to_owned(), what, least, usual, most, share(reached.typical, breakdown.period)]
        };
        let mut name = rig.sequencers[n].name.as_str();
        if breakdown.parts.is_empty() {
            table.row([name.to_owned(), "nothing: every hit is on its beat".to_owned()]);
            continue;
        }
        for (what, reached) in &breakdown.parts {
            table.row(row(name, cause(rig, n, *what), reached));
            name = "";
        }
        table.row(row("", "in all".to_owned(), &breakdown.total));
    }
    for line in table.render().lines() {
        let _ = writeln!(out, "  {line}");
    }
    let silent = judged.breakdown.iter().enumerate().filter(|(_, b)| b.is_none());
    for (n, _) in silent {
        let why = match judged.verdict.standings[n].hits {
            0 => "never plays",
            _ => "is not taken apart: something changes on its way",
        };
        let _ = writeln!(out, "    {} {why}", rig.sequencers[n].name);
    }
    out
}

/// The same for programs.
#[derive(Serialize, Debug)]
pub(super) struct BreakdownRow {
    sequencer: String,
    hits: usize,
    period_us: Option<f64>,
    parts: Vec<PartRow>,
    total_us: ReachedRow,
}

#[derive(Serialize, Debug)]
struct PartRow {
    what: String,
    us: ReachedRow,
}

#[derive(Serialize, Debug)]
struct ReachedRow {
    least: f64,
    usual: f64,
    most: f64,
}

impl From<&Reached> for ReachedRow {
    fn from(reached: &Reached) -> Self {
        let us = |t: Span| t.0 as f64 * 1e6 / PS_PER_SECOND as f64;
        Self { least: us(reached.least), usual: us(reached.typical), most: us(reached.most) }
    }
}

pub(super) fn rows(judged: &Judged<'_>) -> Option<Vec<BreakdownRow>> {
    let rig = &judged.variant.rig;
    let row = |(n, breakdown): (usize, &Option<Breakdown>)| {
        let breakdown = breakdown.as_ref()?;
        let part = |(what, us): &(Cause, Reached)| PartRow { what: cause(rig, n, *what), us: us.into() };
        Some(BreakdownRow {
            sequencer: rig.sequencers[n].name.clone(),
            hits: breakdown.hits,
            period_us: breakdown.period.map(|p| p.0 as f64 * 1e6 / PS_PER_SECOND as f64),
            parts: breakdown.parts.iter().map(part).collect(),
            total_us: (&breakdown.total).into(),
        })
    };
    (!judged.breakdown.is_empty()).then(|| judged.breakdown.iter().enumerate().filter_map(row).collect())
}
