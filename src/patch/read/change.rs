//! The `[[change]]` tables: what a player turns, plugs and switches in the middle of a piece.

use crate::patch::check::fault::{Fault, Place};
use crate::patch::check::node::{Node, Value};
use crate::patch::check::show::{listed, shown};
use crate::patch::check::view::{Kind, MOST_OF_A_KIND};
use crate::patch::model::measures::{SOME_TIME, TIME};
use crate::patch::model::{Bound, Keys, RateChange, Row, Rule, Takes};
use crate::patch::read::fields::{Fields, Got, Told};
use crate::patch::read::quantities::plain;
use crate::patch::read::quantity;
use crate::patch::read::set::{Change, Setter, set};
use crate::patch::read::tempo_map::{beats, show_beat};
use crate::patch::read::values::check;
use crate::time::{Beat, Span};

/// The keys of a change.
pub(in crate::patch) static KEYS: Keys = Keys {
    what: "a change",
    about: "what a player turns, plugs or switches in the middle of a piece",
    rows: &[
        Row::needed(
            "after",
            Takes::Beats(Bound::past("0 beats")),
            "write after = \"16 beats\", the beat from which it holds",
            "the beat from which it holds",
        ),
        Row::free("set", Takes::Set, "nothing is set", "what is set: quoted paths and values"),
        Row::or(
            "rate-change",
            Takes::Words(&["on-grid", "from-change"]),
            "on-grid",
            "where the pulses of a new rate stand: on multiples of its period from the start, or from here on",
        ),
        Row::free("passes-through", Takes::Rates, "none", "the rates that the knob passes on its way, in order"),
        Row::free("dwell", Takes::Quantity(&SOME_TIME), "none", "how long the knob stays at each of them"),
        Row::free("stop", Takes::Yes, "it runs on", "the clock is stopped"),
        Row::free("start", Takes::Yes, "it runs on", "the clock is started again, from the one"),
        Row::free("continue", Takes::Yes, "it runs on", "the clock goes on from where it stood"),
    ],
    rules: &[
        Rule::OneOf(&["set", "stop", "start", "continue"]),
        Rule::OnlyWith("set", &["rate-change", "passes-through", "dwell"]),
    ],
};
const EXAMPLE: &str =
    "write a heading [[change]], and below it after = \"16 beats\" and set.\"clock.slow.phase\" = \"1 %\"";
/// What may be turned on an output.
const KNOBS: [&str; 5] = ["rate", "phase", "shift", "width", "swing"];
const READINGS: [(&str, RateChange); 2] = [("on-grid", RateChange::OnGrid), ("from-change", RateChange::FromChange)];
/// The most positions that a knob passes.
pub(in crate::patch) const MOST_PASSED: usize = 64;

/// One `[[change]]`, as it is written.
#[derive(Clone, Debug)]
pub(in crate::patch) struct Turning {
    pub(in crate::patch) after: Beat,
    /// Where it says so.
    pub(in crate::patch) at: Place,
    pub(in crate::patch) act: Act,
}

#[derive(Clone, Debug)]
pub(in crate::patch) enum Act {
    Set(Settings),
    /// The clock is stopped.
    Stop,
    /// It is started again, from the one.
    Start,
    /// It goes on from where it stood.
    Continue,
}

#[derive(Clone, Debug)]
pub(in crate::patch) struct Settings {
    /// In the order of the file.
    pub(in crate::patch) changes: Vec<Change>,
    pub(in crate::patch) reading: RateChange,
    /// The rates that the knob passes.
    pub(in crate::patch) passes: Vec<Node>,
    pub(in crate::patch) dwell: Span,
}

