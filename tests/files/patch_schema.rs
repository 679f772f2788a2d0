//! The JSON Schema of patch files against the parser: what the one accepts the other accepts, and what is bad by its shape both
//! refuse.

use crate::schema;

use hitgap::patch::{Asked, Patch, SCHEMA};
use schema::{Validator, json};
use serde_json::Value;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// Patches that are bad by what names mean, by what goes together, or by what the file is as a whole.
const MEANINGS: [&str; 21] = [
    "cable-to-input-and-ear",
    "change-clock-plugs",
    "change-closes-loop",
    "change-continue-running",
    "change-dwell-too-long",
    "change-order",
    "clock-at",
    "fix-closes-loop",
    "loops",
    "loops-never-start",
    "multiply-too-fast",
    "name-undefined",
    "one",
    "period-too-short",
    "piece-too-long",
    "second-input-of-itself",
    "second-inputs-branch",
    "tempo-map-overlap",
    "tempo-map-too-long",
    "tempo-map-width",
    "width-reaches-next-rise",
];

fn files(folder: &str) -> Vec<(String, String)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
    let mut files: Vec<PathBuf> =
        std::fs::read_dir(folder).expect("a folder").map(|e| e.expect("an entry").path()).collect();
    files.retain(|file| file.extension().is_some_and(|e| e == "toml"));
    files.sort();
    let name = |file: &Path| file.file_stem().expect("a name").to_string_lossy().into_owned();
    files.iter().map(|file| (name(file), std::fs::read_to_string(file).expect("a text"))).collect()
}

#[test]
fn what_the_parser_accepts_the_schema_accepts() {
    let validator = Validator::new(SCHEMA);
    let mut examples = files("patches");
    examples.push(("new".to_owned(), include_str!("../../src/cli/new.toml").to_owned()));
    let mut seen = 0;
    for (name, text) in examples {
        if Patch::parse(&text, &Asked::default()).is_ok() {
            seen += 1;
            assert_eq!(validator.fault(&json(&text).expect("TOML")), None, "{name}");
        }
    }
    assert!(seen > 20, "{seen} examples");
}

/// What a switch of the clock has no use for is warned of, whatever it says: the parser does not read it, so that a text that
/// was half turned into another change is no mistake yet.
#[test]
fn what_is_only_warned_of_the_schema_accepts() {
    let validator = Validator::new(SCHEMA);
    let patch = |acts: [&str; 2], more: &str| {
        format!(
            "[clock.a]\nrate = \"4 per beat\"\n[sequencer.s]\nclock = \"a\"\nsteps = \"x\"\nvoice = \"kick\"\n\
             [[change]]\nafter = \"4 beats\"\n{}\n[[change]]\nafter = \"8 beats\"\n{}\n{more}\n",
            acts[0], acts[1]
        )
    };
    let idle = ["rate-change = \"slowly\"", "passes-through = 3", "dwell = \"a while\"", "dwell = 5"];
    let turns = "set.\"clock.a.rate\" = \"2 per beat\"";
    for more in idle {
        for last in ["start = true", "continue = true"] {
            let text = patch(["stop = true", last], more);
            let read =
                Patch::parse(&text, &Asked::default()).unwrap_or_else(|f| panic!("{}", f.render("p", &text, false)));
            assert_eq!(read.warnings.count(), 1, "{text}");
            assert_eq!(validator.fault(&json(&text).expect("TOML")), None, "{text}");
        }
        // Where a rate is set, both refuse it.
        let text = patch([turns, turns], more);
        assert!(Patch::parse(&text, &Asked::default()).is_err(), "{text}");
        assert!(validator.fault(&json(&text).expect("TOML")).is_some(), "{text}");
    }
}

#[test]
fn what_is_bad_by_its_shape_the_schema_refuses() {
    let validator = Validator::new(SCHEMA);
    let mut accepted = BTreeSet::new();
    let mut refused = 0;
    for (name, text) in files("tests/bad") {
        assert!(Patch::parse(&text, &Asked::default()).is_err(), "{name}");
        // A fault of syntax is told before any schema is asked.
        let Some(value) = json(&text) else { continue };
        match validator.fault(&value) {
            Some(_) => refused += 1,
            None => drop(accepted.insert(name)),
        }
    }
    assert_eq!(accepted, MEANINGS.map(str::to_owned).into());
    assert!(refused > 30, "{refused} refused");
}

/// Every word that may be chosen somewhere, as the parser lists them when it finds another.
#[test]
fn the_words_to_choose_from_are_the_parsers() {
    let schema: Value = serde_json::from_str(SCHEMA).expect("JSON");
    let mut places: Vec<(String, String, String)> = Vec::new();
    for (name, definition) in schema["$defs"].as_object().expect("definitions") {
        let heading = match name.as_str() {
            "output" => "[clock.c]".to_owned(),
            "sequencer" => "[sequencer.s]\nreset = \"c\"".to_owned(),
            "voice" => "[voice.v]".to_owned(),
            "change-of-rate" => "[[change]]\nafter = \"4 beats\"\nset.\"clock.c.rate\" = \"2 per beat\"".to_owned(),
            "tempo-step" => "[[tempo-map]]\nat = \"4 beats\"\ntempo = 60\nover = \"1 beat\"".to_owned(),
            _ => match name.strip_prefix("stage-") {
                Some(kind) => format!("[stage.s]\nkind = \"{kind}\""),
                None => continue,
            },
        };
        places.extend(
            definition["properties"]
                .as_object()
                .expect("keys")
                .keys()
                .map(|key| (name.clone(), heading.clone(), key.clone())),
        );
    }
    let mut compared = 0;
    for (name, heading, key) in places {
        let mut of_schema = &schema["$defs"][&name]["properties"][&key];
        while let Some(pointer) = of_schema["$ref"].as_str() {
            of_schema = schema.pointer(&pointer[1..]).expect("a definition");
        }
        let words = match (&of_schema["enum"], &of_schema["const"]) {
            (Value::Array(words), _) => words.clone(),
            (_, word @ Value::String(_)) => vec![word.clone()],
            _ => Vec::new(),
        };
        // The kind of a stage is looked at below.
        if key == "kind" {
            continue;
        }
        let faults =
            Patch::parse(&format!("{heading}\n{key} = \"qqqqqqqq\"\n"), &Asked::default()).expect_err("a bad patch");
        let told = faults.list().iter().find(|f| f.message == format!("`qqqqqqqq` is not a value of `{key}`"));
        let of_parser: BTreeSet<&str> =
            told.map(|f| f.label.split('"').skip(1).step_by(2).collect()).unwrap_or_default();
        let of_schema: BTreeSet<&str> = words.iter().filter_map(Value::as_str).collect();
        assert_eq!(of_schema, of_parser, "{name}.{key}");
        compared += usize::from(!of_schema.is_empty());
    }
    assert!(compared >= 20, "{compared} choices");
    let faults = Patch::parse("[stage.s]\nkind = \"qqqqqqqq\"\n", &Asked::default()).expect_err("a bad patch");
    let kinds: BTreeSet<&str> = faults
        .list()
        .iter()
        .find(|f| f.message.contains("`kind`"))
        .expect("told")
        .label
        .split('"')
        .skip(1)
        .step_by(2)
        .collect();
    let of_schema: BTreeSet<&str> = schema["$defs"]["stage"]["properties"]["kind"]["enum"]
        .as_array()
        .expect("kinds")
        .iter()
        .filter_map(Value::as_str)
        .collect();
    assert_eq!(kinds, of_schema);
}
