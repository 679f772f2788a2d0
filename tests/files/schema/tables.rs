//! The tables of a patch, each in a document that is good: what the table of keys says is tried in them.

use hitgap::patch::{Absent, KINDS, Keys, Measure, Row, Rule, Takes, keys};

/// A table, and how to put it into a document.
pub(crate) struct Place {
    pub(crate) keys: &'static Keys,
    /// What stands before its keys.
    heading: String,
    /// Keys and values with which it is good.
    fewest: Vec<(&'static str, &'static str)>,
}

/// What other tables name.
const DEFINED: &str = "[clock.a]\nrate = \"4 per beat\"\n[stage.gate]\nkind = \"delay\"\ndelay = \"1 ms\"\n\
    [stage.look]\nkind = \"poll\"\nperiod = \"500 us\"\n[sequencer.s]\nclock = \"a\"\nsteps = \"x...\"\nvoice = \"kick\"\n";

/// The table of an entry of the top.
fn under(key: &str) -> &'static Keys {
    match keys().row(key).expect("a key").takes {
        Takes::Named(keys) | Takes::Tables(keys, ..) | Takes::Table(keys) => keys,
        other => panic!("{key} is {other:?}"),
    }
}

/// Every table whose keys are in the table of keys; those within others are reached through these.
pub(crate) fn places() -> Vec<Place> {
    let place = |keys, heading: &str, fewest: &[(&'static str, &'static str)]| Place {
        keys,
        heading: heading.to_owned(),
        fewest: fewest.to_vec(),
    };
    let mut all = vec![
        place(keys(), "", &[]),
        place(under("clock"), "[clock.t]", &[("rate", "\"4 per beat\"")]),
        place(under("wire"), "[wire.t]", &[("path", "\"a\"")]),
        place(
            under("sequencer"),
            "[sequencer.t]",
            &[("clock", "\"a\""), ("steps", "\"x.......\""), ("voice", "\"kick\"")],
        ),
        place(under("hits"), "[hits.t]", &[("file", "\"t.csv\""), ("voice", "\"kick\"")]),
        place(under("tempo-map"), "[[tempo-map]]", &[("at", "\"4 beats\""), ("tempo", "90")]),
        place(
            under("change"),
            "[[change]]",
            &[("after", "\"4 beats\""), ("set", "{ \"clock.a.rate\" = \"2 per beat\" }")],
        ),
        place(under("fix"), "[fix.t]", &[("set", "{ \"clock.a.phase\" = \"1 %\" }")]),
        place(under("jitter"), "[jitter]", &[("wander", "\"1 ms\""), ("wander-period", "\"5 s\"")]),
    ];
    for kind in KINDS {
        let fewest: &[(&str, &str)] = match kind.word {
            "delay" => &[("delay", "\"1 ms\"")],
            "rc" => &[("r", "\"10 kohm\""), ("c", "\"10 nF\""), ("threshold-rise", "\"2.5 V\"")],
            "envelope" => {
                &[("attack", "\"5 ms\""), ("decay", "\"5 ms\""), ("peak", "\"9 V\""), ("threshold-rise", "\"8 V\"")]
            }
            "logic" => &[("does", "\"or\""), ("with", "\"a\""), ("delay", "\"1 ms\"")],
            "jitter" => &[("wander", "\"1 ms\""), ("wander-period", "\"5 s\"")],
            // What must be written is added below.
            _ => &[],
        };
        let mut place = place(&kind.keys, &format!("[stage.t]\nkind = \"{}\"", kind.word), fewest);
        for row in kind.keys.rows.iter().filter(|row| matches!(row.absent, Absent::Needed(_))) {
            if place.fewest.iter().all(|(key, _)| *key != row.key) {
                place.fewest.push((row.key, place.example(row)));
            }
        }
        all.push(place);
    }
    all
}

impl Place {
    /// What the table is called, with its kind; nothing for the top.
    pub(crate) fn table(&self) -> &str {
        let line = self.heading.lines().next().unwrap_or_default();
        match line.trim_matches(['[', ']']) {
            "change" => "change.1",
            "tempo-map" => "tempo-map.1",
            name => name,
        }
    }

