//! What may stand in a word's place.

use crate::patch::{Carries, Dimension, Edit, KINDS, Measure, Slot, Stand, Takes, Worth, kit, kit_about};
use crate::voice::{Param, Unit};
use serde::Serialize;

use super::phrase::word_about;
use super::rig::example_stage;
use super::teller::Teller;

/// How a word is changed.
#[derive(Clone, Debug, Serialize)]
#[serde(tag = "is", rename_all = "lowercase")]
pub enum Editor {
    /// A quantity with its unit.
    Dial {
        /// Units that may be written behind its number, the usual one first.
        units: Vec<&'static str>,
        /// The least value.
        least: String,
        /// The largest value.
        most: String,
        /// The least and the largest share, where either a time or a share may stand.
        shares: Option<(String, String)>,
        /// Of what a share is one.
        of: Option<String>,
        /// Words that may stand instead.
        or: Vec<&'static str>,
        /// Whether its limits may be written: `{ min, typ, max }` or `{ value, tolerance }`.
        limits: bool,
    },
    /// A number without a unit.
    Number {
        /// The least.
        least: i64,
        /// The largest.
        most: i64,
        /// Whether it has no decimals.
        whole: bool,
    },
    /// How often something pulses.
    Rate,
    /// A list of rates.
    Rates,
    /// A number of beats.
    Beats {
        /// Whether 0 beats is too little.
        above: bool,
    },
    /// A tempo, or a share of the first.
    Tempo,
    /// A list of tempos.
    Tempos,
    /// Beats of a bar and their note value.
    Meter,
    /// One of a few.
    List {
        /// What may be chosen.
        of: Vec<Choice>,
    },
    /// A pattern, step by step.
    Steps,
    /// The way of pulses or hits.
    Path {
        /// Where it may begin; nothing for the way to the ear.
        from: Vec<Choice>,
        /// Stages that it may lead through.
        through: Vec<String>,
    },
    /// Names in an order.
    Names {
        /// What may be named.
        of: Vec<String>,
    },
    /// The name of a table.
    Name,
    /// A text.
    Text {
        /// Whether it may have several lines.
        lines: bool,
    },
    /// Several texts.
    Texts {
        /// At most so many.
        most: usize,
    },
    /// The path of a file.
    File {
        /// How its name ends.
        ends: Vec<&'static str>,
    },
    /// Keys of MIDI and their voices.
    Notes {
        /// The voices.
        voices: Vec<String>,
    },
    /// Any value, as the text has it.
    Value,
    /// The keys of a table that are not told: words by number.
    More {
        /// Which words.
        words: Vec<usize>,
    },
}

/// What may be chosen.
#[derive(Clone, Debug, Serialize)]
pub struct Choice {
    /// What is written.
    pub to: Worth,
    /// What it is called.
    pub says: String,
    /// What it does, in a line.
    pub about: Option<String>,
    /// What is done instead, where one key more or less must change with it.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub edits: Vec<Edit>,
}

/// Units of a dimension, the usual one first and no spelling twice.
fn units(dimension: Dimension) -> Vec<&'static str> {
    let all = dimension.units();
    let plain = all.spelled.iter().map(|(unit, _)| *unit).filter(|unit| unit.is_ascii() && *unit != "pct");
    let mut units: Vec<&str> = vec![all.usual];
    units.extend(plain.filter(|unit| *unit != all.usual));
    units
}

fn dial(measure: &Measure) -> Editor {
    Editor::Dial {
        units: units(measure.dimension),
        least: measure.least.text.to_owned(),
        most: measure.most.text.to_owned(),
        shares: None,
        of: None,
        or: Vec::new(),
        limits: false,
    }
}

fn param(param: &Param) -> Editor {
    let dimension = match param.unit {
        Unit::Frequency => Dimension::Frequency,
        Unit::Time => Dimension::Time,
        Unit::Level => Dimension::Level,
        Unit::Share => Dimension::Share,
    };
    let (least, most) = (param.unit.show(param.min), param.unit.show(param.max));
    Editor::Dial { units: units(dimension), least, most, shares: None, of: None, or: Vec::new(), limits: false }
}

