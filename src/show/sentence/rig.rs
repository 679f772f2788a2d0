//! Values and tables to begin with.

use crate::patch::{Absent, KindOfStage, Row, Rule, Sight, Slot, Takes, Worth};

/// A value that a key may have.
pub(super) fn example(sight: &Sight, slot: Slot) -> Worth {
    let row = match slot {
        Slot::Param(param) => return Worth::Text(param.unit.show(param.min)),
        Slot::Row(row) => row,
    };
    if let Some(written) = in_help(row) {
        return written;
    }
    if let Absent::Is(default) = row.absent {
        return super::teller::default_of(slot, default);
    }
    let output = || sight.of("clock").next().map_or("sixteenths", |output| &output.name).to_owned();
    match row.takes {
        Takes::Quantity(measure) | Takes::Limits(measure) | Takes::QuantityOr(measure, _) => {
            Worth::text(measure.examples.0)
        }
        Takes::TimeOrShare(..) => Worth::text("5 ms"),
        Takes::Whole(least, most) => Worth::Whole(least.max(1).min(most)),
        Takes::YesNo | Takes::Yes => Worth::Bool(true),
        Takes::Words(words) => Worth::text(words.first().copied().unwrap_or_default()),
        Takes::Path => Worth::Text(output()),
        Takes::Name("voice") => Worth::text("kick"),
        Takes::Name("output") => Worth::Text(output()),
        Takes::Name("kind of box") => Worth::text("takes-high-pulse"),
        Takes::Name(_) => {
            let polls = sight.of("stage").find(|stage| stage.text("kind") == Some("poll"));
            Worth::Text(polls.map_or("loop".to_owned(), |stage| stage.name.clone()))
        }
        Takes::Out | Takes::Names(_) => Worth::List(Vec::new()),
        Takes::Rate => Worth::text("4 per beat"),
        Takes::Rates => Worth::List(vec![Worth::text("2 per beat")]),
        Takes::Beats(_) => Worth::text("4 beats"),
        Takes::Tempo | Takes::TempoOrShare => Worth::Whole(120),
        Takes::Tempos => Worth::List(vec![Worth::Whole(120)]),
        Takes::Meter => Worth::text("4/4"),
        Takes::Steps => Worth::text("x...x...x...x..."),
        Takes::File(ends) if ends.contains(&"wav") => Worth::text("drum.wav"),
        Takes::File(_) => Worth::text("take.csv"),
        Takes::Text { .. } | Takes::OtherFile => Worth::text("words"),
        Takes::Texts(_) => Worth::List(vec![Worth::text("words")]),
        Takes::Strokes(_) => Worth::Table(vec![("100".to_owned(), Worth::text("soft.wav"))]),
        Takes::Notes => Worth::Table(vec![("36".to_owned(), Worth::text("kick"))]),
        Takes::Table(keys) => {
            let first = keys.rows.iter().find(|row| matches!(row.absent, Absent::Needed(_))).or(keys.rows.first());
            Worth::Table(first.map(|row| (row.key.to_owned(), example(sight, Slot::Row(row)))).into_iter().collect())
        }
        Takes::Set => Worth::Table(vec![(format!("clock.{}.phase", output()), Worth::text("1 %"))]),
        _ => Worth::Table(Vec::new()),
    }
}

/// What the help for a key that is missing would write: `write r = "10 kohm"`.
fn in_help(row: &Row) -> Option<Worth> {
    let Absent::Needed(help) = row.absent else { return None };
    let rest = help.strip_prefix("write ")?.strip_prefix(row.key)?.strip_prefix(" = ")?;
    if let Some(text) = rest.strip_prefix('"') {
        let text = text.split('"').next()?;
        // A word in capitals stands for a name.
        return (!text.chars().any(|c| c.is_ascii_uppercase()) || text.contains(' ')).then(|| Worth::text(text));
    }
    rest.split([',', ' ']).next()?.parse().ok().map(Worth::Whole)
}

/// A stage of a kind with what must be written.
pub(super) fn example_stage(sight: &Sight, kind: &KindOfStage) -> Worth {
    let mut entries = vec![("kind".to_owned(), Worth::text(kind.word))];
    let put = |entries: &mut Vec<(String, Worth)>, row: &'static Row| {
        if entries.iter().all(|(key, _)| key != row.key) {
            entries.push((row.key.to_owned(), example(sight, Slot::Row(row))));
        }
    };
    for row in kind.keys.rows {
        // A gate with two inputs needs the second.
        if matches!(row.absent, Absent::Needed(_)) || row.key == "with" {
            put(&mut entries, row);
        }
    }
    for rule in kind.keys.rules {
        if let Rule::AnyOf(sets) = rule
            && let Some(first) = sets.first()
        {
            kind.keys.rows.iter().filter(|row| first.contains(&row.key)).for_each(|row| put(&mut entries, row));
        }
    }
    Worth::Table(entries)
}
