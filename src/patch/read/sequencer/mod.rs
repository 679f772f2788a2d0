mod keys;
mod reset;

pub(in crate::patch) use keys::KEYS;
use keys::{EUCLIDEAN, EXAMPLE, INPUT};

use crate::patch::check::fault::Fault;
use crate::patch::check::node::{Node, Value};
use crate::patch::check::show::{listed, shown};
use crate::patch::check::view::{Kind, Section, View, undefined};
use crate::patch::model::given::{Given, there};
use crate::patch::model::measures::TIME;
use crate::patch::model::{EdgeKind, Path, ResetMode, Sequencer, Step};
use crate::patch::read::fields::{Fields, Got, Told, place_in_text};
use crate::patch::read::kinds::kind_of;
use crate::patch::read::path::out;
use crate::patch::read::pattern::{self, MOST_STEPS, PatternError};
use crate::patch::read::quantities::plain;
use crate::patch::read::values::{Values, check};
use crate::time::Span;

/// A sequencer whose voice is still a name.
pub(in crate::patch) struct Unvoiced {
    /// All but the voice, which is 0.
    pub(in crate::patch) sequencer: Sequencer,
    pub(in crate::patch) voice: String,
}

/// Reads a `[sequencer.NAME]` table.
pub(in crate::patch) fn sequencer(fields: &mut Fields<'_, '_>, view: &View<'_>) -> Result<Unvoiced, Told> {
    check(fields, &KEYS);
    let given = &mut Values::new(fields, &KEYS, Some(view));
    let clock = clock(given, view);
    let steps = steps(given.fields);
    let voice = voice(given.fields, view);
    let latency = there(given.time("latency"));
    let most = steps.as_ref().map_or(MOST_STEPS, Vec::len);
    let power_up_step = there(given.whole_to("power-up-step", u32::try_from(most).unwrap_or(u32::MAX)));
    let idle_reset = idle_reset(given.fields);
    let own_one = given.word("one");
    let pulses_per_step = there(given.whole_to("pulses-per-step", u32::MAX));
    let clock_edge = edge(given, "clock-edge");
    let input = input(given.fields);
    let poll = poll(given.fields, view);
    let gathers = there(given.time("gathers"));
    let out = out(given.fields, view);
    let offset = there(given.time("offset"));
    let reset = reset::reset(given);
    let (reset, pulses_per_step) = (reset?, pulses_per_step?);
    if pulses_per_step == 1 && reset.reset.as_ref().is_some_and(|reset| reset.mode != ResetMode::Ignored) {
        given.without_effect("reset-clears-count", "it matters only where several pulses make a step");
    }
    let (min_high, min_low) = input?;
    let sequencer = Sequencer {
        reset: reset.reset,
        reset_edge: reset.edge,
        sounds_on_reset: reset.sounds,
        reset_clears_count: reset.clears_count,
        pulses_per_step,
        clock_edge: clock_edge?,
        gathers: gathers?,
        min_high,
        min_low,
        poll: poll?,
        out: out?,
        offset: offset?,
        latency: latency?,
        power_up_step: power_up_step? as usize,
        idle_reset: idle_reset?,
        own_one: own_one?.is_some(),
        ..Sequencer::new(&given.fields.section.name.text, clock?, steps?, 0)
    };
    Ok(Unvoiced { sequencer, voice: voice? })
}

/// The way to its clock input. Where there is none and several outputs could be meant, they are named.
fn clock(given: &mut Values<'_, '_, '_>, view: &View<'_>) -> Result<Path, Told> {
    let outputs: Vec<&str> = view.names(Kind::Output).collect();
    if given.fields.has("clock") || outputs.len() < 2 {
        return there(given.path("clock"));
    }
    let count = if outputs.len() == 2 { "two".to_owned() } else { outputs.len().to_string() };
    let help = format!("write clock = \"OUTPUT\"; there are {count} outputs, {}: say which", listed(outputs));
    Err(given.fields.missing("clock", &help))
}

/// How long its clock must have been quiet; none at all would be always.
fn idle_reset(fields: &mut Fields<'_, '_>) -> Got<Span> {
    match plain(fields, "idle-reset", &TIME) {
        Ok(Some(Span::ZERO)) => Err(fields.out_of_bounds("idle-reset", "0 s", "more than 0 s")),
        got => got,
    }
}

/// Which edge counts.
fn edge(given: &mut Values<'_, '_, '_>, key: &'static str) -> Result<EdgeKind, Told> {
    Ok(if there(given.word(key))? == "fall" { EdgeKind::Fall } else { EdgeKind::Rise })
}

/// The shortest pulse and the shortest gap that the inputs see.
fn input(fields: &mut Fields<'_, '_>) -> Result<(Span, Span), Told> {
    let Some((key, node)) = fields.get("input") else { return Ok((Span::ZERO, Span::ZERO)) };
    let Value::Table(table) = &node.value else {
        return Err(fields.wrong_type("input", node, "a table", INPUT.about));
    };
    fields.within(key, table, |inner| {
        check(inner, &INPUT);
        let given = &mut Values::new(inner, &INPUT, None);
        let (high, low) = (there(given.time("min-high")), there(given.time("min-low")));
        Ok((high?, low?))
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
            let message = format!("`{}` is {}, and inputs are looked at by a poll stage", shown(name), kind.keys.what);
            let fault = Fault::new(node.at.clone(), message)
                .label(format!("found {}, expected a poll stage", kind.keys.what))
                .help(match listed(polls()).as_str() {
                    "none" => "define one with kind = \"poll\" and period = \"500 us\"".to_owned(),
                    polls => format!("of poll stages there is {polls}"),
                });
            Err(fields.tell(fault))
        }
        _ => Ok(Some(index)),
    }
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
    let Value::Table(table) = &node.value else {
        return Err(fields.wrong_type("euclidean", node, "a table", EXAMPLE));
    };
    let key = fields.get("euclidean").map_or(fields.section.name, |(key, _)| key);
    let (steps, hits, rotate) = fields.within(key, table, |inner| {
        check(inner, &EUCLIDEAN);
        let given = &mut Values::new(inner, &EUCLIDEAN, None);
        let steps = there(given.whole_to("steps", u32::MAX));
        let hits = there(given.whole_to("hits", steps.unwrap_or(u32::MAX)));
        let rotate = given.whole("rotate");
        Ok((steps?, hits?, rotate?.unwrap_or(0)))
    })?;
    let pattern = pattern::euclidean(hits as usize, steps as usize, rotate);
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
