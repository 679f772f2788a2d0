//! Reads `[stage.NAME]` tables: a file a kind.

mod air;
mod audio_buffer;
mod count;
mod delay;
mod envelope;
mod jitter;
mod logic;
mod midi_cable;
mod poll;
mod rc;
mod strike;

pub(in crate::patch) use jitter::settings as jitter;

use crate::patch::check::fault::Fault;
use crate::patch::check::node::{Key, Node, Value};
use crate::patch::check::show::{listed, shown};
use crate::patch::check::view::{Section, View, check_keys};
use crate::patch::model::{Stage, StageKind};
use crate::patch::read::fields::{Fields, Got, Told};
use crate::patch::read::measure::{Measure, show_span};
use crate::patch::read::quantity::{self, QuantityError};
use crate::time::Span;

/// What may pass through a kind of stage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::patch) enum Carries {
    /// Pulses on their way to an input.
    Pulses,
    /// Hits on their way to the ear.
    Hits,
    /// Both.
    Both,
}

/// What is known of a kind before its tables are read.
#[derive(Debug)]
pub(in crate::patch) struct KindOfStage {
    /// As `kind` has it.
    pub(in crate::patch) word: &'static str,
    /// With its article.
    pub(in crate::patch) what: &'static str,
    keys: &'static [&'static str],
    pub(in crate::patch) carries: Carries,
    read: fn(&mut Fields<'_, '_>, &View<'_>) -> Result<StageKind, Told>,
}

static KINDS: [KindOfStage; 12] = [
    KindOfStage {
        word: "delay",
        what: "a delay stage",
        keys: &["delay", "rise", "fall", "swallows", "width", "while-busy"],
        carries: Carries::Both,
        read: delay::read,
    },
    KindOfStage {
        word: "rc",
        what: "an rc stage",
        keys: &["r", "c", "high", "low", "source", "load", "discharge", "threshold-rise", "threshold-fall"],
        carries: Carries::Pulses,
        read: rc::read,
    },
    KindOfStage {
        word: "envelope",
        what: "an envelope stage",
        keys: &[
            "attack",
            "decay",
            "shape",
            "attack-means",
            "peak",
            "threshold-rise",
            "threshold-fall",
            "follows",
            "retrigger",
        ],
        carries: Carries::Pulses,
        read: envelope::read,
    },
    KindOfStage {
        word: "logic",
        what: "a logic stage",
        keys: &["does", "with", "delay", "swallows"],
        carries: Carries::Pulses,
        read: logic::read,
    },
    KindOfStage {
        word: "divide",
        what: "a divide stage",
        keys: &["by", "fires-on", "reset", "power-up"],
        carries: Carries::Pulses,
        read: count::divide,
    },
    KindOfStage {
        word: "multiply",
        what: "a multiply stage",
        keys: &["by"],
        carries: Carries::Pulses,
        read: count::multiply,
    },
    KindOfStage {
        word: "poll",
        what: "a poll stage",
        keys: &["period", "phase", "drift", "reads", "samples"],
        carries: Carries::Both,
        read: poll::read,
    },
    KindOfStage {
        word: "midi-cable",
        what: "a midi-cable stage",
        keys: &["running-status", "start-lead", "song-position", "order", "note-offs"],
        carries: Carries::Both,
        read: midi_cable::read,
    },
    KindOfStage {
        word: "audio-buffer",
        what: "an audio-buffer stage",
        keys: &["frames", "blocks", "sample-rate", "events", "phase", "drift"],
        carries: Carries::Both,
        read: audio_buffer::read,
    },
    KindOfStage {
        word: "air",
        what: "an air stage",
        keys: &["distance", "temperature", "level"],
        carries: Carries::Hits,
        read: air::read,
    },
    KindOfStage {
        word: "strike",
        what: "a strike stage",
        keys: &["stroke", "speed", "rise", "spread", "recovery"],
        carries: Carries::Hits,
        read: strike::read,
    },
    KindOfStage {
        word: "jitter",
        what: "a jitter stage",
        keys: &["each", "wander", "wander-period"],
        carries: Carries::Both,
        read: jitter::read,
    },
];

/// Reads a `[stage.NAME]` table.
pub(in crate::patch) fn stage(fields: &mut Fields<'_, '_>, view: &View<'_>) -> Result<Stage, Told> {
    stage_with(fields, view, &[])
}

