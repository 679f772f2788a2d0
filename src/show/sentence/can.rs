//! What may be added to a patch.

use super::joined::Joined;
use super::phrase::stage_noun;
use super::rig::example_stage;
use crate::patch::{BoxKinds, KINDS, Own, Sight, Worth, box_kinds, kit, kit_about};
use serde::Serialize;

/// What may be added.
#[derive(Clone, Debug, Serialize)]
pub struct Can {
    /// Tables, each ready to be added.
    pub add: Vec<Addition>,
    /// Kinds of boxes, for `like`.
    pub boxes: Vec<Offer>,
    /// Parts that can be put into a path.
    pub components: Vec<Part>,
    /// Drums.
    pub voices: Vec<Offer>,
}

/// A table to be added.
#[derive(Clone, Debug, Serialize)]
pub struct Addition {
    /// The key that it stands under.
    pub kind: &'static str,
    /// What it is called.
    pub says: &'static str,
    /// A name that is free; `None` of an entry of a list.
    pub name: Option<String>,
    /// What must be there first.
    pub needs: Option<&'static str>,
    /// What is said of what it begins with.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// What it begins with.
    pub to: Worth,
}

/// Something with a name.
#[derive(Clone, Debug, Serialize)]
pub struct Offer {
    /// Its name.
    pub name: String,
    /// What it is, in a line.
    pub about: Option<String>,
    /// How to tell that one owns such a box.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tell: Option<String>,
    /// What is said of what it begins with.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// What it begins with; without it what is offered is named alone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub to: Option<Worth>,
}

/// A part, as a stage.
#[derive(Clone, Debug, Serialize)]
pub struct Part {
    /// Its name; of a kind of stage the word for it.
    pub name: String,
    /// What it is, in a line.
    pub about: Option<String>,
    /// The stage.
    pub to: Worth,
}

/// Kinds of boxes, each with what it does and how to tell it: of the patch, of files, of the kit. The first of a name holds.
pub(super) fn kinds_of_boxes(sight: &Sight, given: &BoxKinds) -> Vec<(String, Option<String>, Option<String>)> {
    let own = sight.of("box").map(|kind| {
        let text = |key| kind.text(key).map(str::to_owned);
        (kind.name.clone(), text("about"), text("tell"))
    });
    let known = given.list().iter().chain(box_kinds());
    let known =
        known.map(|kind| (kind.name().to_owned(), kind.about().map(str::to_owned), kind.tell().map(str::to_owned)));
    let mut all: Vec<(String, Option<String>, Option<String>)> = Vec::new();
    for kind in own.chain(known) {
        if all.iter().all(|(name, ..)| *name != kind.0) {
            all.push(kind);
        }
    }
    all
}

pub(super) fn can(sight: &Sight, boxes: &BoxKinds) -> Can {
    let joined = Joined::of(sight, &output(sight).unwrap_or("sixteenths".to_owned()));
    let offer = |(name, about, tell): (String, Option<String>, Option<String>)| {
        let (inputs, note) = joined.like(sight, boxes, &name);
        let own = [vec![("like", text(&name))], inputs, sounding(sight)].concat();
        Offer { name, about, tell, note: Some(note), to: Some(table(own)) }
    };
    Can {
        add: additions(sight, &joined),
        boxes: kinds_of_boxes(sight, boxes).into_iter().map(offer).collect(),
        components: components(sight),
        voices: voices(sight),
    }
}

fn text(text: &str) -> Worth {
    Worth::text(text)
}

fn table(entries: Vec<(&str, Worth)>) -> Worth {
    Worth::Table(entries.into_iter().map(|(key, value)| (key.to_owned(), value)).collect())
}

/// The first table of a kind that is written, if one is.
fn first(sight: &Sight, kind: &'static str) -> Option<String> {
    sight.of(kind).find(|table| table.own != Own::Kind).map(|table| table.name.clone())
}

fn output(sight: &Sight) -> Option<String> {
    first(sight, "clock").or_else(|| sight.of("clock").next().map(|output| output.name.clone()))
}

/// What a new box plays, and as what.
fn sounding(sight: &Sight) -> Vec<(&'static str, Worth)> {
    let voice = first(sight, "voice").unwrap_or("kick".to_owned());
    vec![("steps", text("x...x...x...x...")), ("voice", text(&voice))]
}

