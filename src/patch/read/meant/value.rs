//! A value as it was most likely meant, by what may stand under its key.

use super::words;
use crate::patch::check::node::{Node, Value};
use crate::patch::model::{Dimension, Measure, Row, Takes};
use crate::patch::read::pattern;
use crate::patch::read::quantity;
use crate::time::{Beat, tempos, tempos_meant};

/// The value to write, as TOML; `None` where nobody can tell. What it gives can be read.
pub(super) fn meant(takes: &Takes, node: &Node, source: &str, bar: Beat) -> Option<String> {
    const LONGEST: usize = 5_000;
    let raw = source.get(node.at.clone()).filter(|raw| raw.len() <= LONGEST)?;
    let text = match &node.value {
        Value::Text(text) => text.as_str(),
        Value::Table(_) | Value::Date => return None,
        _ => raw,
    };
    // What can be read is what was meant: its fault is another.
    if matches!(node.value, Value::Text(_)) && reads(takes, text) {
        return None;
    }
    let quoted = |text: String| format!("\"{text}\"");
    match takes {
        Takes::Tempos => list_of_tempos(text).filter(|list| *list != raw),
        Takes::Rate => quantity::rate_meant(text, bar).map(quoted),
        Takes::Steps => steps(node, text).map(quoted),
        Takes::Quantity(measure) | Takes::Limits(measure) | Takes::QuantityOr(measure, _) => {
            of_measure(text, measure).map(quoted)
        }
        Takes::TimeOrShare(time, share) => {
            of_measure(text, if text.contains(['%', 'p']) { share } else { time }).map(quoted)
        }
        Takes::Whole(least, most) => {
            let digits = text.trim().trim_end_matches(".0");
            digits
                .parse::<i64>()
                .ok()
                .filter(|n| (least..=most).contains(&n))
                .map(|n| n.to_string())
                .filter(|n| *n != raw)
        }
        Takes::YesNo => yes_or_no(text).map(|yes| yes.to_string()).filter(|yes| *yes != raw),
        Takes::Words(all) => words::meant(text, all).map(|word| quoted(word.to_owned())),
        Takes::Name("voice") => {
            let kit: Vec<&str> = crate::patch::read::kit::kit().iter().map(|voice| voice.name.as_str()).collect();
            let file = text.contains('.').then_some("kick");
            words::meant(text, &kit).or(file).map(|word| quoted(word.to_owned()))
        }
        Takes::Meter => meter(text).map(quoted),
        Takes::Path => path(node),
        _ => None,
    }
}

/// Whether a text is what its key takes, whatever its bounds.
fn reads(takes: &Takes, text: &str) -> bool {
    match takes {
        Takes::Quantity(measure) | Takes::Limits(measure) => has_unit(text, measure),
        Takes::QuantityOr(measure, word) => text == *word || has_unit(text, measure),
        Takes::TimeOrShare(time, share) => has_unit(text, time) || has_unit(text, share),
        Takes::Rate => quantity::rate(text).is_ok(),
        Takes::Steps => pattern::steps(text).is_ok(),
        Takes::Words(all) => all.contains(&text),
        _ => false,
    }
}

/// Whether a text is a number with a unit of a measure.
fn has_unit(text: &str, measure: &Measure) -> bool {
    match measure.dimension {
        Dimension::Time => quantity::whole_time(text).is_ok(),
        dimension => quantity::number(dimension, text).is_ok(),
    }
}

/// Whether a rate counts in bars.
pub(super) fn counts_bars(node: &Node) -> bool {
    matches!(&node.value, Value::Text(text) if quantity::counts_bars(text))
}

/// Quarter notes, for people.
pub(super) fn beats(beats: Beat) -> String {
    let number = if beats.is_integer() { beats.to_string() } else { format!("{}/{}", beats.numer(), beats.denom()) };
    format!("{number} beat{}", if number == "1" { "" } else { "s" })
}

fn list_of_tempos(text: &str) -> Option<String> {
    const MOST: usize = 16;
    let decimal = text.trim().replacen(',', ".", 1);
    let one = |text: &str| text.parse::<crate::time::Tempo>().is_ok();
    // `"97,5"` is one; of a list in brackets nobody can tell.
    let is_decimal = |text: &str| text.split_once(',').is_some_and(|(_, part)| part.len() == 1);
    let list = if is_decimal(text.trim()) && one(&decimal) { decimal } else { tempos_meant(text)? };
    let all: Vec<String> = tempos(&list).ok()?.iter().map(ToString::to_string).collect();
    (all.len() <= MOST).then(|| format!("[{}]", all.join(", ")))
}

/// Units in words, and how they are written here.
const UNITS: [(&str, &str); 23] = [
    ("millisecond", "ms"),
    ("milli", "ms"),
    ("msec", "ms"),
    ("milisecond", "ms"),
    ("microsecond", "us"),
    ("micro", "us"),
    ("usec", "us"),
    ("mus", "us"),
    ("nanosecond", "ns"),
    ("second", "s"),
    ("sec", "s"),
    ("percent", "%"),
    ("per cent", "%"),
    ("prozent", "%"),
    ("hertz", "Hz"),
    ("decibel", "dB"),
    ("meter", "m"),
    ("metre", "m"),
    ("ohms", "ohm"),
    ("k", "kohm"),
    ("n", "nF"),
    ("volt", "V"),
    ("degree", "C"),
];