/// Reads all `[[change]]` tables; `top` has the keys at the top of a patch.
pub(in crate::patch) fn changes(fields: &mut Fields<'_, '_>, top: &'static Keys) -> Got<Vec<Turning>> {
    let Some((key, node)) = fields.get("change") else { return Ok(None) };
    let Value::List(list) = &node.value else {
        let help = "write the heading with two brackets on each side, [[change]], a heading for each change";
        return Err(fields.wrong_type("change", node, "a list of tables", help));
    };
    if list.len() > MOST_OF_A_KIND {
        let found = format!("{} changes", list.len());
        return Err(fields.out_of_bounds("change", &found, &format!("at most {MOST_OF_A_KIND} changes")));
    }
    let all: Vec<_> = (1..)
        .zip(list)
        .map(|(n, node)| fields.entry((key, node), format!("change {n}"), EXAMPLE, |fields| turning(fields, top)))
        .collect();
    let all = all.into_iter().collect::<Result<Vec<_>, Told>>()?;
    in_order(fields, &all)?;
    Ok(Some(all))
}

/// Changes come in order, and a clock that stands is not stopped.
fn in_order(fields: &mut Fields<'_, '_>, all: &[Turning]) -> Result<(), Told> {
    let mut told = Ok(());
    for two in all.windows(2).filter(|two| two[1].after < two[0].after) {
        let (first, second) = (show_beat(two[0].after), show_beat(two[1].after));
        let fault = Fault::new(two[1].at.clone(), format!("the changes go back: from beat {first} to beat {second}"))
            .label(format!("expected {first} beats or more"))
            .context(two[0].at.clone(), "the change before is here")
            .help("write changes in order of time");
        told = Err(fields.tell(fault));
    }
    let mut last: Option<&Turning> = None;
    for turning in all.iter().filter(|t| !matches!(t.act, Act::Set(_))) {
        let runs = last.is_none_or(|last| !matches!(last.act, Act::Stop));
        let stops = matches!(turning.act, Act::Stop);
        let beat = show_beat(turning.after);
        let fault = match last {
            Some(last) if last.after == turning.after => {
                Fault::new(turning.at.clone(), format!("the clock is stopped and started at once, at beat {beat}"))
                    .label("expected a later beat")
                    .context(last.at.clone(), "the other is here")
                    .help("leave some time between stop and start")
            }
            _ if runs == stops => {
                last = Some(turning);
                continue;
            }
            _ => {
                let (does, is) = match turning.act {
                    Act::Stop => ("stopped", "stands already"),
                    Act::Continue => ("told to continue", "runs already"),
                    _ => ("started", "runs already"),
                };
                let fault = Fault::new(
                    turning.at.clone(),
                    format!("the clock is {does} at beat {beat}, where it {is}"),
                )
                .label(format!("expected a {} before", if stops { "start" } else { "stop" }))
                .help("the clock runs from beat 0; write a change with stop = true first, then one with start = true or continue = true");
                match last {
                    Some(last) => fault.context(last.at.clone(), "it was switched last here"),
                    None => fault,
                }
            }
        };
        told = Err(fields.tell(fault));
    }
    told
}

fn turning(fields: &mut Fields<'_, '_>, top: &'static Keys) -> Result<Turning, Told> {
    let before = fields.faults.count();
    check(fields, &KEYS);
    let after = fields.quantity("after", beats);
    let after = fields.needed("after", after, "write after = \"16 beats\", the beat from which it holds");
    let at = fields.get("after").map_or(fields.at.clone(), |(_, node)| node.at.clone());
    if after == Ok(Beat::from_integer(0)) {
        let found = "0 beats";
        fields.out_of_bounds("after", found, "more than 0 beats; what holds from the start is set where it is defined");
    }
    let act = act(fields, top);
    if fields.faults.count() > before { Err(Told) } else { Ok(Turning { after: after?, at, act: act? }) }
}

