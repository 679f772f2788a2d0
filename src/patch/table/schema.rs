//! The JSON Schema of patches, made of the table of keys.

use super::pattern::{BLANKS, beats, end, quantity};
use super::shape::{NAME, bind, file, is, name, named, parameter, parameters, slug, text};
use crate::patch::check::view::{Kind, MOST_OF_A_KIND};
use crate::patch::model::{Absent, Carries, Dimension, KINDS, Keys, KindOfStage, Measure, Nought, Row, Rule, Takes};
use crate::patch::read::words::LONGEST_LINE;
use crate::patch::read::{box_kind, component, output, sequencer, take, voice, wire};
use crate::voice::Model;
use serde_json::{Map, Value, json};
use std::sync::LazyLock;

/// The shape of a patch file as a JSON Schema (draft 2020-12), for editors that complete and check what is typed: its tables,
/// keys, words, units and bounds. What names mean, and what must go together, only [`Patch::parse`](crate::patch::Patch::parse) knows;
/// whatever that accepts, the schema accepts too.
pub static SCHEMA: LazyLock<String> = LazyLock::new(|| {
    let mut schema = Schema::default();
    let top = schema.table(super::keys());
    let Value::Object(mut all) = top else { return String::new() };
    all.insert("$schema".to_owned(), json!("https://json-schema.org/draft/2020-12/schema"));
    all.insert("title".to_owned(), json!("hitgap patch"));
    all.insert("$defs".to_owned(), Value::Object(schema.defs));
    // A map of texts and numbers can always be written.
    serde_json::to_string_pretty(&all).unwrap_or_default() + "\n"
});

#[derive(Default)]
struct Schema {
    defs: Map<String, Value>,
}

impl Schema {
    /// Refers to a definition, which is made when it is first asked for.
    fn define(&mut self, name: &str, make: impl FnOnce(&mut Self) -> Value) -> Value {
        if !self.defs.contains_key(name) {
            self.defs.insert(name.to_owned(), Value::Null);
            let made = make(self);
            self.defs.insert(name.to_owned(), made);
        }
        json!({ "$ref": format!("#/$defs/{name}") })
    }

    /// A table with all its rules.
    fn table(&mut self, keys: &'static Keys) -> Value {
        let mut table = self.entries(keys.about, keys.rows, keys.rules);
        bind(&mut table, keys.rows, keys.rules);
        Value::Object(table)
    }

    /// A table of which each key is good by itself.
    fn entries(&mut self, about: &str, rows: &'static [Row], rules: &'static [Rule]) -> Map<String, Value> {
        let unread: Vec<&str> = rules
            .iter()
            .flat_map(|rule| if let Rule::OnlyWith(_, keys) = rule { *keys } else { &[] })
            .copied()
            .collect();
        let mut properties = Map::new();
        for row in rows {
            let mut value = if unread.contains(&row.key) { json!({}) } else { self.value(row.takes) };
            value["description"] = json!(row.about);
            if let Absent::Is(default) = row.absent {
                value["default"] = match row.takes {
                    Takes::Whole(..) | Takes::YesNo => serde_json::from_str(default).unwrap_or_default(),
                    _ => json!(default),
                };
            }
            properties.insert(row.key.to_owned(), value);
        }
        let mut table = Map::new();
        table.insert("description".to_owned(), json!(about));
        table.insert("type".to_owned(), json!("object"));
        table.insert("properties".to_owned(), Value::Object(properties));
        table.insert("additionalProperties".to_owned(), json!(false));
        for rule in rules {
            if let Rule::OnlyWith(with, keys) = rule {
                let values: Map<String, Value> = rows
                    .iter()
                    .filter(|row| keys.contains(&row.key))
                    .map(|row| (row.key.to_owned(), self.value(row.takes)))
                    .collect();
                table.insert("if".to_owned(), json!({ "required": [with] }));
                table.insert("then".to_owned(), json!({ "properties": values }));
            }
        }
        table
    }