    /// A document with this table as it is, but for some keys; a key without a value is left out.
    pub(crate) fn document(&self, changed: &[(&str, Option<&str>)]) -> String {
        let mut lines: Vec<(&str, &str)> = self.fewest.clone();
        for (key, value) in changed {
            lines.retain(|(known, _)| known != key);
            lines.extend(value.map(|value| (*key, value)));
        }
        let lines: String = lines.iter().map(|(key, value)| format!("{key} = {value}\n")).collect();
        match self.heading.as_str() {
            "" => format!("{lines}{DEFINED}"),
            // A clock is started again that has been stopped.
            heading if changed.iter().any(|(key, value)| ["start", "continue"].contains(key) && value.is_some()) => {
                format!("{DEFINED}[[change]]\nafter = \"2 beats\"\nstop = true\n{heading}\n{lines}")
            }
            heading => format!("{DEFINED}{heading}\n{lines}"),
        }
    }

    /// What must be changed beside a key so that it may be written.
    pub(crate) fn beside(&self, key: &'static str) -> Vec<(&'static str, Option<&'static str>)> {
        let mut all = Vec::new();
        let example = |other: &'static str| Some(self.example(self.keys.row(other).expect("a row")));
        for rule in self.keys.rules {
            match *rule {
                Rule::OneOf(keys) if keys.contains(&key) => {
                    all.extend(keys.iter().filter(|other| **other != key).map(|other| (*other, None)));
                }
                Rule::NotBoth(one, other) if one == key => all.push((other, None)),
                Rule::NotBoth(one, other) if other == key => all.push((one, None)),
                Rule::Needs(one, other) if one == key => all.push((other, example(other))),
                Rule::AnyOf(sets) => {
                    let own = sets.iter().find(|keys| keys.len() > 1 && keys.contains(&key));
                    let others = own.into_iter().flat_map(|keys| *keys).filter(|other| **other != key);
                    all.extend(others.map(|other| (*other, example(other))));
                }
                _ => {}
            }
        }
        if key == "passes-through" {
            all.push(("dwell", Some("\"1 ms\"")));
        }
        if key == "dwell" {
            all.push(("passes-through", Some("[\"1 per beat\"]")));
        }
        all
    }

    /// A value that a key may have in this table.
    pub(crate) fn example(&self, row: &Row) -> &'static str {
        let known = self.fewest.iter().find(|(key, _)| *key == row.key);
        match (known, row.takes, row.key) {
            (Some((_, value)), ..) => value,
            (None, _, "threshold-fall") => "\"2 V\"",
            // Of an `rc` that still passes its threshold.
            (None, _, "high") => "\"6 V\"",
            (None, _, "low") => "\"1 V\"",
            (None, _, "load") => "\"1 Mohm\"",
            (None, Takes::Quantity(measure) | Takes::Limits(measure) | Takes::QuantityOr(measure, _), _) => {
                quoted(measure.examples.0)
            }
            (None, Takes::TimeOrShare(..), _) => "\"5 ms\"",
            (None, Takes::Whole(least, _), _) => {
                if least > 0 {
                    "1"
                } else {
                    "0"
                }
            }
            (None, Takes::YesNo, "follow-tempo") => "false",
            (None, Takes::YesNo | Takes::Yes, _) => "true",
            (None, Takes::Words(words), _) => quoted(words[0]),
            (None, Takes::Text { .. }, _) => "\"some words\"",
            (None, Takes::Name("poll stage"), _) => "\"look\"",
            (None, Takes::Name("output"), _) => "\"a\"",
            (None, Takes::Name("kind of box"), _) => "\"plays-on\"",
            (None, Takes::Name(_), _) => "\"kick\"",
            (None, Takes::Path, _) => "[\"a\", \"gate\"]",
            (None, Takes::Out, _) => "[\"gate\"]",
            (None, Takes::Names(_), _) => "[\"s\", \"a\"]",
            (None, Takes::Rate, _) => "\"1 per 2 beats\"",
            (None, Takes::Rates, _) => "[\"1 per beat\"]",
            (None, Takes::Beats(_), _) => "\"2 beats\"",
            (None, Takes::Tempo | Takes::TempoOrShare, _) => "90",
            (None, Takes::Tempos, _) => "[60, 120]",
            (None, Takes::Meter, _) => "\"3/4\"",
            (None, Takes::Steps, _) => "\"x...\"",
            (None, Takes::File(_), _) => "\"t.csv\"",
            (None, Takes::Notes, _) => "{ 36 = \"kick\" }",
            (None, Takes::Set, _) => "{ \"clock.a.phase\" = \"1 %\" }",
            (None, Takes::Table(_), "each") => "{ sd = \"1 ms\" }",
            (None, Takes::Table(_), "euclidean") => "{ hits = 3, steps = 8 }",
            (None, Takes::Table(_), "input") => "{ min-high = \"1 ms\" }",
            (None, Takes::Table(_), "jitter") => "{ each = { range = \"1 ms\" } }",
            (None, other, key) => panic!("no example of {key}, which is {other:?}"),
        }
    }

    /// The rows whose values can be written in a line.
    pub(crate) fn rows(&self) -> impl Iterator<Item = &'static Row> {
        let plain = |row: &&Row| {
            !matches!(
                row.takes,
                Takes::Named(_) | Takes::Stages { .. } | Takes::Voices | Takes::Boxes | Takes::Tables(..)
            )
        };
        self.keys.rows.iter().filter(plain)
    }
}