fn act(fields: &mut Fields<'_, '_>, top: &'static Keys) -> Result<Act, Told> {
    let all: Vec<_> = ["set", "stop", "start", "continue"].into_iter().filter_map(|key| fields.get(key)).collect();
    match all[..] {
        [] => {
            let fault = Fault::new(fields.at.clone(), format!("{} changes nothing", fields.what))
                .label("expected `set`, `stop`, `start` or `continue` in this table")
                .help("write set.\"clock.slow.phase\" = \"1 %\", or stop = true");
            return Err(fields.tell(fault));
        }
        [_] => {}
        [(one, _), (other, _), ..] => {
            let fault =
                Fault::new(other.at.clone(), format!("{} has both `{}` and `{}`", fields.what, one.text, other.text))
                    .label("expected one of the two")
                    .context(one.at.clone(), "the other is here")
                    .help("write a [[change]] for each");
            return Err(fields.tell(fault));
        }
    }
    if fields.has("set") {
        return settings(fields, top).map(Act::Set);
    }
    for key in ["rate-change", "passes-through", "dwell"] {
        fields.without_effect(key, "the clock is switched, and no rate changed");
    }
    let (key, act) = match () {
        () if fields.has("stop") => ("stop", Act::Stop),
        () if fields.has("start") => ("start", Act::Start),
        () => ("continue", Act::Continue),
    };
    match fields.yes_or_no(key)? {
        Some(true) => Ok(act),
        _ => {
            let node = fields.get(key).map_or(fields.at.clone(), |(_, node)| node.at.clone());
            let fault = Fault::new(node, format!("`{key}` is false, which changes nothing"))
                .label("expected true")
                .help(format!("write {key} = true, or take the change out"));
            Err(fields.tell(fault))
        }
    }
}

fn settings(fields: &mut Fields<'_, '_>, top: &'static Keys) -> Result<Settings, Told> {
    let changes = set(fields, Setter::Change(top));
    let mut told = Ok(());
    for change in &changes {
        if let Some(fault) = cannot_change(change) {
            told = Err(fields.tell(fault));
        }
    }
    let reading = fields.choice("rate-change", &READINGS);
    let passes = passes(fields);
    let dwell = plain(fields, "dwell", &TIME).and_then(|dwell| match dwell {
        Some(Span::ZERO) => Err(fields.out_of_bounds("dwell", "0 s", "a time above 0 s")),
        dwell => Ok(dwell),
    });
    told?;
    let (reading, passes, dwell) = (reading?, passes?, dwell?);
    let rates = changes.iter().filter(|c| c.field.as_ref().is_some_and(|f| f.text == "rate")).count();
    if rates == 0 {
        for key in ["rate-change", "passes-through"] {
            let Some(at) = fields.get(key).map(|(key, _)| key.at.clone()) else { continue };
            let fault = Fault::new(at, format!("{} has `{key}` and sets no rate", fields.what))
                .label("expected a rate that is changed")
                .help("write set.\"clock.slow.rate\" = \"1 per 4 beats\" in this change, or take it out");
            told = Err(fields.tell(fault));
        }
        told?;
    }
    if rates > 1 && passes.is_some() {
        return Err(fields.out_of_bounds("set", &format!("{rates} rates"), "one rate where a knob passes others"));
    }
    match (&passes, dwell) {
        (Some(_), None) => {
            return Err(
                fields.missing("dwell", "write dwell = \"120 ms\", how long the knob stays at each rate it passes")
            );
        }
        (None, Some(_)) => {
            let help = "write passes-through = [\"1 per 3 beats\"], the rates between, or take `dwell` out";
            return Err(fields.missing("passes-through", help));
        }
        _ => {}
    }
    Ok(Settings {
        changes,
        reading: reading.unwrap_or_default(),
        passes: passes.unwrap_or_default(),
        dwell: dwell.unwrap_or(Span::ZERO),
    })
}