impl Teller<'_> {
    /// What may stand under a key of a table.
    pub(super) fn editor(&self, stand: &Stand, slot: Slot) -> Editor {
        let row = match slot {
            Slot::Param(of) => return param(of),
            Slot::Row(row) => row,
        };
        let names = |kind: &str| self.sight.of(kind).map(|stand| stand.name.clone()).collect::<Vec<_>>();
        match row.takes {
            Takes::Quantity(measure) => dial(measure),
            Takes::Limits(measure) => match dial(measure) {
                Editor::Dial { units, least, most, shares, of, or, .. } => {
                    Editor::Dial { units, least, most, shares, of, or, limits: true }
                }
                other => other,
            },
            Takes::QuantityOr(measure, word) => match dial(measure) {
                Editor::Dial { units, least, most, shares, of, limits, .. } => {
                    Editor::Dial { units, least, most, shares, of, or: vec![word], limits }
                }
                other => other,
            },
            Takes::TimeOrShare(measure, share) => Editor::Dial {
                units: units(measure.dimension).into_iter().chain(["%"]).collect(),
                least: measure.least.text.to_owned(),
                most: measure.most.text.to_owned(),
                shares: Some((share.least.text.to_owned(), share.most.text.to_owned())),
                of: None,
                or: Vec::new(),
                limits: false,
            },
            Takes::Whole(least, most) => Editor::Number { least, most, whole: true },
            Takes::YesNo => Editor::List { of: [true, false].map(|yes| choice(slot, Worth::Bool(yes))).into() },
            Takes::Yes => Editor::List { of: vec![choice(slot, Worth::Bool(true))] },
            Takes::Words(_) if row.key == "kind" => Editor::List { of: self.kinds(stand) },
            Takes::Words(words) => {
                Editor::List { of: words.iter().map(|word| choice(slot, Worth::text(word))).collect() }
            }
            Takes::Text { lines } => Editor::Text { lines },
            Takes::Name("voice") => Editor::List { of: self.voices() },
            Takes::Name("kind of box") => Editor::List { of: self.boxes() },
            Takes::Name("output") => Editor::List { of: chosen(names("clock")) },
            Takes::Name(_) => {
                let polls = self.sight.of("stage").filter(|stage| stage.text("kind") == Some("poll"));
                Editor::List { of: chosen(polls.map(|stage| stage.name.clone()).collect()) }
            }
            Takes::Path => Editor::Path { from: self.begins(), through: self.stages(Carries::Pulses) },
            Takes::Out => Editor::Path { from: Vec::new(), through: self.stages(Carries::Hits) },
            Takes::Names(_) => {
                let all = ["sequencer", "clock", "stage"].into_iter().flat_map(names);
                Editor::Names { of: all.collect() }
            }
            Takes::Rate => Editor::Rate,
            Takes::Rates => Editor::Rates,
            Takes::Beats(bound) => Editor::Beats { above: bound.open },
            Takes::Tempo => Editor::Number { least: 1, most: 1000, whole: false },
            Takes::TempoOrShare => Editor::Tempo,
            Takes::Tempos => Editor::Tempos,
            Takes::Meter => Editor::Meter,
            Takes::Steps => Editor::Steps,
            Takes::File(ends) => Editor::File { ends: ends.to_vec() },
            Takes::OtherFile => Editor::File { ends: Vec::new() },
            Takes::Notes => Editor::Notes { voices: self.voices().into_iter().map(|choice| choice.says).collect() },
            Takes::Texts(most) => Editor::Texts { most },
            Takes::Table(_)
            | Takes::Tables(..)
            | Takes::Named(_)
            | Takes::Stages { .. }
            | Takes::Voices
            | Takes::Boxes
            | Takes::Strokes(_)
            | Takes::Brings
            | Takes::Set => Editor::Value,
        }
    }

    /// Kinds of stages: another kind has other keys.
    fn kinds(&self, stand: &Stand) -> Vec<Choice> {
        let may = |kind: &&crate::patch::KindOfStage| stand.kind != "component" || kind.carries != Carries::Hits;
        let choice = |kind: &crate::patch::KindOfStage| Choice {
            to: Worth::text(kind.word),
            says: super::phrase::stage_noun(kind.word),
            about: Some(kind.keys.about.to_owned()),
            edits: match stand.text("kind") == Some(kind.word) {
                true => Vec::new(),
                false => vec![Edit::Set { at: stand.at.clone(), to: example_stage(self.sight, kind), fix: None }],
            },
        };
        KINDS.iter().filter(may).map(choice).collect()
    }

    /// Voices of the patch, and of the kit those that it does not call its own.
    fn voices(&self) -> Vec<Choice> {
        let own = self.sight.of("voice").map(|voice| (voice.name.clone(), "a voice of this patch".to_owned()));
        let of_kit = kit().iter().filter(|voice| self.sight.table("voice", &voice.name).is_none());
        let of_kit = of_kit.map(|voice| (voice.name.clone(), kit_about(voice).to_owned()));
        let choice = |(name, about): (String, String)| Choice {
            to: Worth::text(&name),
            says: name,
            about: Some(about),
            edits: Vec::new(),
        };
        own.chain(of_kit).map(choice).collect()
    }

    fn boxes(&self) -> Vec<Choice> {
        let choice = |(name, about, _): (String, Option<String>, Option<String>)| Choice {
            to: Worth::text(&name),
            says: name,
            about,
            edits: Vec::new(),
        };
        super::can::kinds_of_boxes(self.sight, self.boxes).into_iter().map(choice).collect()
    }

    /// Where a path may begin.
    fn begins(&self) -> Vec<Choice> {
        let names = |kind: &'static str| self.sight.of(kind).map(|stand| stand.name.as_str());
        let outputs = names("clock").map(str::to_owned);
        let wires = names("wire").map(|name| format!("wire.{name}"));
        let taps = names("sequencer")
            .flat_map(|name| ["step-1", "end", "hits", "thru"].map(|tap| format!("sequencer.{name}.{tap}")));
        let choice = |name: String| Choice {
            says: super::phrase::begin(&name),
            to: Worth::Text(name),
            about: None,
            edits: Vec::new(),
        };
        outputs.chain(wires).chain(taps).map(choice).collect()
    }

    /// Stages that such a thing may pass.
    fn stages(&self, what: Carries) -> Vec<String> {
        let may = |stand: &&Stand| {
            let kind = KINDS.iter().find(|kind| stand.text("kind") == Some(kind.word));
            kind.is_none_or(|kind| kind.carries == Carries::Both || kind.carries == what)
        };
        self.sight.of("stage").filter(may).map(|stand| stand.name.clone()).collect()
    }
}

fn choice(slot: Slot, to: Worth) -> Choice {
    let says = super::phrase::value(slot.key(), &to);
    Choice { about: word_about(slot.key(), &to).map(str::to_owned), says, to, edits: Vec::new() }
}

fn chosen(names: Vec<String>) -> Vec<Choice> {
    let choice = |name: String| Choice { to: Worth::text(&name), says: name, about: None, edits: Vec::new() };
    names.into_iter().map(choice).collect()
}
