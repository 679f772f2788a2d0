use super::{Carries, Facts, KindOfStage, StageKind};
use crate::patch::model::given::{Given, Told, there};
use crate::patch::model::{Keys, Row, Takes};

/// See [`StageKind::Multiply`].
#[derive(Clone, Debug, PartialEq)]
pub struct Multiply {
    /// How many pulses one makes.
    pub by: u32,
}

/// The most pulses that one makes.
const MOST: u32 = 256;

pub(super) const KIND: KindOfStage = KindOfStage {
    word: "multiply",
    keys: Keys {
        what: "a multiply stage",
        about: "pulses between pulses, silent before its second, spaced by the last period",
        rows: &[Row::needed("by", Takes::Whole(1, MOST as i64), "write by = 4", "how many pulses one makes")],
        rules: &[],
    },
    carries: Carries::Pulses,
    formula: "counting",
    source: "",
    made,
};

impl Facts for Multiply {}

fn made(given: &mut dyn Given) -> Result<StageKind, Told> {
    Ok(StageKind::Multiply(Multiply { by: there(given.whole_to("by", MOST))? }))
}