fn of_measure(text: &str, measure: &Measure) -> Option<String> {
    let text = text.trim().replace('\u{2212}', "-");
    let end = text.find(|c: char| !c.is_ascii_digit() && !"+-.,".contains(c)).unwrap_or(text.len());
    let (number, unit) = (text[..end].replacen(',', ".", 1), text[end..].trim().to_lowercase());
    let units = measure.dimension.units();
    let word = || {
        let found = UNITS.iter().find(|(word, _)| *word == unit || Some(*word) == unit.strip_suffix('s'));
        found.map(|(_, unit)| *unit)
    };
    // Of another case than ours a unit may be another: `mohm` is not `Mohm`.
    let spelled = || units.spelled.iter().map(|(spelling, _)| *spelling).find(|s| *s == text[end..].trim());
    let unit = if unit.is_empty() { units.usual } else { word().or_else(spelled)? };
    let written = format!("{} {unit}", number.trim_start_matches('+'));
    has_unit(&written, measure).then_some(written)
}

/// Another key of the table, to which a quantity belongs by its unit: a time in `phase` is a `shift`.
pub(super) fn of_another(node: &Node, own: &Row, rows: impl Iterator<Item = &'static Row>) -> Option<String> {
    let Value::Text(text) = &node.value else { return None };
    if reads(&own.takes, text) {
        return None;
    }
    // A number without a unit may belong anywhere.
    text.contains(|c: char| c == '%' || c.is_alphabetic()).then_some(())?;
    let write = |row: &Row| match row.takes {
        Takes::Quantity(measure) => has_unit(text, measure).then(|| format!("{} = \"{text}\"", row.key)),
        _ => None,
    };
    rows.into_iter().find_map(write)
}

/// A pattern in the signs of another notation: `1010`, `X-x-`, `[1, 0, 1]`.
fn steps(node: &Node, text: &str) -> Option<String> {
    let listed = match &node.value {
        Value::List(list) => list.iter().map(step).collect::<Option<String>>()?,
        Value::Text(_) | Value::Number(_) => text.to_owned(),
        _ => return None,
    };
    // Beside a sign for a hit, an `o` is a rest.
    let rests = if listed.contains(['x', 'X', '1']) { ".-_0~oO" } else { ".-_0~" };
    let sign = |c: char| match c {
        c if rests.contains(c) => Some('.'),
        'x' | '1' | 'o' | 'O' | '*' => Some('x'),
        'X' | '2' | '!' | 'A' | '>' => Some('X'),
        '|' | ' ' => Some(c),
        _ => None,
    };
    let kept = listed.chars().filter(|c| !matches!(c, ',' | ';' | '[' | ']' | '\n' | '\r' | '\t'));
    let written: String = kept.map(sign).collect::<Option<String>>()?;
    pattern::steps(&written).is_ok().then(|| written.trim().to_owned())
}

/// One step of a list: a hit or none, or how strong it is. A number past a velocity is none, and nor is the number of a step.
fn step(node: &Node) -> Option<char> {
    match &node.value {
        Value::Bool(hit) => Some(if *hit { 'x' } else { '.' }),
        Value::Number(Some(number)) if matches!(number.as_str(), "0" | "1") => {
            Some(if number == "1" { 'x' } else { '.' })
        }
        Value::Text(text) if text.chars().count() == 1 => text.chars().next(),
        _ => None,
    }
}

fn yes_or_no(text: &str) -> Option<bool> {
    match text.trim().to_lowercase().as_str() {
        "true" | "yes" | "on" | "1" | "y" => Some(true),
        "false" | "no" | "off" | "0" | "n" => Some(false),
        _ => None,
    }
}

fn meter(text: &str) -> Option<String> {
    let numbers: Vec<u32> = text
        .split(|c: char| !c.is_ascii_digit())
        .filter(|part| !part.is_empty())
        .map_while(|n| n.parse().ok())
        .collect();
    let (count, unit) = match numbers[..] {
        [count, unit] => (count, unit),
        [count] => (count, 4),
        _ => return None,
    };
    crate::patch::model::Meter::new(count, unit).map(|meter| format!("{}/{}", meter.count, meter.unit))
}

/// Names in one text that belong into a list of texts.
fn path(node: &Node) -> Option<String> {
    let text = match &node.value {
        Value::Text(text) => text,
        Value::List(list) => match &list[..] {
            [Node { value: Value::Text(text), .. }] => text,
            _ => return None,
        },
        _ => return None,
    };
    let names: Vec<&str> = text
        .split([',', '>', '+', ';', ' ', '|'])
        .map(|n| n.trim_matches(['-', ' ']))
        .filter(|n| !n.is_empty())
        .collect();
    let plain = |name: &&str| name.chars().all(|c| c.is_ascii_alphanumeric() || "-_.".contains(c));
    let quoted = |names: &[&str]| names.iter().map(|name| format!("\"{name}\"")).collect::<Vec<_>>().join(", ");
    (names.len() > 1 && names.iter().all(plain)).then(|| format!("[{}]", quoted(&names)))
}