    /// What may stand under a key.
    fn value(&mut self, takes: Takes) -> Value {
        match takes {
            Takes::Quantity(measure) => self.measure(measure),
            Takes::Limits(measure) => self.limits(measure),
            Takes::QuantityOr(measure, word) => json!({ "anyOf": [self.measure(measure), { "const": word }] }),
            Takes::TimeOrShare(time, share) => json!({ "anyOf": [self.measure(time), self.measure(share)] }),
            Takes::Whole(least, most) => json!({ "type": "integer", "minimum": least, "maximum": most }),
            Takes::YesNo => json!({ "type": "boolean" }),
            Takes::Yes => json!({ "const": true }),
            Takes::Words(words) => json!({ "enum": words }),
            Takes::Text { lines: true } | Takes::OtherFile => json!({ "type": "string" }),
            Takes::Text { lines: false } => json!({ "type": "string", "maxLength": LONGEST_LINE }),
            Takes::Name(_) => name(),
            Takes::Path => self.define("path", |_| {
                let list = json!({ "type": "array", "items": name(), "minItems": 1, "maxItems": MOST_OF_A_KIND + 1 });
                let examples = json!(["sixteenths", ["sixteenths", "gate"], "sequencer.ox.end", "wire.split"]);
                json!({ "anyOf": [name(), list], "examples": examples })
            }),
            Takes::Out => {
                json!({ "anyOf": [name(), { "type": "array", "items": name(), "maxItems": MOST_OF_A_KIND }] })
            }
            Takes::Names(_) => json!({ "type": "array", "items": name() }),
            Takes::Rate => self.define("rate", |_| {
                // Whole numbers from 1 to 10,000.
                const NUMBER: &str = "\\+?0*(?:[1-9][0-9]{0,3}|10000)(?:\\.0+)?";
                let blank = "[\\s\\u0085]+";
                let pattern = format!("^{BLANKS}{NUMBER}{blank}per(?:{blank}{NUMBER})?{blank}beats?{BLANKS}$");
                json!({ "type": "string", "pattern": pattern, "examples": ["4 per beat", "1 per 16 beats"] })
            }),
            Takes::Rates => {
                json!({ "type": "array", "items": self.value(Takes::Rate), "minItems": 1, "maxItems": crate::patch::read::change::MOST_PASSED })
            }
            Takes::Beats(least) => {
                let name = if least.open { "beats-above-0" } else { "beats" };
                self.define(name, |_| text(&beats(least), &["16 beats"]))
            }
            Takes::Tempo => {
                self.define("tempo", |_| json!({ "description": "quarter notes a minute, with at most 6 decimals", "type": "number", "minimum": 1, "maximum": 1000 }))
            }
            Takes::TempoOrShare => {
                json!({ "anyOf": [self.value(Takes::Tempo), text(&quantity(Dimension::Share, Some(("0 %", true)), None), &["125 %"])] })
            }
            Takes::Tempos => {
                json!({ "type": "array", "items": self.value(Takes::Tempo), "minItems": 1, "maxItems": MOST_OF_A_KIND })
            }
            Takes::Meter => {
                let pattern = format!("^{BLANKS}0*(?:[1-9]|[1-5][0-9]|6[0-4]){BLANKS}/{BLANKS}0*(?:1|2|4|8|16|32|64){BLANKS}$");
                json!({ "type": "string", "pattern": pattern, "examples": ["4/4"] })
            }
            Takes::Steps => json!({ "type": "string", "pattern": "^[xX.| \\t\\n\\r]*[xX.][xX.| \\t\\n\\r]*$" }),
            Takes::File(ends) => file(ends),
            Takes::Notes => json!({
                "type": "object",
                "propertyNames": { "pattern": "^([0-9]|[1-9][0-9]|1[01][0-9]|12[0-7])$" },
                "additionalProperties": name(),
            }),
            Takes::Strokes(ends) => json!({
                "type": "object",
                "propertyNames": { "pattern": "^([1-9]|[1-9][0-9]|1[01][0-9]|12[0-6])$" },
                "additionalProperties": file(ends),
            }),
            Takes::Texts(most) => {
                json!({ "type": "array", "items": { "type": "string" }, "minItems": 1, "maxItems": most })
            }
            Takes::Table(keys) => self.table(keys),
            Takes::Tables(keys, least, most) => {
                let item = self.define(&slug(keys.what), |schema| schema.table(keys));
                json!({ "type": "array", "items": item, "minItems": least, "maxItems": most })
            }
            Takes::Named(keys) => {
                let item = self.define(&slug(keys.what), |schema| schema.table(keys));
                named(&item)
            }
            Takes::Stages { components } => {
                let item = self.stage(components);
                named(&item)
            }
            Takes::Voices => {
                let item = self.define("voice", |schema| schema.voice());
                named(&item)
            }
            Takes::Boxes => {
                let item = self.define("kind-of-box", Self::kind_of_box);
                named(&item)
            }
            Takes::Brings => self.define("brings", Self::brings),
            Takes::Set => self.define("set", Self::set),
        }
    }

