use super::{drift, phase};
use crate::patch::check::view::View;
use crate::patch::model::{AudioBuffer, EventGrain, StageKind};
use crate::patch::read::fields::{Fields, Told};
use crate::patch::read::quantity;
use crate::time::{PS_PER_SECOND, Span, round_half_up};
use num_rational::Ratio;

/// Frames a block, and blocks under way, at most.
const MOST_FRAMES: u32 = 65_536;
const MOST_BLOCKS: u32 = 64;
/// Frames a second, at least and at most.
const RATES: (u32, u32) = (1000, 768_000);
const DEFAULT_RATE: u32 = 48_000;

pub(super) fn read(fields: &mut Fields<'_, '_>, _: &View<'_>) -> Result<StageKind, Told> {
    let frames = fields.whole("frames", 1, i64::from(MOST_FRAMES));
    let frames = fields.needed("frames", frames, "write frames = 128").map(small);
    let blocks = fields.whole("blocks", 1, i64::from(MOST_BLOCKS));
    let sample_rate = sample_rate(fields);
    let events = fields.choice("events", &[("sample", EventGrain::Sample), ("block", EventGrain::Block)]);
    let block = match (frames, sample_rate) {
        (Ok(frames), Ok(rate)) => Some(block(frames, rate)),
        _ => None,
    };
    let phase = phase(fields, block, "a block");
    let drift = drift(fields);
    Ok(StageKind::AudioBuffer(AudioBuffer {
        frames: frames?,
        blocks: blocks?.map_or(1, small),
        sample_rate: sample_rate?,
        events: events?.unwrap_or(EventGrain::Sample),
        phase: phase?,
        drift: drift?,
    }))
}

fn small(n: i64) -> u32 {
    u32::try_from(n).unwrap_or(1)
}

/// How long a block lasts, rounded to a picosecond.
fn block(frames: u32, rate: u32) -> Span {
    let exact = Ratio::new(i128::from(frames) * i128::from(PS_PER_SECOND), i128::from(rate));
    Span(i64::try_from(round_half_up(exact)).unwrap_or(i64::MAX))
}

fn sample_rate(fields: &mut Fields<'_, '_>) -> Result<u32, Told> {
    let Some(rate) = fields.quantity("sample-rate", quantity::frequency)? else { return Ok(DEFAULT_RATE) };
    let (least, most) = RATES;
    if rate.fract() != 0.0 || rate < f64::from(least) || rate > f64::from(most) {
        let written = fields.written("sample-rate");
        return Err(fields.out_of_bounds("sample-rate", &written, "a whole number of hertz from 1 kHz to 768 kHz"));
    }
    Ok(rate as u32)
}
