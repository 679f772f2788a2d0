mod reset;

use crate::patch::check::fault::Fault;
use crate::patch::check::node::{Node, Value};
use crate::patch::check::show::{listed, shown};
use crate::patch::check::view::{Kind, Section, View, check_keys, undefined};
use crate::patch::model::{EdgeKind, ResetMode, Sequencer, Step};
use crate::patch::read::fields::{Fields, Got, LONGEST_TIME_S, Told, place_in_text};
use crate::patch::read::path::{out, path};
use crate::patch::read::pattern::{self, MOST_STEPS, PatternError};
use crate::patch::read::quantity;
use crate::patch::read::stage::kind_of;
use crate::time::{PS_PER_SECOND, Span};

pub(in crate::patch) const KEYS: [&str; 24] = [
    "clock",
    "reset",
    "reset-mode",
    "steps",
    "euclidean",
    "voice",
    "latency",
    "offset",
    "out",
    "power-up-step",
    "pulses-per-step",
    "setup-time",
    "on-tie",
    "holdoff",
    "grace",
    "poll",
    "input",
    "gathers",
    "idle-reset",
    "clock-edge",
    "reset-edge",
    "reset-clears-count",
    "sounds-on-reset",
    "one",
];
/// The most pulses that make a step.
const MOST_PULSES: i64 = 10_000;
/// How an edge is spelled.
const EDGES: [(&str, EdgeKind); 2] = [("rise", EdgeKind::Rise), ("fall", EdgeKind::Fall)];

/// A sequencer whose voice is still a name.
pub(in crate::patch) struct Unvoiced {
    /// All but the voice, which is 0.
    pub(in crate::patch) sequencer: Sequencer,
    pub(in crate::patch) voice: String,
}

/// Reads a `[sequencer.NAME]` table.
pub(in crate::patch) fn sequencer(fields: &mut Fields<'_, '_>, view: &View<'_>) -> Result<Unvoiced, Told> {
    check_keys(&fields.section.fields, &KEYS, "a sequencer", fields.faults);
    let clock = path(fields, "clock", view);
    let clock = fields.needed("clock", clock, "write clock = \"OUTPUT\", or [\"OUTPUT\", \"STAGE\"]");
    let steps = steps(fields);
    let voice = voice(fields, view);
    let latency = fields.whole_time("latency");
    let most = steps.as_ref().map_or(MOST_STEPS, Vec::len);
    let power_up_step = fields.whole("power-up-step", 1, i64::try_from(most).unwrap_or(i64::MAX));
    let idle_reset = match fields.whole_time("idle-reset") {
        Ok(Some(Span::ZERO)) => Err(fields.out_of_bounds("idle-reset", "0 s", "more than 0 s")),
        got => got,
    };
    let own_one = fields.choice("one", &[("own", ())]);
    let pulses_per_step = fields.whole("pulses-per-step", 1, MOST_PULSES);
    let clock_edge = fields.choice("clock-edge", &EDGES);
    let input = input(fields);
    let poll = poll(fields, view);
    let gathers = fields.whole_time("gathers");
    let out = out(fields, view);
    let offset = offset(fields);
    let reset = reset::reset(fields, view);
    let (reset, pulses_per_step) = (reset?, pulses_per_step?.and_then(|n| u32::try_from(n).ok()).unwrap_or(1));
    if pulses_per_step == 1 && reset.reset.as_ref().is_some_and(|reset| reset.mode != ResetMode::Ignored) {
        fields.without_effect("reset-clears-count", "it matters only where several pulses make a step");
    }
    let (min_high, min_low) = input?;
    let sequencer = Sequencer {
        reset: reset.reset,
        reset_edge: reset.edge,
        sounds_on_reset: reset.sounds,
        reset_clears_count: reset.clears_count,
        pulses_per_step,
        clock_edge: clock_edge?.unwrap_or(EdgeKind::Rise),
        gathers: gathers?.unwrap_or(Span::ZERO),
        min_high,
        min_low,
        poll: poll?,
        out: out?,
        offset: offset?,
        latency: latency?.unwrap_or(Span::ZERO),
        power_up_step: power_up_step?.and_then(|n| usize::try_from(n).ok()).unwrap_or(1),
        idle_reset: idle_reset?,
        own_one: own_one?.is_some(),
        ..Sequencer::new(&fields.section.name.text, clock?, steps?, 0)
    };
    Ok(Unvoiced { sequencer, voice: voice? })
}