/// Reads a table that has the keys of a stage and others, which are left alone.
pub(in crate::patch) fn stage_with(
    fields: &mut Fields<'_, '_>,
    view: &View<'_>,
    others: &[&'static str],
) -> Result<Stage, Told> {
    let words = KINDS.each_ref().map(|kind| (kind.word, kind));
    let help = format!("write kind = \"delay\"; there is {}", kinds_that(|_| true));
    let kind = fields.choice("kind", &words);
    let kind = fields.needed("kind", kind, &help);
    check(fields, kind.ok(), others);
    let kind = (kind?.read)(fields, view)?;
    Ok(Stage { name: fields.section.name.text.clone(), kind })
}

/// The kind that a table says, if it does.
pub(in crate::patch) fn kind_of(section: &Section<'_>) -> Option<&'static KindOfStage> {
    match section.get("kind").map(|(_, node)| &node.value) {
        Some(Value::Text(word)) => KINDS.iter().find(|kind| kind.word == word),
        _ => None,
    }
}

/// The words of some kinds, for a sentence.
pub(in crate::patch) fn kinds_that(may: impl Fn(&KindOfStage) -> bool) -> String {
    listed(KINDS.iter().filter(|kind| may(kind)).map(|kind| kind.word))
}

/// Every kind, its keys besides `kind`, and whether pulses may go through it.
#[cfg(test)]
pub(in crate::patch) fn kinds_and_keys() -> impl Iterator<Item = (&'static str, &'static [&'static str], bool)> {
    KINDS.iter().map(|kind| (kind.word, kind.keys, kind.carries != Carries::Hits))
}

/// Tells every key that the kind has not; where the kind is not known, every key that no kind has.
fn check(fields: &mut Fields<'_, '_>, kind: Option<&KindOfStage>, others: &[&'static str]) {
    let has = |kind: &KindOfStage, key: &Key| kind.keys.contains(&key.text.as_str());
    let mut known = vec!["kind"];
    let Some(kind) = kind else {
        for key in KINDS.iter().flat_map(|kind| kind.keys) {
            if !known.contains(key) {
                known.push(key);
            }
        }
        known.extend(others);
        check_keys(&fields.section.fields, &known, "a stage", fields.faults);
        return;
    };
    known.extend(kind.keys);
    known.extend(others);
    let (own, foreign): (Vec<(&Key, &Node)>, Vec<_>) =
        fields.section.fields.iter().partition(|(key, _)| has(kind, key) || !KINDS.iter().any(|other| has(other, key)));
    check_keys(&own, &known, kind.what, fields.faults);
    for (key, _) in foreign {
        let owners: Vec<_> = KINDS.iter().filter(|other| has(other, key)).map(|other| other.what).collect();
        let message = format!("`{}` is not a key of {}", shown(&key.text), kind.what);
        let fault = Fault::new(key.at.clone(), message)
            .label(format!("a key of {}", owners.join(" or ")))
            .help(format!("take it out, or change the kind; {} may have {}", kind.what, listed(known.iter().copied())));
        fields.tell(fault);
    }
}

/// Values that are good each and do not go together: what was found, what was expected.
fn together(fields: &mut Fields<'_, '_>, key: &str, message: &str, found: &str, expected: &str, help: &str) -> Told {
    let at = fields.get(key).map_or(fields.at.clone(), |(_, node)| node.at.clone());
    let fault = Fault::new(at, format!("{} {message}", fields.what))
        .label(format!("found {found}, expected {expected}"))
        .help(help);
    fields.tell(fault)
}

/// A key that says nothing without another.
fn needs(fields: &mut Fields<'_, '_>, key: &str, other: &str, help: &str) -> Result<(), Told> {
    match fields.get(key) {
        Some((at, _)) if !fields.has(other) => {
            let fault = Fault::new(at.at.clone(), format!("{} has a `{key}` and no `{other}`", fields.what))
                .label(format!("expected a `{other}` beside it"))
                .help(help);
            Err(fields.tell(fault))
        }
        _ => Ok(()),
    }
}

/// Where in its period something begins: a time, or `None` for `"random"`, which is the default.
fn phase(fields: &mut Fields<'_, '_>, period: Option<Span>, of: &str) -> Result<Option<Span>, Told> {
    let read = |text: &str| match text {
        "random" => Ok(None),
        _ => quantity::whole_time(text).map(Some).map_err(|error| QuantityError {
            expected: "a time with its unit or \"random\", such as \"120 us\"",
            ..error
        }),
    };
    let Some(Some(phase)) = fields.quantity("phase", read)? else { return Ok(None) };
    match period {
        Some(period) if !(Span::ZERO <= phase && phase < period) => {
            let written = fields.written("phase");
            let expected = format!("a time from 0 s to less than {}, {of}, or \"random\"", show_span(period));
            Err(fields.out_of_bounds("phase", &written, &expected))
        }
        _ => Ok(Some(phase)),
    }
}

/// How far a clock may be off: 30 ppm, that of a common quartz, unless it says so (common practice, no source).
fn drift(fields: &mut Fields<'_, '_>) -> Result<f64, Told> {
    const QUARTZ: f64 = 30e-6;
    plain_or(fields, "drift", &crate::patch::read::measure::DRIFT, QUARTZ)
}

/// A quantity without limits, or its default.
fn plain_or<T: Copy>(fields: &mut Fields<'_, '_>, key: &str, measure: &Measure<T>, default: T) -> Result<T, Told> {
    let got: Got<T> = crate::patch::read::sheet::plain(fields, key, measure);
    Ok(got?.unwrap_or(default))
}
