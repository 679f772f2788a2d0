//! The values of a table, each read as its row in the table of keys says.

use crate::patch::check::fault::{Fault, Place};
use crate::patch::check::node::Value;
use crate::patch::check::show::shown;
use crate::patch::check::view::{Kind, View, check_keys, undefined};
use crate::patch::model::given::{About, Conflict, Given};
use crate::patch::model::{Absent, Keys, Measure, Path, Row, Takes, Tolerance};
use crate::patch::read::fields::{Fields, Got, Told};
use crate::patch::read::path::path;
use crate::patch::read::quantities::{Limits, fits, plain, sheet};
use crate::patch::read::quantity::{self, QuantityError};
use crate::time::Span;

/// One table and the rows of its keys.
pub(in crate::patch) struct Values<'f, 'v, 'a> {
    pub(in crate::patch) fields: &'f mut Fields<'v, 'a>,
    keys: &'static Keys,
    /// What is defined elsewhere, for those tables that name it.
    view: Option<&'f View<'f>>,
}

/// Tells every key that a table has not.
pub(in crate::patch) fn check(fields: &mut Fields<'_, '_>, keys: &'static Keys) {
    let known: Vec<&str> = keys.names().collect();
    check_keys(&fields.section.fields, &known, keys.what, fields.faults);
}

impl<'f, 'v, 'a> Values<'f, 'v, 'a> {
    pub(in crate::patch) fn new(
        fields: &'f mut Fields<'v, 'a>,
        keys: &'static Keys,
        view: Option<&'f View<'f>>,
    ) -> Self {
        Self { fields, keys, view }
    }

    /// The row of a key. All that is asked for has one: else nothing would be read.
    fn row(&self, key: &str) -> Option<&'static Row> {
        let row = self.keys.row(key);
        debug_assert!(row.is_some(), "no row for `{key}` in {}", self.keys.what);
        row
    }

    fn measure(&self, key: &str) -> Result<&'static Measure, Told> {
        match self.row(key).map(|row| row.takes) {
            Some(Takes::Quantity(measure) | Takes::Limits(measure) | Takes::QuantityOr(measure, _)) => Ok(measure),
            _ => Err(Told),
        }
    }

    /// What holds where nothing is written: the default, or a fault.
    fn or_else<T>(&mut self, key: &str, got: Got<T>, read: impl FnOnce(&'static str) -> Option<T>) -> Got<T> {
        match (got?, self.row(key).map(|row| row.absent)) {
            (Some(value), _) => Ok(Some(value)),
            (None, Some(Absent::Needed(help))) => Err(self.fields.missing(key, help)),
            (None, Some(Absent::Is(text))) => Ok(read(text)),
            (None, _) => Ok(None),
        }
    }

    fn plain<T: Limits>(&mut self, key: &str) -> Got<T> {
        let measure = self.measure(key)?;
        let got = plain(self.fields, key, measure);
        self.or_else(key, got, |text| T::read(measure.dimension, text).ok())
    }

    fn sheet<T: Limits + PartialEq>(&mut self, key: &str) -> Got<Tolerance<T>> {
        let measure = self.measure(key)?;
        let got = sheet(self.fields, key, measure);
        self.or_else(key, got, |text| T::read(measure.dimension, text).ok().map(Tolerance::plain))
    }

    /// A whole number within the bounds of its row.
    pub(in crate::patch) fn whole(&mut self, key: &str) -> Got<i64> {
        let Some(Takes::Whole(least, most)) = self.row(key).map(|row| row.takes) else { return Err(Told) };
        self.fields.whole(key, least, most)
    }

    fn place(&self, about: About) -> Place {
        let entry = match about {
            About::Table => None,
            About::Key(key) => self.fields.get(key).map(|(key, _)| key.at.clone()),
            About::Value(key) => self.fields.get(key).map(|(_, node)| node.at.clone()),
        };
        entry.unwrap_or_else(|| self.fields.at.clone())
    }

    fn fault(&self, conflict: Conflict) -> Fault {
        let Conflict { about, message, label, other, help } = conflict;
        let fault = Fault::new(self.place(about), format!("{} {message}", self.fields.what)).label(label).help(help);
        match other {
            Some((key, label)) => fault.context(self.place(About::Key(key)), label),
            None => fault,
        }
    }
}

