//! The schema of patches, and patches as it sees them.

pub(crate) mod tables;

use serde_json::{Map, Value};

/// A schema, held by another library than the one that made it.
pub(crate) struct Validator(jsonschema::Validator);

impl Validator {
    pub(crate) fn new(text: &str) -> Self {
        let schema: Value = serde_json::from_str(text).expect("JSON");
        assert!(jsonschema::meta::is_valid(&schema), "a schema by the rules of schemas");
        Self(jsonschema::options().build(&schema).expect("a schema"))
    }

    /// Where a value breaks the schema, first found; nothing if it keeps it.
    pub(crate) fn fault(&self, value: &Value) -> Option<String> {
        if self.0.is_valid(value) {
            return None;
        }
        self.0.iter_errors(value).next().map(|error| format!("{}: {error}", error.instance_path()))
    }
}

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
