//! The JSON Schema of patch files against the parser: what the one accepts the other accepts, and what is bad by its shape both
//! refuse.

use crate::schema::tables::{Place, ends, outside, places, wrong_types};
use crate::schema::{Validator, json};
use hitgap::patch::{Absent, Asked, Patch, Row, SCHEMA, Takes};
use proptest::prelude::*;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// Patches that are bad in a way that no schema can know, and why not.
const MEANINGS: [(&str, &str); 22] = [
    ("cable-to-input-and-ear", "one line on two ways is seen by following both"),
    ("change-clock-plugs", "what a clock hangs on in the end is seen by following its way"),
    ("change-closes-loop", "a loop is seen by following it"),
    ("change-continue-running", "whether the clock runs depends on the changes before"),
    ("change-dwell-too-long", "how long a piece lasts is reckoned"),
    ("change-order", "one entry of a list is held against another"),
    ("clock-at", "what goes with which word of `at` is told by the parser alone"),
    ("like-clock", "what a kind says is filled in by the parser alone"),
    ("like-unknown", "a name is looked up elsewhere in the file"),
    ("loops", "a loop is seen by following it"),
    ("loops-never-start", "a loop is seen by following it"),
    ("multiply-too-fast", "periods along a way are reckoned"),
    ("name-undefined", "a name is looked up elsewhere in the file"),
    ("one", "a name is looked up elsewhere in the file"),
    ("period-too-short", "a period is reckoned from a rate and a tempo"),
    ("piece-too-long", "how long a piece lasts is reckoned"),
    ("second-input-of-itself", "a loop is seen by following it"),
    ("second-inputs-branch", "ways are counted"),
    ("tempo-map-overlap", "one entry of a list is held against another"),
    ("tempo-map-too-long", "how long a piece lasts is reckoned"),
    ("tempo-map-width", "a width is held against a rate and a tempo"),
    ("width-reaches-next-rise", "a width is held against a rate and a tempo"),
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
    let validator = Validator::new(&SCHEMA);
    let mut examples = files("patches");
    examples.extend(files("src/source/carried/templates"));
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
    let validator = Validator::new(&SCHEMA);
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
    let validator = Validator::new(&SCHEMA);
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
    assert_eq!(accepted, MEANINGS.map(|(name, _)| name.to_owned()).into());
    assert!(refused > 30, "{refused} refused");
}

/// Whether a document is a patch.
fn parses(text: &str) -> bool {
    Patch::parse(text, &Asked::default()).is_ok()
}

/// Whether a document keeps the schema.
fn keeps(validator: &Validator, text: &str) -> bool {
    validator.fault(&json(text).unwrap_or_else(|| panic!("no TOML:\n{text}"))).is_none()
}

/// Goes through every key: the place of its table, its row, and what stands beside it so that it may be written.
fn each_key(mut look: impl FnMut(&Place, &'static Row, &[(&'static str, Option<&'static str>)])) -> usize {
    let mut seen = 0;
    for place in places() {
        for row in place.rows() {
            look(&place, row, &place.beside(row.key));
            seen += 1;
        }
    }
    seen
}

fn with<'a>(beside: &[(&'a str, Option<&'a str>)], key: &'a str, value: &'a str) -> Vec<(&'a str, Option<&'a str>)> {
    beside.iter().copied().chain([(key, Some(value))]).collect()
}

/// With one good value in it a document is good to both; with one that is of another type, past a bound or no word of the key it
/// is bad to both, so that it is the value that is refused and nothing else.
#[test]
fn a_fault_of_one_key_both_refuse() {
    let validator = Validator::new(&SCHEMA);
    let mut wrong: Vec<String> = Vec::new();
    let seen = each_key(|place, row, beside| {
        let mut expect = |value: &str, good: bool| {
            let text = place.document(&with(beside, row.key, value));
            for (who, found) in [("the parser", parses(&text)), ("the schema", keeps(&validator, &text))] {
                if found != good {
                    wrong.push(format!(
                        "{who} {} {} in {}:\n{value}",
                        if good { "refuses" } else { "accepts" },
                        row.key,
                        place.keys.what
                    ));
                }
            }
        };
        expect(place.example(row), true);
        outside(row.takes).iter().for_each(|value| expect(value, false));
        wrong_types(row.takes).iter().for_each(|value| expect(value, false));
    });
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(seen > 110, "{seen} keys");
}

/// A value at the end of its range may not go with others; but it is not out of bounds.
#[test]
fn the_ends_of_a_range_belong_to_it() {
    let validator = Validator::new(&SCHEMA);
    let mut seen = 0;
    each_key(|place, row, beside| {
        let all: Vec<String> = match row.takes {
            Takes::Quantity(measure) | Takes::Limits(measure) => ends(measure).collect(),
            Takes::Whole(least, most) => vec![least.to_string(), most.to_string()],
            _ => Vec::new(),
        };
        for value in all {
            seen += 1;
            let text = place.document(&with(beside, row.key, &value));
            assert!(keeps(&validator, &text), "{} in {}: {value}", row.key, place.keys.what);
            let Err(faults) = Patch::parse(&text, &Asked::default()) else { continue };
            let past = format!("`{}` is out of bounds", row.key);
            let told = faults.list().iter().find(|fault| fault.message.starts_with(&past));
            // Some ends hang on other keys, too.
            assert!(
                told.is_none()
                    || row.key == "power-up"
                    || row.key == "power-up-step"
                    || row.key == "phase"
                    || row.key == "bars",
                "{told:?}"
            );
        }
    });
    assert!(seen > 100, "{seen} ends");
}

