//! The vocabulary of the table of keys: what may stand under each key of a patch, and what holds where it does not stand there.
//!
//! The parser checks by these rows, the JSON Schema is made of them, and so are the pages of reference.

use super::Dimension;

/// A key of a table.
#[derive(Clone, Copy, Debug)]
pub struct Row {
    /// How it is written.
    pub key: &'static str,
    /// What may stand under it.
    pub takes: Takes,
    /// What holds where it is not written.
    pub absent: Absent,
    /// What it does, in a line.
    pub about: &'static str,
}

/// What may stand under a key.
#[derive(Clone, Copy, Debug)]
pub enum Takes {
    /// A quantity with its unit.
    Quantity(&'static Measure),
    /// A quantity with its unit, or with its limits: `{ min, typ, max }` or `{ value, tolerance }`.
    Limits(&'static Measure),
    /// A quantity with its unit, or one word instead of it.
    QuantityOr(&'static Measure, &'static str),
    /// A time, or a share of the period: each within bounds of its own.
    TimeOrShare(&'static Measure, &'static Measure),
    /// A whole number, both bounds included.
    Whole(i64, i64),
    /// True or false.
    YesNo,
    /// True alone.
    Yes,
    /// One of a few words.
    Words(&'static [&'static str]),
    /// A text on one line, or on several.
    Text {
        /// Whether it may have several lines.
        lines: bool,
    },
    /// A name that is defined elsewhere: of what.
    Name(&'static str),
    /// The way to an input: an output, or a list of where it begins and stages in order.
    Path,
    /// The way from a sequencer to the ear: a stage, or a list of stages in order.
    Out,
    /// A list of names: of what.
    Names(&'static str),
    /// How often something pulses: `"4 per beat"`.
    Rate,
    /// A list of rates.
    Rates,
    /// A number of beats, `"16 beats"`: from this one on.
    Beats(Bound),
    /// Quarter notes a minute.
    Tempo,
    /// A tempo, or a share of that with which the piece begins.
    TempoOrShare,
    /// A list of tempos.
    Tempos,
    /// A number of beats and a note value: `"4/4"`.
    Meter,
    /// A pattern in box notation: `"x...x..."`.
    Steps,
    /// The path of a file of a kind that is read here: how its name may end, in small letters.
    File(&'static [&'static str]),
    /// The path of another file.
    OtherFile,
    /// A table of MIDI keys and their voices.
    Notes,
    /// A table of velocities and the sound files that are played up to each: how their names may end.
    Strokes(&'static [&'static str]),
    /// A list of texts, at most so many.
    Texts(usize),
    /// A table with keys of its own.
    Table(&'static Keys),
    /// A list of tables, at least and at most so many.
    Tables(&'static Keys, usize, usize),
    /// Tables with names.
    Named(&'static Keys),
    /// Tables with names, each of a kind of stage.
    Stages {
        /// Whether they are components.
        components: bool,
    },
    /// Tables with names, each a voice of some model.
    Voices,
    /// Tables with names, each a kind of box.
    Boxes,
    /// What a kind of box brings: quoted paths of two parts and whole tables.
    Brings,
    /// What is set: quoted paths and values.
    Set,
}

/// What holds where a key is not written.
#[derive(Clone, Copy, Debug)]
pub enum Absent {
    /// It must be written; with what to do, for after `help: `.
    Needed(&'static str),
    /// This value, as it would be written.
    Is(&'static str),
    /// What these words say.
    Means(&'static str),
}

/// A table of a patch: its name and its keys.
#[derive(Debug)]
pub struct Keys {
    /// What it is, with its article: `a delay stage`.
    pub what: &'static str,
    /// What it is there for, in a line.
    pub about: &'static str,
    /// Its keys, in the order in which they are listed.
    pub rows: &'static [Row],
    /// What goes together in it beyond each key by itself.
    pub rules: &'static [Rule],
}

/// What goes together in a table.
#[derive(Clone, Copy, Debug)]
pub enum Rule {
    /// Exactly one of these keys.
    OneOf(&'static [&'static str]),
    /// At least one of these sets of keys.
    AnyOf(&'static [&'static [&'static str]]),
    /// Not both of two keys.
    NotBoth(&'static str, &'static str),
    /// The first needs the second.
    Needs(&'static str, &'static str),
    /// Without the first the others have no effect, and are not read.
    OnlyWith(&'static str, &'static [&'static str]),
    /// With this key, what else must be written may be left out: it may come from elsewhere.
    FilledBy(&'static str),
}

/// A quantity and its bounds.
#[derive(Clone, Copy, Debug)]
pub struct Measure {
    /// What is measured, and with that its units.
    pub dimension: Dimension,
    /// The least value.
    pub least: Bound,
    /// The largest value.
    pub most: Bound,
    /// What is possible, for after "expected".
    pub expected: &'static str,
    /// What 0 is on its scale.
    pub nought: Nought,
    /// A usual value and a larger one (where nought is arbitrary: a tolerance), for examples.
    pub examples: (&'static str, &'static str),
}

/// The end of a range, as it would be written.
#[derive(Clone, Copy, Debug)]
pub struct Bound {
    /// The value with its unit.
    pub text: &'static str,
    /// Whether the value itself is outside.
    pub open: bool,
}

/// What 0 is on the scale of a quantity.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Nought {
    /// A possible value: the least where a data sheet gives none.
    Possible,
    /// An impossible value.
    Impossible,
    /// Any point of the scale: a share of a value means nothing.
    Arbitrary,
}

impl Row {
    /// A key that must be written; `help` says what to write.
    pub(in crate::patch) const fn needed(
        key: &'static str,
        takes: Takes,
        help: &'static str,
        about: &'static str,
    ) -> Self {
        Self { key, takes, absent: Absent::Needed(help), about }
    }

    /// A key with a default, as it would be written.
    pub(in crate::patch) const fn or(
        key: &'static str,
        takes: Takes,
        default: &'static str,
        about: &'static str,
    ) -> Self {
        Self { key, takes, absent: Absent::Is(default), about }
    }

    /// A key without which something else holds, in words.
    pub(in crate::patch) const fn free(
        key: &'static str,
        takes: Takes,
        without: &'static str,
        about: &'static str,
    ) -> Self {
        Self { key, takes, absent: Absent::Means(without), about }
    }
}

impl Keys {
    /// The row of a key.
    #[must_use]
    pub fn row(&self, key: &str) -> Option<&'static Row> {
        self.rows.iter().find(|row| row.key == key)
    }

    /// How its keys are written, in their order.
    pub fn names(&self) -> impl Iterator<Item = &'static str> {
        self.rows.iter().map(|row| row.key)
    }
}

impl Bound {
    /// An end that belongs to the range.
    pub(in crate::patch) const fn at(text: &'static str) -> Self {
        Self { text, open: false }
    }

    /// An end that does not belong to the range.
    pub(in crate::patch) const fn past(text: &'static str) -> Self {
        Self { text, open: true }
    }
}
