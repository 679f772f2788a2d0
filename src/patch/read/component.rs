//! Components: stages that somebody may buy, with what a data sheet says of them.

use crate::patch::check::fault::{Fault, Faults};
use crate::patch::check::node::{Table, to_toml};
use crate::patch::check::show::shown;
use crate::patch::check::view::{View, check_names, named_tables};
use crate::patch::model::{Carries, Component, Keys, Row, Source, Takes};
use crate::patch::read::fields::{Fields, Told};
use crate::patch::read::kinds::kind_of;
use crate::patch::read::stage::stage_with;
use crate::patch::read::words::words;

/// The key that components stand under.
pub(in crate::patch) const KEY: &str = "component";
/// What a component may say besides what a stage may.
pub(in crate::patch) static KEYS: Keys = Keys {
    what: "a component",
    about: "what somebody could put into a path: a stage, and what it costs",
    rows: &[
        Row::free("price", Takes::Text { lines: false }, "none", "what it costs, shown beside it"),
        Row::free("note", Takes::Text { lines: true }, "none", "where its values come from"),
    ],
    rules: &[],
};
/// What may stand at the top of a file of components.
pub(in crate::patch) const TOP: [&str; 3] = ["title", "note", KEY];
pub(in crate::patch) const EXAMPLE: &str = "{ kind = \"delay\", delay = \"40 us\" }";

/// Reads the `[component.NAME]` tables of a patch or of a file of their own, which may name the outputs of the patch.
pub(in crate::patch) fn components<'a>(
    source: &'a str,
    document: &'a Table,
    view: &View<'_>,
    faults: &mut Faults,
    warnings: &mut Faults,
) -> Vec<Component> {
    let Some(node) = document.get(KEY) else { return Vec::new() };
    let sections = named_tables(node, KEY, KEY, EXAMPLE, faults);
    check_names(sections.iter().map(|s| s.name), KEY, faults);
    let mut all = Vec::new();
    for section in sections.iter().filter(|s| !s.broken).take(crate::patch::check::view::MOST_OF_A_KIND) {
        let what = format!("the component `{}`", shown(&section.name.text));
        let at = section.name.at.clone();
        let mut fields = Fields { source, what, at, section, faults, warnings };
        all.extend(component(&mut fields, view).ok());
    }
    all
}

fn component(fields: &mut Fields<'_, '_>, view: &View<'_>) -> Result<Component, Told> {
    let before = fields.faults.count();
    let (price, note) = (words(fields, "price", false), words(fields, "note", true));
    let own: Vec<&str> = KEYS.names().collect();
    let stage = stage_with(fields, view, &own)?;
    if let Some(kind) = kind_of(fields.section).filter(|kind| kind.carries == Carries::Hits) {
        let at = fields.get("kind").map_or(fields.at.clone(), |(_, node)| node.at.clone());
        let fault = Fault::new(at, format!("{} is {}, through which only hits go", fields.what, kind.keys.what))
            .label("expected a kind that pulses go through")
            .help("a component is put into the path to a clock or a reset input; write another kind, or take it out");
        return Err(fields.tell(fault));
    }
    // It may be put anywhere: what hangs on a sequencer could close a loop there.
    if let Some((key, _)) = stage.kind.second().filter(|(_, path)| !matches!(path.source, Source::Output(_))) {
        let at = fields.get(key).map_or(fields.at.clone(), |(_, node)| node.at.clone());
        let fault = Fault::new(at, format!("the `{key}` of {} does not begin at an output of the clock", fields.what))
            .label("expected the name of an output")
            .help("write the name of an output; what hangs on a sequencer or on a wire is written as a fix instead");
        return Err(fields.tell(fault));
    }
    // What was wrong with its words has been told.
    if fields.faults.count() > before {
        Err(Told)
    } else {
        let own = |key: &str| !KEYS.names().any(|name| name == key);
        let written = fields.section.fields.iter().filter(|(key, _)| own(&key.text));
        let written = to_toml(written.map(|(key, node)| (key.text.as_str(), *node)));
        Ok(Component { name: stage.name, kind: stage.kind, price, note, written })
    }
}
