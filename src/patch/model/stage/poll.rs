use super::{Carries, DRIFT_ROW, Facts, KindOfStage, StageKind, phase};
use crate::patch::model::given::{Given, Told, there};
use crate::patch::model::measures::{PERIOD, TIME};
use crate::patch::model::{Keys, Row, Takes};
use crate::time::Span;

/// See [`StageKind::Poll`].
#[derive(Clone, Debug, PartialEq)]
pub struct Poll {
    /// From one look to the next; positive.
    pub period: Span,
    /// When the first look after the start comes; `None`: drawn once a run, evenly within a period.
    pub phase: Option<Span>,
    /// How far the loop's own clock may be off, either way, in parts of 1; drawn once a run.
    pub drift: f64,
    /// What a look sees.
    pub reads: Reads,
    /// How many looks in a row must see the same before it counts.
    pub samples: u32,
}

/// What a polling loop sees.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reads {
    /// The level at that moment: shorter pulses can be missed.
    Level,
    /// That an edge has come since the last look.
    Latched,
}

/// The most looks in a row.
const MOST_SAMPLES: u32 = 1000;

pub(super) const KIND: KindOfStage = KindOfStage {
    word: "poll",
    keys: Keys {
        what: "a poll stage",
        about: "a loop that looks at its input now and then",
        rows: &[
            Row::needed("period", Takes::Quantity(&PERIOD), "write period = \"500 us\"", "from one look to the next"),
            Row::or(
                "phase",
                Takes::QuantityOr(&TIME, "random"),
                "random",
                "when the first look comes, less than a period from the start; `random` is drawn once a run",
            ),
            DRIFT_ROW,
            Row::or(
                "reads",
                Takes::Words(&["level", "latched"]),
                "level",
                "whether a look sees the level, or that there was a rise since the last look",
            ),
            Row::or(
                "samples",
                Takes::Whole(1, MOST_SAMPLES as i64),
                "1",
                "how many looks in a row must agree before a level counts",
            ),
        ],
        rules: &[],
    },
    carries: Carries::Both,
    formula: "seen at the next look, with `samples` once so many looks in a row agree; two edges *d* apart are seen apart with \
              probability min(1, *d*/period)",
    source: "closed form",
    made,
};

impl Facts for Poll {
    fn is_chance(&self) -> bool {
        self.phase.is_none() || self.drift > 0.0
    }
}

fn made(given: &mut dyn Given) -> Result<StageKind, Told> {
    let period = there(given.time("period"));
    let phase = phase(given, period.ok(), "the period");
    let drift = there(given.number("drift"));
    let reads = there(given.word("reads"));
    let samples = there(given.whole_to("samples", MOST_SAMPLES));
    let reads = reads.map(|word| if word == "latched" { Reads::Latched } else { Reads::Level });
    let (period, phase, drift, reads, samples) = (period?, phase?, drift?, reads?, samples?);
    if reads == Reads::Latched && samples > 1 {
        given.without_effect("samples", "an input that latches edges has seen one at the first look");
    }
    Ok(StageKind::Poll(Poll { period, phase, drift, reads, samples }))
}
