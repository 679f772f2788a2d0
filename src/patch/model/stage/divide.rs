use super::{Carries, Facts, KindOfStage, StageKind};
use crate::patch::model::given::{Given, Told, there};
use crate::patch::model::{Keys, Path, Row, Takes};

/// See [`StageKind::Divide`].
#[derive(Clone, Debug, PartialEq)]
pub struct Divide {
    /// How many pulses make one.
    pub by: u32,
    /// Which of a group of pulses comes out.
    pub fires_on: FiresOn,
    /// A rise here begins the count anew.
    pub reset: Option<Path>,
    /// How many pulses of the first group count as past when the power comes on.
    pub power_up: u32,
}

/// Which of a group of pulses a divider passes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FiresOn {
    /// The one that begins it.
    First,
    /// The one that completes it.
    Last,
}

/// The most pulses that make one.
const MOST: u32 = 10_000;

pub(super) const KIND: KindOfStage = KindOfStage {
    word: "divide",
    keys: Keys {
        what: "a divide stage",
        about: "every second pulse, every third: every pulse whose number `by` divides",
        rows: &[
            Row::needed("by", Takes::Whole(1, MOST as i64), "write by = 4", "how many pulses make one"),
            Row::or("fires-on", Takes::Words(&["first", "last"]), "first", "which of them comes out"),
            Row::free("reset", Takes::Path, "none", "the way to its reset, at whose rise the count begins anew"),
            Row::or(
                "power-up",
                Takes::Whole(0, MOST as i64 - 1),
                "0",
                "how many pulses count as past when the power comes on; less than `by`",
            ),
        ],
        rules: &[],
    },
    carries: Carries::Pulses,
    formula: "counting",
    source: "",
    made,
};

impl Facts for Divide {
    fn second(&self) -> Option<(&'static str, &Path)> {
        self.reset.as_ref().map(|path| ("reset", path))
    }
}

fn made(given: &mut dyn Given) -> Result<StageKind, Told> {
    let by = there(given.whole_to("by", MOST));
    let fires_on = there(given.word("fires-on"));
    let reset = given.path("reset");
    let power_up = there(given.whole_to("power-up", by.unwrap_or(MOST) - 1));
    Ok(StageKind::Divide(Divide {
        by: by?,
        fires_on: if fires_on? == "last" { FiresOn::Last } else { FiresOn::First },
        reset: reset?,
        power_up: power_up?,
    }))
}
