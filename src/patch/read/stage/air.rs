use crate::patch::check::view::View;
use crate::patch::model::{Air, Sheet, StageKind};
use crate::patch::read::fields::{Fields, Told};
use crate::patch::read::measure::{DISTANCE, TEMPERATURE};
use crate::patch::read::sheet::sheet;

/// Of a room, in degrees Celsius: where the speed of sound by ISO 9613-1 is 343.2 m/s.
const ROOM: f64 = 20.0;

pub(super) fn read(fields: &mut Fields<'_, '_>, _: &View<'_>) -> Result<StageKind, Told> {
    let distance = sheet(fields, "distance", &DISTANCE);
    let distance = fields.needed("distance", distance, "write distance = \"3.4 m\"");
    let temperature = sheet(fields, "temperature", &TEMPERATURE);
    let level = fields.yes_or_no("level");
    Ok(StageKind::Air(Air {
        distance: distance?,
        temperature: temperature?.unwrap_or(Sheet::plain(ROOM)),
        level: level?.unwrap_or(true),
    }))
}
