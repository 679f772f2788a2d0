use super::needs;
use crate::patch::check::fault::Fault;
use crate::patch::check::node::Value;
use crate::patch::check::view::{View, check_keys};
use crate::patch::model::{Jitter, Scatter, StageKind, Wander};
use crate::patch::read::fields::{Fields, Got, Told};
use crate::patch::read::measure::{SCATTER, TIME, WIDTH};
use crate::patch::read::sheet::plain;

const EXAMPLE: &str =
    "write each = { sd = \"1 ms\" } for a normal scatter, or each = { range = \"2 ms\" } for an even one";

pub(super) fn read(fields: &mut Fields<'_, '_>, _: &View<'_>) -> Result<StageKind, Told> {
    settings(fields).map(StageKind::Jitter)
}

/// What a stage and the clock itself have in common.
pub(in crate::patch) fn settings(fields: &mut Fields<'_, '_>) -> Result<Jitter, Told> {
    let each = each(fields);
    let most = plain(fields, "wander", &TIME);
    let period = plain(fields, "wander-period", &WIDTH);
    let one =
        needs(fields, "wander-period", "wander", "write wander = \"2 ms\", the furthest that it goes").and(needs(
            fields,
            "wander",
            "wander-period",
            "write wander-period = \"20 s\", from one extreme to the next like it",
        ));
    if !fields.has("each") && !fields.has("wander") && !fields.has("wander-period") {
        let help = format!("{EXAMPLE}; or wander = \"2 ms\" and wander-period = \"20 s\"");
        let fault = Fault::new(fields.at.clone(), format!("{} has neither `each` nor `wander`", fields.what))
            .label("expected at least one of the two in this table")
            .help(help);
        return Err(fields.tell(fault));
    }
    let (each, most, period) = (each?, most?, period?);
    one?;
    let wander = most.zip(period).map(|(most, period)| Wander { most, period });
    Ok(Jitter { each, wander })
}

fn each(fields: &mut Fields<'_, '_>) -> Got<Scatter> {
    let Some((key, node)) = fields.get("each") else { return Ok(None) };
    let Value::Table(table) = &node.value else {
        return Err(fields.wrong_type("each", node, "a table", EXAMPLE));
    };
    fields.within(key, table, |inner| {
        check_keys(&inner.section.fields, &["sd", "range"], "`each`", inner.faults);
        let sd = plain(inner, "sd", &SCATTER);
        let range = plain(inner, "range", &TIME);
        match (sd?, range?) {
            (Some(sd), None) => Ok(Some(Scatter::Gaussian(sd))),
            (None, Some(range)) => Ok(Some(Scatter::Uniform(range))),
            (sd, _) => {
                let found = if sd.is_some() { "both `sd` and `range`" } else { "neither `sd` nor `range`" };
                let fault = Fault::new(inner.at.clone(), format!("{} has {found}", inner.what))
                    .label("expected one of the two")
                    .help(EXAMPLE);
                Err(inner.tell(fault))
            }
        }
    })
}
