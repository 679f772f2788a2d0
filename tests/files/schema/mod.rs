//! The schema of patches, and patches as it sees them.

mod validator;

pub(crate) use validator::Validator;

use serde_json::{Map, Value};

/// TOML as JSON has it; what JSON has not (dates, numbers without end) becomes something that no schema asks for.
pub(crate) fn json(source: &str) -> Option<Value> {
    let table: toml::Table = toml::from_str(source.strip_prefix('\u{feff}').unwrap_or(source)).ok()?;
    Some(value(&toml::Value::Table(table)))
}

fn value(toml: &toml::Value) -> Value {
    match toml {
        toml::Value::String(text) => Value::String(text.clone()),
        toml::Value::Integer(n) => Value::from(*n),
        toml::Value::Float(n) => Value::from(*n),
        toml::Value::Boolean(b) => Value::Bool(*b),
        toml::Value::Datetime(_) => Value::Null,
        toml::Value::Array(all) => all.iter().map(value).collect(),
        toml::Value::Table(all) => {
            Value::Object(all.iter().map(|(key, v)| (key.clone(), value(v))).collect::<Map<_, _>>())
        }
    }
}