impl Given for Values<'_, '_, '_> {
    fn has(&self, key: &str) -> bool {
        self.fields.has(key)
    }

    fn written(&self, key: &str) -> String {
        self.fields.written(key)
    }

    fn time(&mut self, key: &'static str) -> Got<Span> {
        self.plain(key)
    }

    fn times(&mut self, key: &'static str) -> Got<Tolerance<Span>> {
        self.sheet(key)
    }

    fn time_or_word(&mut self, key: &'static str) -> Got<Option<Span>> {
        let Some(Takes::QuantityOr(measure, word)) = self.row(key).map(|row| row.takes) else { return Err(Told) };
        let read = |text: &str| match text {
            _ if text == word => Ok(None),
            _ => quantity::whole_time(text).map(Some).map_err(|error| QuantityError {
                expected: "a time with its unit or \"random\", such as \"120 us\"",
                ..error
            }),
        };
        let got = match self.fields.quantity(key, read)? {
            Some(Some(time)) if !fits(time, measure) => {
                let written = self.fields.written(key);
                Err(self.fields.out_of_bounds(key, &written, measure.expected))
            }
            got => Ok(got),
        };
        self.or_else(key, got, |text| read(text).ok())
    }

    fn number(&mut self, key: &'static str) -> Got<f64> {
        self.plain(key)
    }

    fn numbers(&mut self, key: &'static str) -> Got<Tolerance<f64>> {
        self.sheet(key)
    }

    fn whole_to(&mut self, key: &'static str, most: u32) -> Got<u32> {
        let Some(Takes::Whole(least, largest)) = self.row(key).map(|row| row.takes) else { return Err(Told) };
        let got = self.fields.whole(key, least, largest.min(i64::from(most)));
        let got = got.map(|whole| whole.and_then(|n| u32::try_from(n).ok()));
        self.or_else(key, got, |text| text.parse().ok())
    }

    fn yes_or_no(&mut self, key: &'static str) -> Got<bool> {
        let got = self.fields.yes_or_no(key);
        self.or_else(key, got, |text| text.parse().ok())
    }

    fn word(&mut self, key: &'static str) -> Got<&'static str> {
        let Some(Takes::Words(words)) = self.row(key).map(|row| row.takes) else { return Err(Told) };
        let choices: Vec<_> = words.iter().map(|word| (*word, *word)).collect();
        let got = self.fields.choice(key, &choices);
        self.or_else(key, got, Some)
    }

    fn path(&mut self, key: &'static str) -> Got<Path> {
        let view = self.view.ok_or(Told)?;
        let got = path(self.fields, key, view);
        self.or_else(key, got, |_| None)
    }

    fn names(&mut self, key: &'static str) -> Got<Vec<String>> {
        const EXAMPLE: &str =
            "write order = [\"ox\", \"wren\"], names of sequencers, outputs or stages, those first that are sent first";
        const KINDS: [Kind; 3] = [Kind::Sequencer, Kind::Output, Kind::Stage];
        let (Some((_, node)), Some(view)) = (self.fields.get(key), self.view) else { return Ok(None) };
        let Value::List(list) = &node.value else {
            return Err(self.fields.wrong_type(key, node, "a list of names", EXAMPLE));
        };
        let mut names: Vec<String> = Vec::new();
        let mut told = Ok(());
        for node in list {
            let Value::Text(name) = &node.value else {
                told = Err(self.fields.wrong_type(key, node, "a name in quotes", EXAMPLE));
                continue;
            };
            let known = KINDS.iter().any(|kind| view.position(*kind, name).is_some());
            let fault = if !known {
                let all = KINDS.iter().flat_map(|kind| view.names(*kind));
                let how = format!("define it with a heading [sequencer.{}]", shown(name));
                undefined(node.at.clone(), name, "sequencer, output or stage", all, &how)
            } else if names.contains(name) {
                Fault::new(node.at.clone(), format!("`{}` is twice in one order", shown(name)))
                    .label("expected each name once")
                    .help("take one out")
            } else {
                names.push(name.clone());
                continue;
            };
            told = Err(self.fields.tell(fault));
        }
        told.map(|()| Some(names))
    }

    fn within(&mut self, key: &'static str, read: &mut dyn FnMut(&mut dyn Given) -> Result<(), Told>) -> Got<()> {
        let Some(Takes::Table(keys)) = self.row(key).map(|row| row.takes) else { return Err(Told) };
        let Some((name, node)) = self.fields.get(key) else { return Ok(None) };
        let Value::Table(table) = &node.value else {
            return Err(self.fields.wrong_type(key, node, "a table", keys.about));
        };
        let view = self.view;
        self.fields.within(name, table, |inner| {
            check(inner, keys);
            read(&mut Values { fields: inner, keys, view }).map(Some)
        })
    }

    fn tell(&mut self, conflict: Conflict) -> Told {
        let fault = self.fault(conflict);
        self.fields.tell(fault)
    }

    fn out_of_bounds(&mut self, key: &str, found: &str, expected: &str) -> Told {
        self.fields.out_of_bounds(key, found, expected)
    }

    fn warn(&mut self, conflict: Conflict) {
        let fault = self.fault(conflict);
        self.fields.warnings.push(fault);
    }

    fn without_effect(&mut self, key: &str, why: &str) {
        self.fields.without_effect(key, why);
    }
}
