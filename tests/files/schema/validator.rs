//! As much of JSON Schema (draft 2020-12) as the schema of patches uses; a keyword that is not known here is a fault of it.

use regex::Regex;
use serde_json::{Map, Value};
use std::cell::RefCell;
use std::collections::HashMap;

/// Keywords that say something to people only.
const SAID: [&str; 6] = ["$schema", "$defs", "title", "description", "examples", "if"];

pub(crate) struct Validator {
    schema: Value,
    patterns: RefCell<HashMap<String, Regex>>,
}

impl Validator {
    pub(crate) fn new(text: &str) -> Self {
        Self { schema: serde_json::from_str(text).expect("JSON"), patterns: RefCell::default() }
    }

    /// Where a value breaks the schema, first found; nothing if it keeps it.
    pub(crate) fn fault(&self, value: &Value) -> Option<String> {
        self.check(&self.schema, value, "").err()
    }

    fn check(&self, schema: &Value, value: &Value, at: &str) -> Result<(), String> {
        let rules = match schema {
            Value::Bool(true) => return Ok(()),
            Value::Object(rules) => rules,
            _ => return Err(format!("{at}: nothing is allowed here")),
        };
        for (keyword, rule) in rules {
            self.keep(rules, (keyword, rule), value, at)?;
        }
        Ok(())
    }

    fn keep(
        &self,
        rules: &Map<String, Value>,
        (keyword, rule): (&str, &Value),
        value: &Value,
        at: &str,
    ) -> Result<(), String> {
        let broken = || Err(format!("{at}: {keyword} {rule}"));
        let good = |schema: &Value| self.check(schema, value, at).is_ok();
        let list = || rule.as_array().expect("a list of schemas");
        let held = match (keyword, value) {
            ("$ref", _) => {
                let pointer = rule.as_str().and_then(|r| r.strip_prefix('#')).expect("a place in the schema");
                return self.check(self.schema.pointer(pointer).unwrap_or_else(|| panic!("no {pointer}")), value, at);
            }
            ("type", _) => is_a(value, rule.as_str().expect("a type")),
            ("enum", _) => list().contains(value),
            ("const", _) => rule == value,
            ("not", _) => !good(rule),
            ("anyOf", _) => list().iter().any(good),
            ("oneOf", _) => list().iter().filter(|s| good(s)).count() == 1,
            ("allOf", _) => return list().iter().try_for_each(|s| self.check(s, value, at)),
            ("then", _) if good(&rules["if"]) => return self.check(rule, value, at),
            ("then", _) => true,
            ("pattern", Value::String(text)) => self.matches(rule.as_str().expect("a pattern"), text),
            ("minLength", Value::String(text)) => text.chars().count() as u64 >= bound(rule),
            ("maxLength", Value::String(text)) => text.chars().count() as u64 <= bound(rule),
            ("minimum", Value::Number(n)) => n.as_f64() >= rule.as_f64(),
            ("maximum", Value::Number(n)) => n.as_f64() <= rule.as_f64(),
            ("minItems", Value::Array(all)) => all.len() as u64 >= bound(rule),
            ("maxItems", Value::Array(all)) => all.len() as u64 <= bound(rule),
            ("minProperties", Value::Object(all)) => all.len() as u64 >= bound(rule),
            ("maxProperties", Value::Object(all)) => all.len() as u64 <= bound(rule),
            ("required", Value::Object(all)) => {
                list().iter().all(|key| all.contains_key(key.as_str().unwrap_or_default()))
            }
            ("dependentRequired", Value::Object(all)) => {
                let needs = |(key, others): (&String, &Value)| {
                    let there = |other: &Value| all.contains_key(other.as_str().unwrap_or_default());
                    !all.contains_key(key) || others.as_array().is_some_and(|others| others.iter().all(there))
                };
                rule.as_object().expect("keys").iter().all(needs)
            }
            ("items", Value::Array(all)) => {
                return (0..).zip(all).try_for_each(|(n, item)| self.check(rule, item, &format!("{at}/{n}")));
            }
            ("propertyNames", Value::Object(all)) => {
                return all
                    .keys()
                    .try_for_each(|key| self.check(rule, &Value::String(key.clone()), &format!("{at}/{key}")));
            }
            ("properties" | "patternProperties" | "additionalProperties", Value::Object(all)) => {
                return self.entries(rules, keyword, all, at);
            }
            (word, _) if SAID.contains(&word) => true,
            // A rule for another type of value.
            ("pattern" | "minLength" | "maxLength" | "minimum" | "maximum" | "items" | "minItems" | "maxItems", _)
            | ("minProperties" | "maxProperties" | "required" | "dependentRequired" | "propertyNames", _)
            | ("properties" | "patternProperties" | "additionalProperties", _) => true,
            (other, _) => panic!("the validator does not know {other}"),
        };
        if held { Ok(()) } else { broken() }
    }

    fn entries(
        &self,
        rules: &Map<String, Value>,
        keyword: &str,
        all: &Map<String, Value>,
        at: &str,
    ) -> Result<(), String> {
        for (key, value) in all {
            let at = format!("{at}/{key}");
            let own = rules.get("properties").and_then(|p| p.get(key));
            let patterns = rules.get("patternProperties").and_then(Value::as_object).into_iter().flatten();
            let of_pattern: Vec<&Value> =
                patterns.filter(|(p, _)| self.matches(p, key)).map(|(_, schema)| schema).collect();
            match keyword {
                "properties" => own.map_or(Ok(()), |schema| self.check(schema, value, &at))?,
                "patternProperties" => of_pattern.iter().try_for_each(|schema| self.check(schema, value, &at))?,
                _ if own.is_none() && of_pattern.is_empty() => self.check(&rules[keyword], value, &at)?,
                _ => {}
            }
        }
        Ok(())
    }

    fn matches(&self, pattern: &str, text: &str) -> bool {
        let mut known = self.patterns.borrow_mut();
        let known = known.entry(pattern.to_owned()).or_insert_with(|| Regex::new(pattern).expect(pattern));
        known.is_match(text)
    }
}

fn bound(rule: &Value) -> u64 {
    rule.as_u64().expect("a bound")
}

fn is_a(value: &Value, kind: &str) -> bool {
    match kind {
        "object" => value.is_object(),
        "array" => value.is_array(),
        "string" => value.is_string(),
        "boolean" => value.is_boolean(),
        "number" => value.is_number(),
        "integer" => value.as_f64().is_some_and(|n| n.fract() == 0.0),
        other => panic!("the validator knows no type {other}"),
    }
}