#[test]
fn a_key_that_no_table_has_both_refuse() {
    let validator = Validator::new(&SCHEMA);
    for place in places() {
        let text = place.document(&[]);
        assert!(parses(&text) && keeps(&validator, &text), "{}", place.keys.what);
        let text = place.document(&[("qqqq", Some("1"))]);
        assert!(!parses(&text) && !keeps(&validator, &text), "{}", place.keys.what);
    }
}

/// What the table of keys says to be the default is what holds where the key is not written.
#[test]
fn a_default_that_is_written_changes_nothing() {
    let mut seen = 0;
    each_key(|place, row, beside| {
        let Absent::Is(default) = row.absent else { return };
        let value = match row.takes {
            Takes::Whole(..) | Takes::YesNo => default.to_owned(),
            _ => format!("\"{default}\""),
        };
        let read = |text: &str| {
            let patch = Patch::parse(text, &Asked::default());
            let patch = patch.unwrap_or_else(|faults| panic!("{}", faults.render("p", text, false)));
            (patch.original.rig, patch.max_gap, patch.skew)
        };
        let without: Vec<_> = beside.iter().copied().chain([(row.key, None)]).collect();
        let (written, left) = (place.document(&with(beside, row.key, &value)), place.document(&without));
        assert_eq!(read(&written), read(&left), "{} of {}", row.key, place.keys.what);
        seen += 1;
    });
    assert!(seen > 40, "{seen} defaults");
}

/// Words that mean the same would be one word; a word that is not heeded would mean what the default does.
#[test]
fn every_word_of_a_key_makes_another_rig() {
    let mut seen = 0;
    each_key(|place, row, beside| {
        let Takes::Words(words) = row.takes else { return };
        // What these say shows only beside a reset, or with others.
        if ["on-tie", "reset-edge", "while-busy", "attack-means", "does", "rate-change"].contains(&row.key) {
            return;
        }
        let mut rigs = Vec::new();
        for word in words {
            let value = format!("\"{word}\"");
            let text = place.document(&with(beside, row.key, &value));
            let patch = Patch::parse(&text, &Asked::default());
            let rig = patch.unwrap_or_else(|faults| panic!("{}", faults.render("p", &text, false))).original.rig;
            assert!(!rigs.contains(&rig), "{word} of {}", row.key);
            rigs.push(rig);
            seen += 1;
        }
    });
    assert!(seen > 20, "{seen} words");
}

/// Every word that may be chosen somewhere, as the parser lists them when it finds another.
#[test]
fn the_words_to_choose_from_are_the_parsers() {
    let mut seen = 0;
    each_key(|place, row, beside| {
        let Takes::Words(words) = row.takes else { return };
        let text = place.document(&with(beside, row.key, "\"qqqqqqqq\""));
        let faults = Patch::parse(&text, &Asked::default()).expect_err("a bad patch");
        let told = faults.list().iter().find(|f| f.message == format!("`qqqqqqqq` is not a value of `{}`", row.key));
        let label = &told.expect("a fault of the word").label;
        let of_parser: BTreeSet<&str> = label.split('"').skip(1).step_by(2).collect();
        assert_eq!(of_parser, words.iter().copied().collect(), "{}", row.key);
        seen += 1;
    });
    assert!(seen > 18, "{seen} choices");
}

proptest! {
    /// Tables with keys and values of any sort, good and bad together.
    #[test]
    fn whatever_is_a_patch_keeps_the_schema(
        table in any::<prop::sample::Index>(),
        entries in prop::collection::vec((any::<prop::sample::Index>(), any::<prop::sample::Index>()), 0..4),
    ) {
        thread_local!(static VALIDATOR: Validator = Validator::new(&SCHEMA));
        let all = places();
        let place = table.get(&all);
        let rows: Vec<&Row> = place.rows().collect();
        let chosen: Vec<(&Row, String)> = entries
            .iter()
            .map(|(row, value)| {
                let row = *row.get(&rows);
                (row, value.get(&values(place, row)).clone())
            })
            .collect();
        let mut changed: Vec<(&str, Option<&str>)> = Vec::new();
        for (row, value) in &chosen {
            changed.extend(place.beside(row.key).into_iter().filter(|(key, _)| chosen.iter().all(|(row, _)| row.key != *key)));
            changed.push((row.key, Some(value)));
        }
        let text = place.document(&changed);
        if let Some(value) = json(&text).filter(|_| parses(&text)) {
            VALIDATOR.with(|validator| assert_eq!(validator.fault(&value), None, "{text}"));
        }
    }
}

/// Values of a key: good ones in several spellings, the ends of its range, some past them, and some of other types.
fn values(place: &Place, row: &Row) -> Vec<String> {
    let example = place.example(row).to_owned();
    let mut all = vec![example.clone(), example.replace(' ', ""), example.replace('"', "\"\"\"")];
    if let Takes::Quantity(measure) | Takes::Limits(measure) | Takes::QuantityOr(measure, _) = row.takes {
        let (usual, more) = measure.examples;
        all.extend(ends(measure));
        all.extend([
            format!("\" +{usual}\\t\""),
            format!("\"00{more}\""),
            format!("\"-{usual}\""),
            format!("\"\u{2212} {usual}\""),
            format!("{{ min = \"{usual}\", max = \"{more}\" }}"),
            format!("{{ typ = \"{usual}\", max = \"{more}\" }}"),
            format!("{{ value = \"{more}\", tolerance = \"5 %\" }}"),
            format!("{{ value = \"{more}\", tolerance = \"{usual}\" }}"),
        ]);
    }
    all.extend(outside(row.takes));
    all.extend(wrong_types(row.takes).iter().map(|value| (*value).to_owned()));
    all
}
