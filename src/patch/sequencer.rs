use super::fault::Fault;
use super::fields::{Fields, Got, Told, place_in_text};
use super::model::{OnTie, Path, Reset, ResetMode, Sequencer, Step};
use super::node::{Node, Value};
use super::path::path;
use super::pattern::{self, MOST_STEPS, PatternError};
use super::show::shown;
use super::view::{Kind, View, check_keys, undefined};
use crate::time::{PS_PER_MS, Span};

const KEYS: [&str; 13] = [
    "clock",
    "reset",
    "reset-mode",
    "steps",
    "euclidean",
    "voice",
    "latency",
    "power-up-step",
    "idle-reset",
    "setup-time",
    "on-tie",
    "holdoff",
    "one",
];
/// How long after a reset an `immediate` input ignores its clock, unless it says so.
const DEFAULT_HOLDOFF: Span = Span(PS_PER_MS);
/// What each reset mode does, for who has to choose.
const MODES_EXPLAINED: &str = "choose what a reset does:\n\
    \"this-clock\": the clock pulse that is high is step 1; where none is, the next one is\n\
    \"next-clock\": the next clock pulse after the reset plays step 1\n\
    \"immediate\": step 1 plays at once\n\
    \"ignored\": nothing";

/// A sequencer whose voice is still a name.
pub(super) struct Unvoiced {
    /// All but the voice, which is 0.
    pub(super) sequencer: Sequencer,
    pub(super) voice: String,
}

#[derive(Clone, Copy)]
enum Mode {
    ThisClock,
    NextClock,
    Immediate,
    Ignored,
}

/// Reads a `[sequencer.NAME]` table.
pub(super) fn sequencer(fields: &mut Fields<'_, '_>, view: &View<'_>) -> Result<Unvoiced, Told> {
    check_keys(&fields.section.fields, &KEYS, "a sequencer", fields.faults);
    let clock = match path(fields, "clock", view) {
        Ok(None) => Err(fields.missing("clock", "write clock = \"OUTPUT\", or [\"OUTPUT\", \"STAGE\"]")),
        got => got,
    };
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
    let reset = reset(fields, view);
    let sequencer = Sequencer {
        reset: reset?,
        latency: latency?.unwrap_or(Span::ZERO),
        power_up_step: power_up_step?.and_then(|n| usize::try_from(n).ok()).unwrap_or(1),
        idle_reset: idle_reset?,
        own_one: own_one?.is_some(),
        ..Sequencer::new(&fields.section.name.text, clock?.ok_or(Told)?, steps?, 0)
    };
    Ok(Unvoiced { sequencer, voice: voice? })
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
    let kit = || super::kit::kit().iter().map(|v| v.name.as_str());
    if view.position(Kind::Voice, name).is_some() || kit().any(|k| k == name) {
        return Ok(name.to_owned());
    }
    let of_kit = kit().filter(|k| view.position(Kind::Voice, k).is_none());
    let known: Vec<_> = view.names(Kind::Voice).chain(of_kit).collect();
    let how = format!("define it with a heading [voice.{}]", shown(name));
    Err(fields.tell(undefined(node.at.clone(), name, "voice", known, &how)))
}

fn reset(fields: &mut Fields<'_, '_>, view: &View<'_>) -> Result<Option<Reset>, Told> {
    let path: Got<Path> = path(fields, "reset", view);
    let mode = fields.choice(
        "reset-mode",
        &[
            ("this-clock", Mode::ThisClock),
            ("next-clock", Mode::NextClock),
            ("immediate", Mode::Immediate),
            ("ignored", Mode::Ignored),
        ],
    );
    let setup_time = fields.whole_time("setup-time");
    let on_tie = fields.choice("on-tie", &[("clock-first", OnTie::ClockFirst), ("reset-first", OnTie::ResetFirst)]);
    let holdoff = fields.whole_time("holdoff");
    let ways = match (fields.get("reset"), fields.get("reset-mode")) {
        (Some((key, _)), None) => {
            let fault = Fault::new(key.at.clone(), format!("{} has a `reset` and no `reset-mode`", fields.what))
                .label("expected a `reset-mode` beside it")
                .help(MODES_EXPLAINED);
            return Err(fields.tell(fault));
        }
        (None, Some((key, _))) => {
            let fault = Fault::new(key.at.clone(), format!("{} has a `reset-mode` and no `reset`", fields.what))
                .label("expected a `reset` beside it")
                .help("write reset = \"OUTPUT\", or take `reset-mode` out");
            return Err(fields.tell(fault));
        }
        (None, None) => None,
        (Some(_), Some(_)) => Some((path?.ok_or(Told)?, mode?.ok_or(Told)?)),
    };
    let (setup_time, on_tie, holdoff) = (setup_time?, on_tie?, holdoff?);
    let next = matches!(ways, Some((_, Mode::NextClock)));
    if !next {
        let why = "it matters to the reset mode \"next-clock\" only";
        fields.without_effect("setup-time", why);
        fields.without_effect("on-tie", why);
    } else if on_tie == Some(OnTie::ResetFirst) && setup_time.is_some_and(|t| t > Span::ZERO) {
        fields.without_effect("on-tie", "it matters only where `setup-time` is 0");
    }
    if !matches!(ways, Some((_, Mode::Immediate))) {
        fields.without_effect("holdoff", "it matters to the reset mode \"immediate\" only");
    }
    Ok(ways.map(|(path, mode)| {
        let mode = match mode {
            Mode::ThisClock => ResetMode::ThisClock { grace: None },
            Mode::NextClock => ResetMode::NextClock {
                setup_time: setup_time.unwrap_or(Span::ZERO),
                on_tie: on_tie.unwrap_or(OnTie::ClockFirst),
            },
            Mode::Immediate => ResetMode::Immediate { holdoff: holdoff.unwrap_or(DEFAULT_HOLDOFF) },
            Mode::Ignored => ResetMode::Ignored,
        };
        Reset { path, mode }
    }))
}
