//! What the table of a stage gives, whatever it was read from.

use super::{Path, Tolerance};
use crate::time::Span;

/// A fault has been told; there is no value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Told;

/// What a key gave: a value, nothing where it is not written, or a fault that has been told.
///
/// A key that must be written gives a value or a fault, and so does one with a default.
pub(crate) type Got<T> = Result<Option<T>, Told>;

/// The checked values of one table, by key, and somebody to tell what does not go together.
pub(crate) trait Given {
    /// Whether a key is written.
    fn has(&self, key: &str) -> bool;
    /// A value as it is written; empty where it is not.
    fn written(&self, key: &str) -> String;
    /// A time that has no limits around it.
    fn time(&mut self, key: &'static str) -> Got<Span>;
    /// A time with its limits.
    fn times(&mut self, key: &'static str) -> Got<Tolerance<Span>>;
    /// A time, or `None` for the one word that may stand there instead.
    fn time_or_word(&mut self, key: &'static str) -> Got<Option<Span>>;
    /// A quantity in the base of its dimension.
    fn number(&mut self, key: &'static str) -> Got<f64>;
    /// Such a quantity with its limits.
    fn numbers(&mut self, key: &'static str) -> Got<Tolerance<f64>>;
    /// A whole number, at most `most` where that is less than the table of keys allows.
    fn whole_to(&mut self, key: &'static str, most: u32) -> Got<u32>;
    /// Whether or not.
    fn yes_or_no(&mut self, key: &'static str) -> Got<bool>;
    /// One of the words of the table of keys.
    fn word(&mut self, key: &'static str) -> Got<&'static str>;
    /// The way to an input.
    fn path(&mut self, key: &'static str) -> Got<Path>;
    /// Names of sequencers, outputs or stages, none of them twice.
    fn names(&mut self, key: &'static str) -> Got<Vec<String>>;
    /// A table within.
    fn within(&mut self, key: &'static str, read: &mut dyn FnMut(&mut dyn Given) -> Result<(), Told>) -> Got<()>;
    /// Tells what does not go together.
    fn tell(&mut self, conflict: Conflict) -> Told;
    /// Tells that a value is past a bound: the figure and the bound.
    fn out_of_bounds(&mut self, key: &str, found: &str, expected: &str) -> Told;
    /// Warns of what is right and may not do what is wanted.
    fn warn(&mut self, conflict: Conflict);
    /// Warns that a key has no effect.
    fn without_effect(&mut self, key: &str, why: &str);
}

/// Values that are good each and do not go together.
#[derive(Debug)]
pub(crate) struct Conflict {
    /// What it is about.
    pub(crate) about: About,
    /// What is wrong, to be read after what the table is: `has no ...`.
    pub(crate) message: String,
    /// What was found, and what was expected.
    pub(crate) label: String,
    /// Another key that has to do with it, and what is said there.
    pub(crate) other: Option<(&'static str, &'static str)>,
    /// What to do.
    pub(crate) help: String,
}

/// What a conflict is about.
#[derive(Clone, Copy, Debug)]
pub(crate) enum About {
    /// The whole table.
    Table,
    /// That a key is written at all.
    Key(&'static str),
    /// What is written under it.
    Value(&'static str),
}

impl Conflict {
    /// A value that does not go with another: what was found against what was expected.
    pub(crate) fn together(key: &'static str, message: &str, found: &str, expected: &str, help: &str) -> Self {
        Self::new(About::Value(key), message, format!("found {found}, expected {expected}"), help)
    }

    pub(crate) fn new(about: About, message: impl Into<String>, label: impl Into<String>, help: &str) -> Self {
        Self { about, message: message.into(), label: label.into(), other: None, help: help.to_owned() }
    }

    /// A key that must be written beside others.
    pub(crate) fn missing(key: &str, help: &str) -> Self {
        Self::new(About::Table, format!("has no `{key}`"), format!("expected `{key}` in this table"), help)
    }
}

/// What is there for sure: written where it must be, or the default.
pub(crate) fn there<T>(got: Got<T>) -> Result<T, Told> {
    got?.ok_or(Told)
}

/// Tells a key that says nothing without another.
pub(crate) fn needs(given: &mut dyn Given, key: &'static str, other: &str, help: &str) -> Result<(), Told> {
    if given.has(key) && !given.has(other) {
        let message = format!("has a `{key}` and no `{other}`");
        return Err(given.tell(Conflict::new(
            About::Key(key),
            message,
            format!("expected a `{other}` beside it"),
            help,
        )));
    }
    Ok(())
}
