use super::{Carries, DRIFT_ROW, Facts, KindOfStage, StageKind, phase};
use crate::patch::model::given::{Given, Told, there};
use crate::patch::model::measures::{SAMPLE_RATE, TIME};
use crate::patch::model::{Keys, Row, Takes};
use crate::time::{PS_PER_SECOND, Span, round_half_up};
use num_rational::Ratio;

/// See [`StageKind::AudioBuffer`].
#[derive(Clone, Debug, PartialEq)]
pub struct AudioBuffer {
    /// Frames a block.
    pub frames: u32,
    /// Blocks between input and output.
    pub blocks: u32,
    /// Frames a second.
    pub sample_rate: u32,
    /// How finely an event is placed.
    pub events: EventGrain,
    /// When the first block begins; `None`: drawn once a run.
    pub phase: Option<Span>,
    /// How far its clock may be off, either way, in parts of 1; drawn once a run.
    pub drift: f64,
}

/// How finely an event is placed within blocks of audio.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EventGrain {
    /// At its own frame, a fixed time late.
    Sample,
    /// At the start of a block.
    Block,
}

/// Frames a block, and blocks under way, at most.
const MOST_FRAMES: u32 = 65_536;
const MOST_BLOCKS: u32 = 64;

pub(super) const KIND: KindOfStage = KindOfStage {
    word: "audio-buffer",
    keys: Keys {
        what: "an audio-buffer stage",
        about: "a computer that hands audio on in blocks",
        rows: &[
            Row::needed("frames", Takes::Whole(1, MOST_FRAMES as i64), "write frames = 128", "frames of a block"),
            Row::or("blocks", Takes::Whole(1, MOST_BLOCKS as i64), "1", "blocks between its input and its output"),
            Row::or("sample-rate", Takes::Quantity(&SAMPLE_RATE), "48 kHz", "frames a second"),
            Row::or(
                "events",
                Takes::Words(&["sample", "block"]),
                "sample",
                "whether an event keeps its own frame, or comes at the start of a block",
            ),
            Row::or(
                "phase",
                Takes::QuantityOr(&TIME, "random"),
                "random",
                "when the first block begins, less than a block from the start; `random` is drawn once a run",
            ),
            DRIFT_ROW,
        ],
        rules: &[],
    },
    carries: Carries::Both,
    formula: "heard `blocks` blocks after the one in which it fell",
    source: "arithmetic",
    made,
};

impl Facts for AudioBuffer {
    fn is_chance(&self) -> bool {
        self.phase.is_none() || self.drift > 0.0
    }

    fn is_late(&self) -> bool {
        true
    }
}

fn made(given: &mut dyn Given) -> Result<StageKind, Told> {
    let frames = there(given.whole_to("frames", MOST_FRAMES));
    let blocks = there(given.whole_to("blocks", MOST_BLOCKS));
    let sample_rate = sample_rate(given);
    let events = there(given.word("events"));
    let block = match (frames, sample_rate) {
        (Ok(frames), Ok(rate)) => Some(block(frames, rate)),
        _ => None,
    };
    let phase = phase(given, block, "a block");
    let drift = there(given.number("drift"));
    Ok(StageKind::AudioBuffer(AudioBuffer {
        frames: frames?,
        blocks: blocks?,
        sample_rate: sample_rate?,
        events: if events? == "block" { EventGrain::Block } else { EventGrain::Sample },
        phase: phase?,
        drift: drift?,
    }))
}

/// How long a block lasts, rounded to a picosecond.
fn block(frames: u32, rate: u32) -> Span {
    let exact = Ratio::new(i128::from(frames) * i128::from(PS_PER_SECOND), i128::from(rate));
    Span(i64::try_from(round_half_up(exact)).unwrap_or(i64::MAX))
}

fn sample_rate(given: &mut dyn Given) -> Result<u32, Told> {
    let rate = there(given.number("sample-rate"))?;
    if rate.fract() != 0.0 {
        let written = given.written("sample-rate");
        return Err(given.out_of_bounds("sample-rate", &written, SAMPLE_RATE.expected));
    }
    Ok(rate as u32)
}
