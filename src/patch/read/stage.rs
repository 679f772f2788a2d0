//! Reads `[stage.NAME]` tables.

use crate::patch::check::fault::Fault;
use crate::patch::check::node::{Key, Node};
use crate::patch::check::show::{listed, shown};
use crate::patch::check::view::{View, check_keys};
use crate::patch::model::{KINDS, KindOfStage, Stage};
use crate::patch::read::fields::{Fields, Told};
use crate::patch::read::kinds::kinds_that;
use crate::patch::read::values::Values;

/// Reads a `[stage.NAME]` table.
pub(in crate::patch) fn stage(fields: &mut Fields<'_, '_>, view: &View<'_>) -> Result<Stage, Told> {
    stage_with(fields, view, &[])
}

/// Reads a stage that may have other keys besides.
pub(in crate::patch) fn stage_with(
    fields: &mut Fields<'_, '_>,
    view: &View<'_>,
    others: &[&'static str],
) -> Result<Stage, Told> {
    let words: Vec<_> = KINDS.iter().map(|kind| (kind.word, kind)).collect();
    let help = format!("write kind = \"delay\"; there is {}", kinds_that(|_| true));
    let kind = fields.choice("kind", &words);
    let kind = fields.needed("kind", kind, &help);
    check(fields, kind.ok(), others);
    let kind = kind?;
    let kind = (kind.made)(&mut Values::new(fields, &kind.keys, Some(view)))?;
    Ok(Stage { name: fields.section.name.text.clone(), kind })
}

/// Tells every key that the kind has not; where the kind is not known, every key that no kind has.
fn check(fields: &mut Fields<'_, '_>, kind: Option<&KindOfStage>, others: &[&'static str]) {
    let has = |kind: &KindOfStage, key: &Key| kind.keys.row(&key.text).is_some();
    let mut known = vec!["kind"];
    let Some(kind) = kind else {
        for key in KINDS.iter().flat_map(|kind| kind.keys.names()) {
            if !known.contains(&key) {
                known.push(key);
            }
        }
        known.extend(others);
        check_keys(&fields.section.fields, &known, "a stage", fields.faults);
        return;
    };
    known.extend(kind.keys.names());
    known.extend(others);
    let what = kind.keys.what;
    let (own, foreign): (Vec<(&Key, &Node)>, Vec<_>) =
        fields.section.fields.iter().partition(|(key, _)| has(kind, key) || !KINDS.iter().any(|other| has(other, key)));
    check_keys(&own, &known, what, fields.faults);
    for (key, _) in foreign {
        let owners: Vec<_> = KINDS.iter().filter(|other| has(other, key)).map(|other| other.keys.what).collect();
        let fault = Fault::new(key.at.clone(), format!("`{}` is not a key of {what}", shown(&key.text)))
            .label(format!("a key of {}", owners.join(" or ")))
            .help(format!("take it out, or change the kind; {what} may have {}", listed(known.iter().copied())));
        fields.tell(fault);
    }
}
