//! Pages of reference, made of the table of keys.

pub use super::boxes_page::boxes;
use crate::patch::check::view::Kind;
use crate::patch::model::{Absent, Bound, Carries, KINDS, Keys, Measure, Row, Rule, Takes};
use crate::patch::read::{box_kind, component, file_path, lesson, voice};
use crate::voice::Model;
use std::fmt::Write as _;

/// The page on stages, as Markdown: every kind, how it works, and its keys.
#[must_use]
pub fn stages() -> String {
    let mut page = String::from(
        "# Stages\n\n\
         What lies between an output of the clock and an input, or between a box and the ear: a `[stage.NAME]` table each.\n\
         Every stage says its `kind`; the other keys are those of the kind. A value *with limits* may also be `{ min, typ, max }`\n\
         as on a data sheet or `{ value, tolerance }`; without chance the usual value holds.\n\n\
         This page is made of the table of keys that the parser checks by.\n",
    );
    for kind in KINDS {
        let _ = write!(page, "\n## `{}`\n\n{}.", kind.word, capital(kind.keys.about));
        page += match kind.carries {
            Carries::Pulses => " Pulses go through it.",
            Carries::Hits => " Hits go through it.",
            Carries::Both => " Pulses and hits go through it.",
        };
        let _ = write!(page, " {}.", capital(kind.formula));
        if !kind.source.is_empty() {
            let _ = write!(page, " Source: {}.", kind.source);
        }
        page += "\n\n";
        table(&mut page, &kind.keys);
    }
    page
}

/// The page on all other keys, as Markdown: those of a patch, of its tables, and of a lesson.
#[must_use]
pub fn keys() -> String {
    let mut page = String::from(
        "# Keys\n\n\
         Every key of a patch and of a lesson, but those of stages, which [stages](stages.md) has.\n\n\
         This page is made of the table of keys that the parser checks by.\n",
    );
    let top = super::keys();
    section(&mut page, "The top of a patch", top);
    for row in top.rows {
        match row.takes {
            Takes::Named(keys) => section(&mut page, &format!("`[{}.NAME]`", row.key), keys),
            Takes::Tables(keys, ..) => section(&mut page, &format!("`[[{}]]`", row.key), keys),
            Takes::Table(keys) => section(&mut page, &format!("`[{}]`", row.key), keys),
            Takes::Voices => voices(&mut page),
            Takes::Boxes => {
                section(&mut page, "`[box.NAME]`", &box_kind::KEYS);
                page += "\nAnd the keys of a sequencer but `like`, none of which must be written.\n";
            }
            Takes::Stages { components: true } => {
                section(&mut page, &format!("`[{}.NAME]`", row.key), &component::KEYS);
                page += "\nAnd the `kind` and the keys of a stage through which pulses go.\n";
            }
            _ => {}
        }
    }
    section(&mut page, "The top of a lesson", &lesson::KEYS);
    section(&mut page, "`[[chapter]]` of a lesson", &lesson::CHAPTER);
    section(&mut page, "`flam` of a chapter", &lesson::FLAM);
    page
}

fn section(page: &mut String, heading: &str, keys: &Keys) {
    let _ = write!(page, "\n## {heading}\n\n{}.\n\n", capital(keys.about));
    table(page, keys);
}

fn voices(page: &mut String) {
    section(page, "`[voice.NAME]`", &voice::KEYS);
    for model in Model::ALL {
        let _ =
            write!(page, "\n### The keys of a `{}`\n\n| key | takes | what it does |\n|---|---|---|\n", model.name());
        for param in model.params() {
            let (least, most) = (param.unit.show(param.min), param.unit.show(param.max));
            let _ = writeln!(page, "| `{}` | {least} to {most} | {} |", param.key, param.about);
        }
    }
}

fn table(page: &mut String, keys: &Keys) {
    *page += "| key | takes | default | what it does |\n|---|---|---|---|\n";
    for row in keys.rows {
        line(page, row.key, row);
        if let Takes::Table(inner) = row.takes
            && Kind::of_key(row.key).is_none()
            && !std::ptr::eq(keys, super::keys())
        {
            inner.rows.iter().for_each(|within| line(page, &format!("{}.{}", row.key, within.key), within));
        }
    }
    for rule in keys.rules {
        let said = match rule {
            Rule::OneOf(keys) => format!("Exactly one of {} is written.", ticked(keys, " and ")),
            Rule::AnyOf(sets) => {
                let sets: Vec<String> = sets.iter().map(|keys| ticked(keys, " with ")).collect();
                format!("At least {} is written.", sets.join(", or "))
            }
            Rule::NotBoth(one, other) => format!("`{one}` and `{other}` are not written together."),
            Rule::Needs(key, other) => format!("`{key}` needs `{other}`."),
            Rule::FilledBy(key) => format!("With `{key}`, what its kind says need not be written."),
            Rule::OnlyWith(with, keys) => format!("Without `{with}`, {} have no effect.", ticked(keys, " and ")),
        };
        let _ = write!(page, "\n{said}\n");
    }
}

