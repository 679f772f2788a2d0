//! Reads the values of one table, telling what is wrong with each.

use crate::patch::check::fault::{Fault, Faults, Place};
use crate::patch::check::node::{Key, Node, Table, Value};
use crate::patch::check::show::shown;
use crate::patch::check::view::Section;
pub(in crate::patch) use crate::patch::model::given::{Got, Told};
use crate::patch::model::measures::LONGEST_TIME_S;
use crate::patch::read::quantity::{self, QuantityError};
use crate::time::{ExactPs, PS_PER_SECOND};
use num_rational::Ratio;

/// One table being read.
pub(in crate::patch) struct Fields<'v, 'a> {
    /// The text of the file.
    pub(in crate::patch) source: &'a str,
    /// What is being read, with its name: ``the output `slow` ``.
    pub(in crate::patch) what: String,
    /// Where faults of the whole table point.
    pub(in crate::patch) at: Place,
    pub(in crate::patch) section: &'v Section<'a>,
    pub(in crate::patch) faults: &'v mut Faults,
    pub(in crate::patch) warnings: &'v mut Faults,
}

impl<'a> Fields<'_, 'a> {
    pub(in crate::patch) fn get(&self, key: &str) -> Option<(&'a Key, &'a Node)> {
        self.section.get(key)
    }

    pub(in crate::patch) fn has(&self, key: &str) -> bool {
        self.get(key).is_some()
    }

    pub(in crate::patch) fn tell(&mut self, fault: Fault) -> Told {
        self.faults.push(fault);
        Told
    }

    /// Tells that a key must be there.
    pub(in crate::patch) fn missing(&mut self, key: &str, help: &str) -> Told {
        let fault = Fault::new(self.at.clone(), format!("{} has no `{key}`", self.what))
            .label(format!("expected `{key}` in this table"))
            .help(help);
        self.tell(fault)
    }

    /// What a key gave, where it must be there.
    pub(in crate::patch) fn needed<T>(&mut self, key: &str, got: Got<T>, help: &str) -> Result<T, Told> {
        match got {
            Ok(Some(value)) => Ok(value),
            Ok(None) => Err(self.missing(key, help)),
            Err(told) => Err(told),
        }
    }

    /// A value of the wrong type.
    pub(in crate::patch) fn wrong_type(&mut self, key: &str, node: &Node, expected: &str, help: &str) -> Told {
        let fault = Fault::new(node.at.clone(), format!("`{key}` is {}", node.kind()))
            .label(format!("found {}, expected {expected}", node.kind()))
            .help(help);
        self.tell(fault)
    }

    /// What is written in quotes; `example` is shown where it is something else.
    pub(in crate::patch) fn text(&mut self, key: &str, example: &str) -> Got<(&'a str, &'a Node)> {
        let Some((_, node)) = self.get(key) else { return Ok(None) };
        match &node.value {
            Value::Text(text) => Ok(Some((text, node))),
            _ => Err(self.wrong_type(key, node, "a text in quotes", &format!("write {key} = \"{example}\""))),
        }
    }

    /// A quantity with its unit.
    pub(in crate::patch) fn quantity<T>(
        &mut self,
        key: &str,
        read: impl Fn(&str) -> Result<T, QuantityError>,
    ) -> Got<T> {
        let Some((_, node)) = self.get(key) else { return Ok(None) };
        let (text, bare) = match &node.value {
            Value::Text(text) => (text.as_str(), false),
            Value::Number(_) => (self.source.get(node.at.clone()).unwrap_or_default(), true),
            _ => {
                let error = match read("") {
                    Err(error) => error.expected,
                    Ok(_) => "a quantity",
                };
                return Err(self.wrong_type(key, node, error, &format!("write {error}")));
            }
        };
        let error = match read(text) {
            Ok(value) if !bare => return Ok(Some(value)),
            Ok(_) => QuantityError::new(format!("`{key}` is a bare number"), None, "a text in quotes"),
            Err(error) => error,
        };
        let (short, _) = error.expected.split_once(", such as").unwrap_or((error.expected, ""));
        let help = match &error.write {
            Some(write) => format!("write {key} = \"{write}\""),
            None => format!("write {}", error.expected),
        };
        let fault = Fault::new(node.at.clone(), error.message).label(format!("expected {short}")).help(help);
        Err(self.tell(fault))
    }

    /// Tells that a value is past a bound: the figure and the bound.
    pub(in crate::patch) fn out_of_bounds(&mut self, key: &str, found: &str, expected: &str) -> Told {
        let at = self.get(key).map_or(self.at.clone(), |(_, node)| node.at.clone());
        let fault = Fault::new(at, format!("`{key}` is out of bounds: {found}"))
            .label(format!("found {found}, expected {expected}"))
            .help(format!("change `{key}` to {expected}"));
        self.tell(fault)
    }

    /// A time that is exact to a femtosecond and no longer than the bound, with its sign.
    pub(in crate::patch) fn time(&mut self, key: &str) -> Got<ExactPs> {
        let Some(time) = self.quantity(key, quantity::time)? else { return Ok(None) };
        let most = Ratio::from_integer(i128::from(LONGEST_TIME_S) * i128::from(PS_PER_SECOND));
        if time > most || time < -most {
            // As it is written: rounded, it could read like the bound itself.
            let found = self.written(key);
            return Err(self.out_of_bounds(key, &found, &format!("at most {LONGEST_TIME_S} s")));
        }
        Ok(Some(time))
    }

    /// A whole number between bounds, both included.
    pub(in crate::patch) fn whole(&mut self, key: &str, least: i64, most: i64) -> Got<i64> {
        let Some((_, node)) = self.get(key) else { return Ok(None) };
        let range = format!("a whole number from {least} to {most}");
        let example = format!("write {key} = {}", least.max(1).min(most));
        let Value::Number(number) = &node.value else {
            return Err(self.wrong_type(key, node, &format!("{range}, without quotes"), &example));
        };
        let written = shown(self.source.get(node.at.clone()).unwrap_or_default());
        let digits = number.as_deref().filter(|n| n.trim_start_matches(['+', '-']).bytes().all(|b| b.is_ascii_digit()));
        let Some(digits) = digits else {
            let fault = Fault::new(node.at.clone(), format!("`{key}` is {written}, not a plain whole number"))
                .label(format!("expected {range}"))
                .help(example);
            return Err(self.tell(fault));
        };
        match digits.parse::<i64>() {
            Ok(value) if (least..=most).contains(&value) => Ok(Some(value)),
            _ => Err(self.out_of_bounds(key, &written, &range)),
        }
    }

    /// Whether or not.
    pub(in crate::patch) fn yes_or_no(&mut self, key: &str) -> Got<bool> {
        let Some((_, node)) = self.get(key) else { return Ok(None) };
        match &node.value {
            Value::Bool(value) => Ok(Some(*value)),
            _ => Err(self.wrong_type(key, node, "true or false, without quotes", &format!("write {key} = true"))),
        }
    }

    /// As it is written, for a message.
    pub(in crate::patch) fn written(&self, key: &str) -> String {
        match self.get(key) {
            Some((_, Node { value: Value::Text(text), .. })) => shown(text),
            Some((_, node)) => shown(self.source.get(node.at.clone()).unwrap_or_default()),
            None => String::new(),
        }
    }

    /// Reads the table that is the value of a key.
    pub(in crate::patch) fn within<T>(
        &mut self,
        key: &'a Key,
        table: &'a Table,
        read: impl FnOnce(&mut Fields<'_, 'a>) -> T,
    ) -> T {
        let section = Section::new(key, table);
        read(&mut Fields {
            source: self.source,
            what: format!("the `{}` of {}", shown(&key.text), self.what),
            at: key.at.clone(),
            section: &section,
            faults: self.faults,
            warnings: self.warnings,
        })
    }

    /// Reads the table that is one entry of a list, such as `change 2`.
    pub(in crate::patch) fn entry<T>(
        &mut self,
        (key, node): (&'a Key, &'a Node),
        what: String,
        help: &str,
        read: impl FnOnce(&mut Fields<'_, 'a>) -> Result<T, Told>,
    ) -> Result<T, Told> {
        let Value::Table(table) = &node.value else {
            let fault = Fault::new(node.at.clone(), format!("{what} is {}, not a table", node.kind()))
                .label(format!("found {}, expected a table", node.kind()))
                .help(help);
            return Err(self.tell(fault));
        };
        let section = Section::new(key, table);
        read(&mut Fields {
            source: self.source,
            what,
            at: node.at.clone(),
            section: &section,
            faults: self.faults,
            warnings: self.warnings,
        })
    }

    /// One of a few words, of which it is to be said what each means.
    pub(in crate::patch) fn choice_of<T: Copy>(
        &mut self,
        key: &str,
        choices: &[(&'static str, T)],
        meaning: &str,
    ) -> Got<T> {
        let got = self.choice(key, choices);
        if let Some(fault) = self.faults.last_mut().filter(|_| got.is_err()) {
            meaning.clone_into(&mut fault.help);
        }
        got
    }

    /// One of a few words.
    pub(in crate::patch) fn choice<T: Copy>(&mut self, key: &str, choices: &[(&'static str, T)]) -> Got<T> {
        let example = choices.first().map_or("", |(word, _)| word);
        let Some((text, node)) = self.text(key, example)? else { return Ok(None) };
        if let Some((_, value)) = choices.iter().find(|(word, _)| *word == text) {
            return Ok(Some(*value));
        }
        let words: Vec<_> = choices.iter().map(|(word, _)| format!("\"{word}\"")).collect();
        let words = words.join(", ");
        let close = crate::patch::check::show::nearest(text, choices.iter().map(|(word, _)| *word));
        let (label, help) = match (close, choices.len()) {
            (_, 1) => (format!("expected {words}"), format!("write {key} = {words}")),
            (Some(close), _) => (format!("did you mean \"{close}\"?"), format!("write one of {words}")),
            (None, _) => (format!("expected one of {words}"), format!("write {key} = \"{example}\"")),
        };
        let fault = Fault::new(node.at.clone(), format!("`{}` is not a value of `{key}`", shown(text)));
        Err(self.tell(fault.label(label).help(help)))
    }

    /// Whether a key was filled in by a kind of box: then it stands where the kind is named.
    pub(in crate::patch) fn is_filled_in(&self, key: &str) -> bool {
        let like = self.get("like").map(|(_, node)| &node.at);
        like.is_some() && self.get(key).map(|(key, _)| &key.at) == like
    }

    /// Warns that a key has no effect. What a kind of box says may have none: nobody wrote it here.
    pub(in crate::patch) fn without_effect(&mut self, key: &str, why: &str) {
        if let Some((key, _)) = self.get(key).filter(|_| !self.is_filled_in(key)) {
            let message = format!("`{}` has no effect in {}", shown(&key.text), self.what);
            let fault =
                Fault::new(key.at.clone(), message).label(why).help("take it out, or leave it for a later change");
            self.warnings.push(fault);
        }
    }
}

/// Where a byte of a decoded text stands in the file: exact where the text is written without escapes, else the whole.
pub(in crate::patch) fn place_in_text(source: &str, node: &Node, text: &str, index: usize, length: usize) -> Place {
    let written = source.get(node.at.clone()).unwrap_or_default();
    match written.find(text) {
        Some(offset) if !text.is_empty() => {
            let start = node.at.start + offset + index;
            start..start + length
        }
        _ => node.at.clone(),
    }
}