/// Values past the bounds of a key.
pub(crate) fn outside(takes: Takes) -> Vec<String> {
    match takes {
        Takes::Quantity(measure) | Takes::Limits(measure) | Takes::QuantityOr(measure, _) => past(measure),
        Takes::TimeOrShare(time, share) => [past(time), past(share)].concat(),
        Takes::Whole(least, most) => vec![(least - 1).to_string(), (most + 1).to_string()],
        Takes::Rate => {
            ["0 per beat", "10001 per beat", "1 per 0 beats", "1 per 10001 beats", "-1 per beat", "1.5 per beat"]
                .map(|rate| quoted(rate).to_owned())
                .into()
        }
        Takes::Beats(least) => {
            let none = if least.open { "\"0 beats\"" } else { "\"-1 beats\"" };
            vec![none.to_owned(), "\"144000001 beats\"".to_owned()]
        }
        Takes::Tempo | Takes::TempoOrShare => vec!["0.9".to_owned(), "1000.1".to_owned()],
        Takes::Tempos => ["[]", "[0.9]", "[60, 1001]"].map(str::to_owned).into(),
        Takes::Meter => ["\"0/4\"", "\"65/4\"", "\"4/3\"", "\"4/128\""].map(str::to_owned).into(),
        Takes::Steps => vec!["\"| |\"".to_owned(), "\"x.o\"".to_owned()],
        Takes::File(_) => vec!["\"t.mp3\"".to_owned()],
        Takes::Notes => vec!["{ 128 = \"kick\" }".to_owned(), "{ 036 = \"kick\" }".to_owned()],
        Takes::Path => vec!["[]".to_owned()],
        Takes::Rates => vec!["[]".to_owned(), "[\"0 per beat\"]".to_owned()],
        Takes::Set => vec!["{}".to_owned()],
        Takes::Words(_) => vec!["\"qqqq\"".to_owned()],
        _ => Vec::new(),
    }
}

/// The ends of a range, as far as they belong to it.
pub(crate) fn ends(measure: &Measure) -> impl Iterator<Item = String> {
    [measure.least, measure.most].into_iter().filter(|end| !end.open).map(|end| quoted(end.text).to_owned())
}

/// The ends of a range where they do not belong to it, and a thousandth past them where they do.
fn past(measure: &Measure) -> Vec<String> {
    let beyond = |text: &str, up: bool| {
        let (number, unit) = text.split_once(' ').expect("a number and a unit");
        let whole: i64 = number.parse().expect("a whole number");
        // In thousandths of the unit.
        let thousandths = whole * 1000 + if up { 1 } else { -1 };
        let sign = if thousandths < 0 { "-" } else { "" };
        format!("\"{sign}{}.{:03} {unit}\"", thousandths.abs() / 1000, thousandths.abs() % 1000)
    };
    let end = |end: hitgap::patch::Bound, up: bool| {
        if end.open { format!("\"{}\"", end.text) } else { beyond(end.text, up) }
    };
    vec![end(measure.least, false), end(measure.most, true)]
}

/// Values of types that a key has not.
pub(crate) fn wrong_types(takes: Takes) -> Vec<&'static str> {
    let mut all = vec!["2020-01-01", "[[\"x\"]]", "[{ x = 1 }]"];
    if !matches!(takes, Takes::YesNo | Takes::Yes) {
        all.push("true");
    }
    if !matches!(takes, Takes::Whole(..) | Takes::Tempo | Takes::TempoOrShare) {
        all.push("5");
    }
    if !matches!(takes, Takes::Text { .. } | Takes::Name(_) | Takes::Path | Takes::Out) {
        all.push("\"?\"");
    }
    if !matches!(takes, Takes::Table(_) | Takes::Notes | Takes::Set) {
        all.push("{ x = 1 }");
    }
    all
}

/// In quotes, as long as the tests run.
fn quoted(text: &str) -> &'static str {
    format!("\"{text}\"").leak()
}