    fn measure(&mut self, measure: &Measure) -> Value {
        let ends =
            [measure.least, measure.most].map(|end| format!("{}{}", if end.open { "past " } else { "" }, end.text));
        let name = slug(&format!("{} from {} to {}", measure.dimension.units().noun, ends[0], ends[1]));
        let patterns = quantity(measure.dimension, Some(end(measure.least)), Some(end(measure.most)));
        self.define(&name, |_| {
            let mut value = text(&patterns, &[measure.examples.0]);
            value["description"] = json!(measure.expected);
            value
        })
    }

    /// A quantity, or a table with its limits.
    fn limits(&mut self, measure: &Measure) -> Value {
        let plain = self.measure(measure);
        let needed: &[&str] = if measure.nought == Nought::Possible { &["max"] } else { &["min", "max"] };
        let none = Some(("0", false));
        let mut off = vec![text(&quantity(measure.dimension, none, None), &[])];
        if measure.nought != Nought::Arbitrary {
            off.push(text(&quantity(Dimension::Share, none, None), &["5 %"]));
        }
        json!({ "anyOf": [
            plain,
            {
                "type": "object",
                "properties": { "min": plain, "typ": plain, "max": plain },
                "required": needed,
                "additionalProperties": false,
            },
            {
                "type": "object",
                "properties": { "value": plain, "tolerance": { "anyOf": off } },
                "required": ["value", "tolerance"],
                "additionalProperties": false,
            },
        ] })
    }

