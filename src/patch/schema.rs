/// The shape of a patch file as a JSON Schema (draft 2020-12), for editors that complete and check what is typed: its tables,
/// keys, words, units and bounds. What names mean, and what must go together, only [`Patch::parse`](super::Patch::parse) knows;
/// whatever that accepts, the schema accepts too.
pub const SCHEMA: &str = include_str!("schema.json");

#[cfg(test)]
mod tests {
    use super::SCHEMA;
    use crate::patch::read::{change, component, output, sequencer, stage, take, tempo_map, top, voice};
    use crate::voice::Model;
    use serde_json::Value;
    use std::collections::BTreeSet;

    /// The keys that a definition of the schema has; without a name, its top.
    fn of_schema(definition: &str) -> BTreeSet<String> {
        let schema: Value = serde_json::from_str(SCHEMA).expect("JSON");
        let table = if definition.is_empty() { &schema } else { &schema["$defs"][definition] };
        assert_eq!(table["additionalProperties"], false, "{definition}");
        table["properties"].as_object().expect("properties").keys().cloned().collect()
    }

    fn same<'k>(definition: &str, keys: impl IntoIterator<Item = &'k str>) {
        let keys: BTreeSet<String> = keys.into_iter().map(str::to_owned).collect();
        assert_eq!(of_schema(definition), keys, "{definition}");
    }

    #[test]
    fn every_key_of_the_parser_is_in_the_schema_and_no_other() {
        same("", top::KEYS);
        same("output", output::KEYS);
        same("sequencer", sequencer::KEYS);
        same("take", take::KEYS);
        same("tempo-step", tempo_map::KEYS);
        same("change", change::KEYS);
        same("wire", ["path"]);
        same("fix", ["about", "set"]);
        let kinds: Vec<_> = stage::kinds_and_keys().collect();
        for (kind, keys, carries_pulses) in &kinds {
            same(&format!("stage-{kind}"), keys.iter().copied().chain(["kind"]));
            if *carries_pulses {
                same(&format!("component-{kind}"), keys.iter().copied().chain(["kind"]).chain(component::OWN));
            }
        }
        let jitter = kinds.iter().find(|(kind, ..)| *kind == "jitter").expect("a kind");
        same("jitter", jitter.1.iter().copied());
        let params = Model::ALL.iter().flat_map(|model| model.params()).map(|param| param.key);
        same("voice", params.chain(voice::KEYS));
    }

    #[test]
    fn a_voice_has_the_keys_of_its_model() {
        let schema: Value = serde_json::from_str(SCHEMA).expect("JSON");
        let rules = schema["$defs"]["voice"]["allOf"].as_array().expect("a rule a model");
        assert_eq!(rules.len(), Model::ALL.len());
        for (rule, model) in rules.iter().zip(Model::ALL) {
            assert_eq!(rule["if"]["properties"]["model"]["const"], model.name());
            let keys: BTreeSet<&str> = rule["then"]["propertyNames"]["enum"]
                .as_array()
                .expect("keys")
                .iter()
                .filter_map(Value::as_str)
                .collect();
            assert_eq!(keys, model.params().iter().map(|p| p.key).chain(voice::KEYS).collect(), "{}", model.name());
        }
    }
}