fn line(page: &mut String, key: &str, row: &Row) {
    let default = match row.absent {
        Absent::Needed(_) => "must be written".to_owned(),
        Absent::Is(default) => format!("`{default}`"),
        Absent::Means(words) => words.to_owned(),
    };
    let _ = writeln!(page, "| `{key}` | {} | {default} | {} |", takes(row.takes), row.about.replace('|', "\\|"));
}

/// What may stand under a key, with its unit and its bounds.
fn takes(takes: Takes) -> String {
    match takes {
        Takes::Quantity(measure) => range(measure),
        Takes::Limits(measure) => format!("{}, with limits", range(measure)),
        Takes::QuantityOr(measure, word) => format!("{}, or `\"{word}\"`", range(measure)),
        Takes::TimeOrShare(time, share) => format!("{}, or {}", range(time), range(share)),
        Takes::Whole(least, most) => format!("a whole number from {least} to {most}"),
        Takes::YesNo => "true or false".to_owned(),
        Takes::Yes => "true".to_owned(),
        Takes::Words(words) => {
            let words: Vec<String> = words.iter().map(|word| format!("`\"{word}\"`")).collect();
            words.join(", ")
        }
        Takes::Text { lines: false } => "a text on one line".to_owned(),
        Takes::Text { lines: true } => "a text".to_owned(),
        Takes::Name(what) => format!("the name of {} {what}", if what.starts_with('o') { "an" } else { "a" }),
        Takes::Path => "an output, or a list: where it begins, then stages in order".to_owned(),
        Takes::Out => "a stage, or a list of stages in order".to_owned(),
        Takes::Names(what) => format!("a list of names, each of a {what}"),
        Takes::Rate => "a rate such as `\"4 per beat\"`, of whole numbers to 10,000".to_owned(),
        Takes::Rates => "a list of rates".to_owned(),
        Takes::Beats(Bound { open: false, .. }) => "a number of beats such as `\"16 beats\"`".to_owned(),
        Takes::Beats(_) => "a number of beats above 0, such as `\"16 beats\"`".to_owned(),
        Takes::Tempo => "a number from 1 to 1000".to_owned(),
        Takes::TempoOrShare => "a number from 1 to 1000, or a share in per cent".to_owned(),
        Takes::Tempos => "a list of numbers from 1 to 1000".to_owned(),
        Takes::Meter => "a meter such as `\"4/4\"`".to_owned(),
        Takes::Steps => "a pattern such as `\"x...x...\"`".to_owned(),
        Takes::File(ends) => format!("the path of a {} file", file_path::listed(ends)),
        Takes::OtherFile => "the path of a file".to_owned(),
        Takes::Notes => "a table such as `{ 36 = \"kick\" }`".to_owned(),
        Takes::Strokes(_) => "a table such as `{ 100 = \"soft.wav\" }`".to_owned(),
        Takes::Texts(most) => format!("a list of at most {most} texts"),
        Takes::Table(_) => "a table".to_owned(),
        Takes::Tables(_, _, most) => format!("a list of at most {most} tables"),
        Takes::Named(_) | Takes::Stages { .. } | Takes::Voices | Takes::Boxes => "tables with names".to_owned(),
        Takes::Brings => "quoted paths of two parts and whole tables".to_owned(),
        Takes::Set => "quoted paths and values".to_owned(),
    }
}

fn range(measure: &Measure) -> String {
    measure.expected.to_owned()
}

fn ticked(keys: &[&str], last: &str) -> String {
    let all: Vec<String> = keys.iter().map(|key| format!("`{key}`")).collect();
    match all.split_last() {
        Some((end, rest)) if !rest.is_empty() => format!("{}{last}{end}", rest.join(", ")),
        _ => all.concat(),
    }
}

/// Begins a sentence.
fn capital(words: &str) -> String {
    let mut letters = words.chars();
    let first = letters.next().filter(|first| first.is_ascii());
    first.map_or_else(|| words.to_owned(), |first| first.to_ascii_uppercase().to_string() + letters.as_str())
}