    /// A stage of any kind, or a component.
    fn stage(&mut self, component: bool) -> Value {
        let name = if component { "component" } else { "stage" };
        self.define(name, |schema| {
            let may = |kind: &&KindOfStage| !component || kind.carries != Carries::Hits;
            let kinds: Vec<&'static KindOfStage> = KINDS.iter().filter(may).collect();
            let words: Vec<&str> = kinds.iter().map(|kind| kind.word).collect();
            let of_kind = |kind: &&'static KindOfStage| {
                let then = schema.define(&format!("{name}-{}", kind.word), |schema| schema.of_kind(kind, component));
                json!({ "if": is("kind", kind.word), "then": then })
            };
            let rules: Vec<Value> = kinds.iter().map(of_kind).collect();
            let about = if component { component::KEYS.about } else { "what delays or alters pulses or hits" };
            json!({
                "description": about,
                "type": "object",
                "properties": { "kind": { "enum": words } },
                "required": ["kind"],
                "allOf": rules,
            })
        })
    }

    fn of_kind(&mut self, kind: &'static KindOfStage, component: bool) -> Value {
        let mut table = self.entries(kind.keys.about, kind.keys.rows, kind.keys.rules);
        bind(&mut table, kind.keys.rows, kind.keys.rules);
        let more = if component { self.entries("", component::KEYS.rows, &[]) } else { Map::new() };
        if let Some(properties) = table.get_mut("properties").and_then(Value::as_object_mut) {
            properties.insert("kind".to_owned(), json!({ "const": kind.word }));
            if let Some(more) = more.get("properties").and_then(Value::as_object) {
                properties.extend(more.clone());
            }
        }
        Value::Object(table)
    }

    /// A voice: the keys of its model, or where it says none those of all.
    fn voice(&mut self) -> Value {
        let mut rules: Vec<Value> = Vec::new();
        let file = self.entries(voice::KEYS.about, voice::KEYS.rows, &[]);
        rules.push(json!({ "if": { "required": ["file"] }, "then": file }));
        for model in Model::ALL {
            let mut table = self.entries(voice::KEYS.about, voice::KEYS.rows, &[]);
            if let Some(properties) = table.get_mut("properties").and_then(Value::as_object_mut) {
                properties.extend(model.params().iter().map(|param| (param.key.to_owned(), parameter(param))));
            }
            rules.push(json!({ "if": is("model", model.name()), "then": table }));
        }
        let mut any = self.entries(voice::KEYS.about, voice::KEYS.rows, &[]);
        if let Some(properties) = any.get_mut("properties").and_then(Value::as_object_mut) {
            for key in Model::ALL.iter().flat_map(|model| model.params()).map(|param| param.key) {
                properties.insert(key.to_owned(), parameters(key));
            }
        }
        bind(&mut any, &[], voice::KEYS.rules);
        if let Some(Value::Array(all)) = any.get_mut("allOf") {
            all.extend(rules);
        }
        Value::Object(any)
    }

    /// A kind of box: what it says of itself, and the keys of a sequencer.
    fn kind_of_box(&mut self) -> Value {
        let mut table = self.entries(box_kind::KEYS.about, box_kind::KEYS.rows, &[]);
        bind(&mut table, box_kind::KEYS.rows, box_kind::KEYS.rules);
        let mut more = self.entries("", sequencer::KEYS.rows, &[]);
        if let (Some(properties), Some(more)) = (
            table.get_mut("properties").and_then(Value::as_object_mut),
            more.get_mut("properties").and_then(Value::as_object_mut),
        ) {
            more.remove(box_kind::LIKE);
            properties.append(more);
        }
        Value::Object(table)
    }

    /// What a kind of box brings: whole tables. A `*` in a name stands for that of the sequencer.
    fn brings(&mut self) -> Value {
        let mut patterns = Map::new();
        for kind in box_kind::BRINGS {
            let item = match kind {
                Kind::Output => self.define(&slug(output::KEYS.what), |schema| schema.table(&output::KEYS)),
                _ => self.stage(false),
            };
            patterns.insert(format!("^{}\\.[A-Za-z0-9*][A-Za-z0-9*_-]*$", kind.key()), item);
        }
        json!({
            "description": "quoted paths of two parts, such as \"stage.cable\", each with a whole table",
            "type": "object",
            "maxProperties": MOST_OF_A_KIND,
            "patternProperties": patterns,
            "additionalProperties": false,
        })
    }

    /// What is set: paths of two parts lead to whole tables, which other paths may complete, those of three to one key.
    fn set(&mut self) -> Value {
        let mut patterns = Map::new();
        for kind in Kind::ALL {
            let begin = format!("^{}\\.{NAME}", kind.key());
            let keys = match kind {
                Kind::Output => &output::KEYS,
                Kind::Wire => &wire::KEYS,
                Kind::Sequencer => &sequencer::KEYS,
                Kind::Take => &take::KEYS,
                Kind::Voice => &voice::KEYS,
                Kind::Stage => {
                    self.set_stages(&begin, &mut patterns);
                    continue;
                }
            };
            let mut whole = self.entries(keys.about, keys.rows, &[]);
            // Kinds are filled in before anything is set.
            whole
                .get_mut("properties")
                .and_then(Value::as_object_mut)
                .map(|properties| properties.remove(box_kind::LIKE));
            if let (Kind::Voice, Some(properties)) = (kind, whole.get_mut("properties").and_then(Value::as_object_mut))
            {
                for key in Model::ALL.iter().flat_map(|model| model.params()).map(|param| param.key) {
                    properties.insert(key.to_owned(), parameters(key));
                }
            }
            for (key, value) in whole.get("properties").and_then(Value::as_object).into_iter().flatten() {
                patterns.insert(format!("{begin}\\.{key}$"), value.clone());
            }
            patterns.insert(format!("{begin}$"), Value::Object(whole));
        }
        json!({
            "description": "quoted paths, such as \"clock.slow.phase\": the kind, the name and the key; or two parts and a whole table",
            "type": "object",
            "minProperties": 1,
            "maxProperties": MOST_OF_A_KIND,
            "patternProperties": patterns,
            "additionalProperties": false,
        })
    }

    fn set_stages(&mut self, begin: &str, patterns: &mut Map<String, Value>) {
        let words: Vec<&str> = KINDS.iter().map(|kind| kind.word).collect();
        let mut properties = Map::new();
        properties.insert("kind".to_owned(), json!({ "enum": words }));
        for row in KINDS.iter().flat_map(|kind| kind.keys.rows) {
            let value = self.value(row.takes);
            // A key of several kinds takes what it takes in any of them.
            let known = properties.entry(row.key).or_insert_with(|| json!({ "anyOf": [] }));
            if let Some(known) = known["anyOf"].as_array_mut().filter(|known| !known.contains(&value)) {
                known.push(value);
            }
        }
        patterns.extend(properties.iter().map(|(key, value)| (format!("{begin}\\.{key}$"), value.clone())));
        let whole = json!({ "type": "object", "properties": properties, "additionalProperties": false });
        patterns.insert(format!("{begin}$"), whole);
    }
}