/// What a change in a piece may not set, and why not.
fn cannot_change(change: &Change) -> Option<Fault> {
    let (path, noun) = (shown(&change.path), change.kind.noun());
    let fault = |message: String| Fault::new(change.whole.clone(), message).label("this cannot change in a piece");
    let article = if noun.starts_with('o') { "an" } else { "a" };
    let Some(field) = &change.field else {
        let example = match change.kind {
            Kind::Output => format!("\"{path}.phase\" = \"1 %\": an output may change its {}", listed(KNOBS)),
            Kind::Stage => format!("\"{path}.delay\" = \"10 ms\""),
            Kind::Wire => format!("\"{path}.path\" = [\"slow\", \"gate\"]"),
            Kind::Sequencer => format!("\"{path}.latency\" = \"5 ms\""),
            Kind::Voice => format!("\"{path}.level\" = \"-6 dB\""),
            Kind::Take => return Some(never(fault, change)),
        };
        let what = if change.kind == Kind::Output { "a change turns one knob" } else { "a change sets one value" };
        return Some(fault(format!("`{path}` is a whole {noun}, and {what}")).help(format!("write set.{example}")));
    };
    let cannot = |why: &str, help: &str| {
        let key = shown(&field.text);
        Some(fault(format!("`{key}` of {article} {noun} cannot be changed in a piece: {why}")).help(help))
    };
    match (change.kind, field.text.as_str()) {
        (Kind::Output, key) if KNOBS.contains(&key) => None,
        (Kind::Output, key) => {
            let message = format!("`{}` of an output cannot be changed in a piece", shown(key));
            Some(fault(message).help(format!("an output may change its {}", listed(KNOBS))))
        }
        (Kind::Stage, "kind") => cannot(
            "it would be another device",
            "define both stages, and plug the other one in: set.\"sequencer.ox.clock\" = [\"slow\", \"other\"]",
        ),
        (Kind::Stage, "power-up") => {
            cannot("it is read when the power comes on", "take it out; a pulse at the `reset` begins a group anew")
        }
        (Kind::Stage, "phase") => cannot(
            "where a loop stands in its period is decided when it is switched on",
            "set its period, or compare two phases with a fix",
        ),
        (Kind::Sequencer, "power-up-step") => {
            cannot("it is read when the power comes on", "take it out; a reset plays step 1")
        }
        (Kind::Sequencer, "one") => cannot(
            "it says what all hits of the piece are held against",
            "write it where the sequencer is defined, for the whole piece",
        ),
        (Kind::Sequencer, "poll") => cannot(
            "the loop that looks at its inputs is part of the box",
            "set a value of that stage, such as set.\"stage.loop.period\" = \"2 ms\"",
        ),
        (Kind::Voice, "model" | "file" | "softer") => cannot(
            "it would be another voice",
            "define both voices, and let the sequencer play the other: set.\"sequencer.ox.voice\" = \"snare\"",
        ),
        (Kind::Take, _) => Some(never(fault, change)),
        _ => None,
    }
}

/// A take is what it is.
fn never(fault: impl Fn(String) -> Fault, change: &Change) -> Fault {
    fault(format!("`{}` cannot be changed in a piece: a take has been played already", shown(&change.path)))
        .help("cut the file in two, and define a take for each part; its voice may change: set.\"voice.kick.level\"")
}

/// The rates that a knob passes, in the order in which it passes them.
fn passes(fields: &mut Fields<'_, '_>) -> Got<Vec<Node>> {
    const HELP: &str = "write passes-through = [\"1 per 3 beats\"], the rates between, in order";
    let Some((_, node)) = fields.get("passes-through") else { return Ok(None) };
    let list = match &node.value {
        Value::List(list) if !list.is_empty() => list,
        Value::List(_) => {
            let fault =
                Fault::new(node.at.clone(), "`passes-through` is an empty list").label("expected a rate or more");
            return Err(fields.tell(fault.help(HELP)));
        }
        _ => return Err(fields.wrong_type("passes-through", node, "a list of rates", HELP)),
    };
    if list.len() > MOST_PASSED {
        let found = format!("{} rates", list.len());
        return Err(fields.out_of_bounds("passes-through", &found, &format!("at most {MOST_PASSED} rates")));
    }
    let mut told = Ok(());
    for node in list {
        let error = match &node.value {
            Value::Text(text) => quantity::rate(text).err().map(|e| (e.to_string(), e.help())),
            _ => Some((format!("a rate in `passes-through` is {}", node.kind()), HELP.to_owned())),
        };
        if let Some((message, help)) = error {
            let fault = Fault::new(node.at.clone(), message).label("expected a rate such as \"1 per 3 beats\"");
            told = Err(fields.tell(fault.help(help)));
        }
    }
    told.map(|()| Some(list.clone()))
}
