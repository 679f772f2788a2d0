use super::fields::{Fields, Told};
use super::model::{Stage, StageKind};
use super::view::check_keys;

const KEYS: [&str; 2] = ["kind", "delay"];

/// Reads a `[stage.NAME]` table.
pub(super) fn stage(fields: &mut Fields<'_, '_>) -> Result<Stage, Told> {
    check_keys(&fields.section.fields, &KEYS, "a stage", fields.faults);
    let kind = match fields.choice("kind", &[("delay", ())]) {
        Ok(None) => Err(fields.missing("kind", "write kind = \"delay\"")),
        got => got,
    };
    let delay = match fields.whole_time("delay") {
        Ok(None) => Err(fields.missing("delay", "write delay = \"40 us\"")),
        got => got,
    };
    kind?.ok_or(Told)?;
    Ok(Stage { name: fields.section.name.text.clone(), kind: StageKind::Delay { delay: delay?.ok_or(Told)? } })
}