fn additions(sight: &Sight, joined: &Joined) -> Vec<Addition> {
    let output = output(sight);
    let needs = if output.is_none() { Some("an output of the clock") } else { None };
    let output = output.unwrap_or("sixteenths".to_owned());
    let free = |kind: &str, wished: &str| {
        let taken = |name: &str| sight.of(kind).any(|table| table.name.eq_ignore_ascii_case(name));
        let numbered = (2..).map(|n| format!("{wished}-{n}"));
        Some(std::iter::once(wished.to_owned()).chain(numbered).find(|name| !taken(name)).unwrap_or_default())
    };
    let add =
        |kind, says, wished: &str, needs, to| Addition { kind, says, name: free(kind, wished), needs, note: None, to };
    let (inputs, note) = joined.plain();
    let voice = first(sight, "voice").unwrap_or("kick".to_owned());
    let phase = format!("clock.{output}.phase");
    let last = |kind: &'static str, key: &str| {
        let beats = |table: &crate::patch::Stand| table.text(key)?.split(' ').next()?.parse::<f64>().ok();
        sight.of(kind).filter_map(beats).fold(0.0, f64::max) + 4.0
    };
    let entry = |kind, says, needs, to| Addition { kind, says, name: None, needs, note: None, to };
    let plain = table([inputs, sounding(sight)].concat());
    vec![
        add("clock", "an output of the clock", "sixteenths", None, table(vec![("rate", text("4 per beat"))])),
        Addition { note: Some(note), ..add("sequencer", "a box", "box", needs, plain) },
        add("stage", "a stage", "gate", None, table(vec![("kind", text("delay")), ("delay", text("40 us"))])),
        add(
            "wire",
            "a point that paths share",
            "split",
            needs,
            table(vec![("path", Worth::List(vec![text(&output)]))]),
        ),
        add("voice", "a drum", "drum", None, table(vec![("model", text("kick"))])),
        add(
            "hits",
            "hits from a file",
            "take",
            None,
            table(vec![("file", text("take.csv")), ("voice", text(&voice)), ("grid", text("4 per beat"))]),
        ),
        add("fix", "a fix", "fix", needs, table(vec![("set", Worth::Table(vec![(phase.clone(), text("1 %"))]))])),
        add("box", "a kind of box", "mine", None, table(vec![("reset-mode", text("next-clock"))])),
        add(
            "component",
            "a part to be tried",
            "part",
            None,
            table(vec![
                ("kind", text("delay")),
                ("delay", table(vec![("typ", text("120 ns")), ("max", text("250 ns"))])),
            ]),
        ),
        entry(
            "change",
            "a change in the piece",
            needs,
            table(vec![
                ("after", text(&format!("{} beats", last("change", "after")))),
                ("set", Worth::Table(vec![(phase, text("1 %"))])),
            ]),
        ),
        entry(
            "tempo-map",
            "a change of tempo",
            None,
            table(vec![
                ("at", text(&format!("{} beats", last("tempo-map", "at") + last("tempo-map", "over") - 4.0))),
                ("tempo", text("125 %")),
            ]),
        ),
    ]
}

/// Parts that the patch names, then an example of each kind of stage.
fn components(sight: &Sight) -> Vec<Part> {
    let stage = |component: &crate::patch::Stand| {
        let entries = component.entries.iter().filter(|entry| !["price", "note"].contains(&entry.key.as_str()));
        Worth::Table(entries.map(|entry| (entry.key.clone(), entry.value.clone())).collect())
    };
    let own = sight.of("component").map(|component| Part {
        name: component.name.clone(),
        about: component.text("note").or(component.text("price")).map(str::to_owned),
        to: stage(component),
    });
    let kinds = KINDS.iter().map(|kind| Part {
        name: kind.word.to_owned(),
        about: Some(format!("{}: {}", stage_noun(kind.word), kind.keys.about)),
        to: example_stage(sight, kind),
    });
    own.chain(kinds).collect()
}

fn voices(sight: &Sight) -> Vec<Offer> {
    let offer = |name: &str, about: &str| Offer {
        name: name.to_owned(),
        about: Some(about.to_owned()),
        tell: None,
        note: None,
        to: None,
    };
    let own = sight.of("voice").map(|voice| offer(&voice.name, "a drum of this patch"));
    let of_kit = kit().iter().filter(|voice| sight.table("voice", &voice.name).is_none());
    own.chain(of_kit.map(|voice| offer(&voice.name, kit_about(voice)))).collect()
}
