use super::{Carries, Facts, KindOfStage, StageKind};
use crate::patch::model::given::{Given, Told, there};
use crate::patch::model::measures::{DISTANCE, TEMPERATURE};
use crate::patch::model::{Keys, Limited, Row, Takes, Tolerance};

/// See [`StageKind::Air`]: c = 343.2·√(T/293.15) m/s (ISO 9613-1).
#[derive(Clone, Debug, PartialEq)]
pub struct Air {
    /// In metres.
    pub distance: Tolerance<f64>,
    /// In degrees Celsius.
    pub temperature: Tolerance<f64>,
    /// Whether the level falls with the distance (6.02 dB a doubling, from 1 m on).
    pub level: bool,
}

pub(super) const KIND: KindOfStage = KindOfStage {
    word: "air",
    keys: Keys {
        what: "an air stage",
        about: "sound on its way (only in `out`)",
        rows: &[
            Row::needed("distance", Takes::Limits(&DISTANCE), "write distance = \"3.4 m\"", "how far it travels"),
            // Of a room: where the speed of sound by ISO 9613-1 is 343.2 m/s.
            Row::or("temperature", Takes::Limits(&TEMPERATURE), "20 C", "how warm the air is"),
            Row::or("level", Takes::YesNo, "true", "whether it grows quieter on the way, from 1 m on"),
        ],
        rules: &[],
    },
    carries: Carries::Hits,
    formula: "distance/(343.2·√(T/293.15))",
    source: "ISO 9613-1",
    made,
};

impl Facts for Air {
    fn limited(&mut self, each: &mut dyn FnMut(Limited<'_>)) {
        each(Limited::Number(&mut self.distance));
        // Sound is the faster the warmer it is.
        each(Limited::Turned(&mut self.temperature));
    }
}

fn made(given: &mut dyn Given) -> Result<StageKind, Told> {
    let (distance, temperature) = (there(given.numbers("distance")), there(given.numbers("temperature")));
    let level = there(given.yes_or_no("level"));
    Ok(StageKind::Air(Air { distance: distance?, temperature: temperature?, level: level? }))
}
