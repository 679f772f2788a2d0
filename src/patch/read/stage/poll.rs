use super::{drift, phase};
use crate::patch::check::view::View;
use crate::patch::model::{Poll, Reads, StageKind};
use crate::patch::read::fields::{Fields, Told};
use crate::patch::read::measure::PERIOD;
use crate::patch::read::sheet::plain;

/// The most looks in a row.
const MOST_SAMPLES: u32 = 1000;

pub(super) fn read(fields: &mut Fields<'_, '_>, _: &View<'_>) -> Result<StageKind, Told> {
    let period = plain(fields, "period", &PERIOD);
    let period = fields.needed("period", period, "write period = \"500 us\"");
    let phase = phase(fields, period.ok(), "the period");
    let drift = drift(fields);
    let reads = fields.choice("reads", &[("level", Reads::Level), ("latched", Reads::Latched)]);
    let samples = fields.whole("samples", 1, i64::from(MOST_SAMPLES));
    let (period, phase, drift, reads) = (period?, phase?, drift?, reads?.unwrap_or(Reads::Level));
    let samples = samples?.and_then(|n| u32::try_from(n).ok()).unwrap_or(1);
    if reads == Reads::Latched && samples > 1 {
        fields.without_effect("samples", "an input that latches edges has seen one at the first look");
    }
    Ok(StageKind::Poll(Poll { period, phase, drift, reads, samples }))
}
