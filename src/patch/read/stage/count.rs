use crate::patch::check::view::View;
use crate::patch::model::{Divide, FiresOn, Multiply, StageKind};
use crate::patch::read::fields::{Fields, Told};
use crate::patch::read::path::path;

/// The most pulses that make one.
const MOST_DIVIDED: u32 = 10_000;
/// The most pulses that one makes.
const MOST_MULTIPLIED: u32 = 256;

pub(super) fn divide(fields: &mut Fields<'_, '_>, view: &View<'_>) -> Result<StageKind, Told> {
    let by = by(fields, MOST_DIVIDED);
    let fires_on = fields.choice("fires-on", &[("first", FiresOn::First), ("last", FiresOn::Last)]);
    let reset = path(fields, "reset", view);
    let most = by.map_or(MOST_DIVIDED, |by| by) - 1;
    let power_up = fields.whole("power-up", 0, i64::from(most));
    Ok(StageKind::Divide(Divide {
        by: by?,
        fires_on: fires_on?.unwrap_or(FiresOn::First),
        reset: reset?,
        power_up: power_up?.and_then(|n| u32::try_from(n).ok()).unwrap_or(0),
    }))
}

pub(super) fn multiply(fields: &mut Fields<'_, '_>, _: &View<'_>) -> Result<StageKind, Told> {
    Ok(StageKind::Multiply(Multiply { by: by(fields, MOST_MULTIPLIED)? }))
}

fn by(fields: &mut Fields<'_, '_>, most: u32) -> Result<u32, Told> {
    let by = fields.whole("by", 1, i64::from(most));
    let by = fields.needed("by", by, "write by = 4")?;
    Ok(u32::try_from(by).unwrap_or(1))
}