/// The shortest pulse and the shortest gap that the inputs see.
fn input(fields: &mut Fields<'_, '_>) -> Result<(Span, Span), Told> {
    const EXAMPLE: &str = "write input = { min-high = \"1 ms\", min-low = \"1 ms\" }";
    let Some((key, node)) = fields.get("input") else { return Ok((Span::ZERO, Span::ZERO)) };
    let Value::Table(table) = &node.value else {
        return Err(fields.wrong_type("input", node, "a table", EXAMPLE));
    };
    fields.within(key, table, |inner| {
        check_keys(&inner.section.fields, &["min-high", "min-low"], "`input`", inner.faults);
        let (high, low) = (inner.whole_time("min-high"), inner.whole_time("min-low"));
        Ok((high?.unwrap_or(Span::ZERO), low?.unwrap_or(Span::ZERO)))
    })
}

/// The loop that looks at both inputs.
fn poll(fields: &mut Fields<'_, '_>, view: &View<'_>) -> Got<usize> {
    let Some((name, node)) = fields.text("poll", "STAGE")? else { return Ok(None) };
    let is_poll = |section: &Section<'_>| kind_of(section).is_some_and(|kind| kind.word == "poll");
    let polls = || view.of(Kind::Stage).iter().filter(|s| is_poll(s)).map(|s| s.name.text.as_str());
    let Some(index) = view.position(Kind::Stage, name) else {
        let how = format!("define it with [stage.{}] and kind = \"poll\"", shown(name));
        return Err(fields.tell(undefined(node.at.clone(), name, "stage", polls(), &how)));
    };
    match kind_of(&view.of(Kind::Stage)[index]) {
        Some(kind) if kind.word != "poll" => {
            let message = format!("`{}` is {}, and inputs are looked at by a poll stage", shown(name), kind.what);
            let fault = Fault::new(node.at.clone(), message)
                .label(format!("found {}, expected a poll stage", kind.what))
                .help(match listed(polls()).as_str() {
                    "none" => "define one with kind = \"poll\" and period = \"500 us\"".to_owned(),
                    polls => format!("of poll stages there is {polls}"),
                });
            Err(fields.tell(fault))
        }
        _ => Ok(Some(index)),
    }
}

/// A nudge: whole picoseconds, either way.
pub(in crate::patch) fn offset(fields: &mut Fields<'_, '_>) -> Result<Span, Told> {
    let Some(offset) = fields.quantity("offset", quantity::whole_time)? else { return Ok(Span::ZERO) };
    if offset.abs() > Span(LONGEST_TIME_S * PS_PER_SECOND) {
        let written = fields.written("offset");
        return Err(fields.out_of_bounds(
            "offset",
            &written,
            &format!("a time from -{LONGEST_TIME_S} s to {LONGEST_TIME_S} s"),
        ));
    }
    Ok(offset)
}

fn steps(fields: &mut Fields<'_, '_>) -> Result<Vec<Step>, Told> {
    let written = fields.text("steps", "x...x...");
    match (fields.get("steps"), fields.get("euclidean")) {
        (None, None) => {
            let fault = Fault::new(fields.at.clone(), format!("{} has neither `steps` nor `euclidean`", fields.what))
                .label("expected one of the two in this table")
                .help("write steps = \"x...x...\", or euclidean = { hits = 3, steps = 8 }");
            Err(fields.tell(fault))
        }
        (Some((a, _)), Some((b, _))) => {
            let (first, second) = if a.at.start < b.at.start { (a, b) } else { (b, a) };
            let fault = Fault::new(second.at.clone(), format!("{} has both `steps` and `euclidean`", fields.what))
                .label("expected one of the two")
                .context(first.at.clone(), "the other is here")
                .help("keep one of them");
            Err(fields.tell(fault))
        }
        (None, Some((_, node))) => euclidean(fields, node),
        (Some(_), None) => {
            let (text, node) = written?.ok_or(Told)?;
            pattern::steps(text).map_err(|error| no_pattern(fields, text, node, error))
        }
    }
}

