//! The shapes that a schema is put together from.

use super::pattern::quantity;
use crate::patch::check::view::{LONGEST_NAME, MOST_OF_A_KIND};
use crate::patch::model::{Absent, Dimension, Row, Rule};
use crate::voice::{Model, Param, Unit};
use serde_json::{Map, Value, json};

/// How names are written.
pub(super) const NAME: &str = "[A-Za-z0-9][A-Za-z0-9_-]*";

/// What must be there, and what goes together.
pub(super) fn bind(table: &mut Map<String, Value>, rows: &[Row], rules: &[Rule]) {
    let needed: Vec<&str> =
        rows.iter().filter(|row| matches!(row.absent, Absent::Needed(_))).map(|row| row.key).collect();
    if !needed.is_empty() {
        table.insert("required".to_owned(), json!(needed));
    }
    let mut all: Vec<Value> = Vec::new();
    for rule in rules {
        match rule {
            Rule::OneOf(keys) => {
                let each: Vec<Value> = keys.iter().map(|key| json!({ "required": [key] })).collect();
                all.push(json!({ "oneOf": each }));
            }
            Rule::AnyOf(sets) => {
                let each: Vec<Value> = sets.iter().map(|keys| json!({ "required": keys })).collect();
                all.push(json!({ "anyOf": each }));
            }
            Rule::NotBoth(one, other) => all.push(json!({ "not": { "required": [one, other] } })),
            Rule::Needs(key, other) => all.push(json!({ "dependentRequired": { *key: [other] } })),
            Rule::OnlyWith(..) | Rule::FilledBy(_) => {}
        }
    }
    if !all.is_empty() {
        table.insert("allOf".to_owned(), Value::Array(all));
    }
    // What else it needs, it needs only where nothing fills it in.
    if let Some(key) = rules.iter().find_map(|rule| if let Rule::FilledBy(key) = rule { Some(key) } else { None }) {
        let bound =
            ["required", "allOf"].into_iter().filter_map(|word| table.remove(word).map(|v| (word.to_owned(), v)));
        let bound: Map<String, Value> = bound.collect();
        table.insert("if".to_owned(), json!({ "required": [key] }));
        table.insert("else".to_owned(), Value::Object(bound));
    }
}

/// A table in which a key is a word.
pub(super) fn is(key: &str, word: &str) -> Value {
    json!({ "properties": { key: { "const": word } }, "required": [key] })
}

/// A name that is defined elsewhere.
pub(super) fn name() -> Value {
    json!({ "type": "string", "minLength": 1 })
}

/// The path of a file whose name ends in one of these, in small letters or capitals.
pub(super) fn file(ends: &[&str]) -> Value {
    let either = |c: char| format!("[{c}{}]", c.to_ascii_uppercase());
    let all: Vec<String> = ends.iter().map(|end| end.chars().map(either).collect()).collect();
    json!({ "type": "string", "pattern": format!("\\.({})$", all.join("|")), "maxLength": 4096 })
}

/// Tables with names.
pub(super) fn named(item: &Value) -> Value {
    json!({
        "type": "object",
        "propertyNames": { "pattern": format!("^{NAME}$"), "maxLength": LONGEST_NAME },
        "maxProperties": MOST_OF_A_KIND,
        "additionalProperties": item,
    })
}

/// A text that matches every one of some patterns.
pub(super) fn text(patterns: &[String], examples: &[&str]) -> Value {
    let all: Vec<Value> = patterns.iter().map(|pattern| json!({ "pattern": pattern })).collect();
    let mut value = json!({ "type": "string", "allOf": all });
    if !examples.is_empty() {
        value["examples"] = json!(examples);
    }
    value
}

/// A key that several models of voices may have, each within bounds of its own.
pub(super) fn parameters(key: &str) -> Value {
    let all = Model::ALL.iter().flat_map(|model| model.params()).filter(|param| param.key == key);
    json!({ "anyOf": all.map(parameter).collect::<Vec<_>>() })
}

/// A key of one model of voices.
pub(super) fn parameter(param: &Param) -> Value {
    let (dimension, base) = match param.unit {
        Unit::Frequency => (Dimension::Frequency, "Hz"),
        Unit::Time => (Dimension::Time, "s"),
        Unit::Level => (Dimension::Level, "dB"),
        Unit::Share => (Dimension::Share, "%"),
    };
    let scale = if param.unit == Unit::Share { 100.0 } else { 1.0 };
    let end = |value: f64| format!("{} {base}", value * scale);
    let (least, most) = (end(param.min), end(param.max));
    let patterns = quantity(dimension, Some((&least, false)), Some((&most, false)));
    let mut value = text(&patterns, &[]);
    value["description"] = json!(param.about);
    value
}

/// A name for a definition: small letters, digits and hyphens.
pub(super) fn slug(words: &str) -> String {
    let plain = |c: char| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' };
    let words = words.replace("-1", "minus 1").replace("-6", "minus 6").replace('%', "per cent");
    let words: String = words.chars().map(plain).collect();
    let parts: Vec<&str> = words.split('-').filter(|part| !part.is_empty() && !matches!(*part, "a" | "an")).collect();
    parts.join("-")
}
