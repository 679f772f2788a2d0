use super::{plain_or, together};
use crate::patch::check::view::View;
use crate::patch::model::{Sheet, StageKind, Strike};
use crate::patch::read::fields::{Fields, LONGEST_TIME_S, Told};
use crate::patch::read::measure::{SCATTER, SPEED, STROKE, TIME, show_span};
use crate::patch::read::sheet::sheet;
use crate::time::{PS_PER_SECOND, Span};

/// The velocity at which a strike has its full speed.
const FULL: f64 = 127.0;

pub(super) fn read(fields: &mut Fields<'_, '_>, _: &View<'_>) -> Result<StageKind, Told> {
    let stroke = sheet(fields, "stroke", &STROKE);
    let stroke = fields.needed("stroke", stroke, "write stroke = \"8 mm\", the way to the drum");
    let speed = sheet(fields, "speed", &SPEED);
    let speed = fields.needed("speed", speed, "write speed = \"2 m/s\", at which a strike of velocity 127 lands");
    let rise = sheet(fields, "rise", &TIME);
    let spread = plain_or(fields, "spread", &SCATTER, Span::ZERO);
    let recovery = plain_or(fields, "recovery", &TIME, Span::ZERO);
    let (stroke, speed, rise) = (stroke?, speed?, rise?.unwrap_or(Sheet::plain(Span::ZERO)));
    let (spread, recovery) = (spread?, recovery?);
    // The softest strike, of velocity 1: t = 2·stroke/v, from rest to v.
    let slowest = 2.0 * stroke.max * FULL / speed.min;
    if slowest > LONGEST_TIME_S as f64 {
        let found = show_span(Span((slowest.min(9e6) * PS_PER_SECOND as f64) as i64));
        let expected = format!("at most {LONGEST_TIME_S} s");
        let help = "write a shorter `stroke` or a higher `speed`: the time is 2·stroke/(speed·velocity/127)";
        return Err(together(fields, "speed", "is too slow at velocity 1", &found, &expected, help));
    }
    Ok(StageKind::Strike(Strike { stroke, speed, rise, spread, recovery }))
}
