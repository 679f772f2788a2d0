use super::{Carries, Facts, KindOfStage, StageKind};
use crate::patch::model::given::{About, Conflict, Given, Told, there};
use crate::patch::model::measures::TIME;
use crate::patch::model::{Keys, Limited, Path, Row, Takes, Tolerance};
use crate::time::Span;

/// See [`StageKind::Logic`].
#[derive(Clone, Debug, PartialEq)]
pub struct Logic {
    /// The function.
    pub does: Does,
    /// The way to the second input; `None` for `not`.
    pub with: Option<Path>,
    /// From a change at an input to the change at the output.
    pub delay: Tolerance<Span>,
    /// Output pulses (and gaps) shorter than this vanish; at most the delay's least value.
    pub swallows: Span,
}

/// The functions of a gate.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Does {
    /// High if any input is.
    Or,
    /// High if both are.
    And,
    /// High if just one is.
    Xor,
    /// High if the input is not; starts high.
    Not,
}

pub(super) const KIND: KindOfStage = KindOfStage {
    word: "logic",
    keys: Keys {
        what: "a logic stage",
        about: "two pulses into one by `and`, `or` and so on, with its glitches; a gate that only makes pulses later is a `delay`",
        rows: &[
            Row::needed(
                "does",
                Takes::Words(&["or", "and", "xor", "not"]),
                "write does = \"or\", \"and\", \"xor\" or \"not\"",
                "the function of its inputs",
            ),
            Row::free("with", Takes::Path, "none, for `not`", "the way to its second input"),
            Row::or("delay", Takes::Limits(&TIME), "0 s", "from a change at an input to the change at the output"),
            Row::free(
                "swallows",
                Takes::Quantity(&TIME),
                "the least `delay`",
                "pulses shorter than this vanish; at most the least delay",
            ),
        ],
        rules: &[],
    },
    carries: Carries::Pulses,
    formula: "the function of both levels, later by `delay`",
    source: "as `delay`",
    made,
};

impl Facts for Logic {
    fn limited(&mut self, each: &mut dyn FnMut(Limited<'_>)) {
        each(Limited::Time(&mut self.delay));
    }

    fn is_late(&self) -> bool {
        self.delay.min > Span::ZERO
    }

    fn second(&self) -> Option<(&'static str, &Path)> {
        self.with.as_ref().map(|path| ("with", path))
    }
}

fn made(given: &mut dyn Given) -> Result<StageKind, Told> {
    let does = there(given.word("does")).map(|word| match word {
        "and" => Does::And,
        "xor" => Does::Xor,
        "not" => Does::Not,
        _ => Does::Or,
    });
    let with = given.path("with");
    let delay = given.times("delay");
    let swallows = given.time("swallows");
    let with = match (does, given.has("with")) {
        (Ok(Does::Not), true) => {
            let help = "take it out, or write does = \"or\", \"and\" or \"xor\"";
            let label = "found a second input, expected none";
            Err(given.tell(Conflict::new(About::Key("with"), "is a `not` and has a `with`", label, help)))
        }
        (Ok(Does::Or | Does::And | Does::Xor), false) => {
            Err(given.tell(Conflict::missing("with", "write with = \"OUTPUT\", the way to its second input")))
        }
        _ => with,
    };
    let (does, with, swallows, delay) = (does?, with?, swallows?, there(delay)?);
    match swallows {
        Some(swallows) if swallows > delay.min => Err(given.tell(super::delay::swallows_too_much(swallows, delay.min))),
        _ => Ok(StageKind::Logic(Logic { does, with, delay, swallows: swallows.unwrap_or(delay.min) })),
    }
}