fn no_pattern(fields: &mut Fields<'_, '_>, text: &str, node: &Node, error: PatternError) -> Told {
    let fault = match error {
        PatternError::Unknown { found, index } => {
            let at = place_in_text(fields.source, node, text, index, found.len_utf8());
            Fault::new(at, error.to_string())
                .label("expected `x`, `X`, `.`, `|` or a blank")
                .help("write `x` for a hit, `X` for an accent and `.` for a rest; blanks and `|` are ignored")
        }
        PatternError::Empty => Fault::new(node.at.clone(), error.to_string())
            .label("found no step, expected at least one")
            .help("write `x` for a hit, `X` for an accent and `.` for a rest"),
        PatternError::TooLong(count) => Fault::new(node.at.clone(), error.to_string())
            .label(format!("found {count} steps, expected at most {MOST_STEPS}"))
            .help("write a shorter pattern: it goes round"),
    };
    fields.tell(fault)
}

fn euclidean<'a>(fields: &mut Fields<'_, 'a>, node: &'a Node) -> Result<Vec<Step>, Told> {
    const EXAMPLE: &str = "write euclidean = { hits = 3, steps = 8 }, with rotate = 1 in it to turn it by a step";
    let Value::Table(table) = &node.value else {
        return Err(fields.wrong_type("euclidean", node, "a table", EXAMPLE));
    };
    let key = fields.get("euclidean").map_or(fields.section.name, |(key, _)| key);
    let (steps, hits, rotate) = fields.within(key, table, |inner| {
        check_keys(&inner.section.fields, &["hits", "steps", "rotate"], "`euclidean`", inner.faults);
        let most = i64::try_from(MOST_STEPS).unwrap_or(i64::MAX);
        let steps = match inner.whole("steps", 1, most) {
            Ok(None) => Err(inner.missing("steps", EXAMPLE)),
            got => got,
        };
        let hits = match inner.whole("hits", 0, steps.ok().flatten().unwrap_or(most)) {
            Ok(None) => Err(inner.missing("hits", EXAMPLE)),
            got => got,
        };
        let rotate = inner.whole("rotate", -most, most);
        Ok((steps?.ok_or(Told)?, hits?.ok_or(Told)?, rotate?.unwrap_or(0)))
    })?;
    let count = |n: i64| usize::try_from(n).unwrap_or(0);
    let pattern = pattern::euclidean(count(hits), count(steps), rotate);
    Ok(pattern.into_iter().map(|hit| if hit { Step::Hit } else { Step::Rest }).collect())
}

fn voice(fields: &mut Fields<'_, '_>, view: &View<'_>) -> Result<String, Told> {
    let Some((name, node)) = fields.text("voice", "kick")? else {
        return Err(fields.missing("voice", "write voice = \"kick\", or the name of a [voice.NAME] table"));
    };
    is_voice(fields, node, name, view)
}

/// A name that must be that of a voice of the patch or of the built-in kit.
pub(in crate::patch) fn is_voice(
    fields: &mut Fields<'_, '_>,
    node: &Node,
    name: &str,
    view: &View<'_>,
) -> Result<String, Told> {
    let kit = || crate::patch::read::kit::kit().iter().map(|v| v.name.as_str());
    if view.position(Kind::Voice, name).is_some() || kit().any(|k| k == name) {
        return Ok(name.to_owned());
    }
    let of_kit = kit().filter(|k| view.position(Kind::Voice, k).is_none());
    let known: Vec<_> = view.names(Kind::Voice).chain(of_kit).collect();
    let how = format!("define it with a heading [voice.{}]", shown(name));
    Err(fields.tell(undefined(node.at.clone(), name, "voice", known, &how)))
}
