use super::{Carries, Facts, KindOfStage, StageKind};
use crate::patch::model::given::{Conflict, Given, Told, there};
use crate::patch::model::measures::{LONGEST_TIME_S, SCATTER, SPEED, STROKE, TIME};
use crate::patch::model::{Keys, Limited, Row, Takes, Tolerance, show_span};
use crate::time::{PS_PER_SECOND, Span};

/// See [`StageKind::Strike`]: t = rise + 2·stroke/v, with v = speed·velocity/127.
#[derive(Clone, Debug, PartialEq)]
pub struct Strike {
    /// In metres.
    pub stroke: Tolerance<f64>,
    /// At velocity 127, in metres a second.
    pub speed: Tolerance<f64>,
    /// From the trigger until it moves.
    pub rise: Tolerance<Span>,
    /// Standard deviation of each strike's own scatter, cut at 4; 0 for none.
    pub spread: Span,
    /// A strike that is asked for before this is lost.
    pub recovery: Span,
}

/// The velocity at which a strike has its full speed.
const FULL: f64 = 127.0;

pub(super) const KIND: KindOfStage = KindOfStage {
    word: "strike",
    keys: Keys {
        what: "a strike stage",
        about: "a solenoid or a motor; accents come early (only in `out`)",
        rows: &[
            Row::needed(
                "stroke",
                Takes::Limits(&STROKE),
                "write stroke = \"8 mm\", the way to the drum",
                "the way to the drum",
            ),
            Row::needed(
                "speed",
                Takes::Limits(&SPEED),
                "write speed = \"2 m/s\", at which a strike of velocity 127 lands",
                "at which a strike of velocity 127 lands",
            ),
            Row::or("rise", Takes::Limits(&TIME), "0 s", "from the trigger until it moves"),
            Row::or(
                "spread",
                Takes::Quantity(&SCATTER),
                "0 s",
                "the standard deviation of each strike's own scatter, cut at four of them",
            ),
            Row::or("recovery", Takes::Quantity(&TIME), "0 s", "how long after a strike it takes no other"),
        ],
        rules: &[],
    },
    carries: Carries::Hits,
    formula: "rise + 2·stroke/v, v = speed·velocity/127",
    source: "uniform acceleration",
    made,
};

impl Facts for Strike {
    fn limited(&mut self, each: &mut dyn FnMut(Limited<'_>)) {
        each(Limited::Number(&mut self.stroke));
        each(Limited::Turned(&mut self.speed));
        each(Limited::Time(&mut self.rise));
    }

    fn is_chance(&self) -> bool {
        self.spread > Span::ZERO
    }
}

fn made(given: &mut dyn Given) -> Result<StageKind, Told> {
    let (stroke, speed) = (there(given.numbers("stroke")), there(given.numbers("speed")));
    let rise = there(given.times("rise"));
    let (spread, recovery) = (there(given.time("spread")), there(given.time("recovery")));
    let (stroke, speed, rise, spread, recovery) = (stroke?, speed?, rise?, spread?, recovery?);
    // The softest strike, of velocity 1: t = 2·stroke/v, from rest to v.
    let slowest = 2.0 * stroke.max * FULL / speed.min;
    if slowest > LONGEST_TIME_S as f64 {
        let found = show_span(Span((slowest.min(9e6) * PS_PER_SECOND as f64) as i64));
        let expected = format!("at most {LONGEST_TIME_S} s");
        let help = "write a shorter `stroke` or a higher `speed`: the time is 2·stroke/(speed·velocity/127)";
        return Err(given.tell(Conflict::together("speed", "is too slow at velocity 1", &found, &expected, help)));
    }
    Ok(StageKind::Strike(Strike { stroke, speed, rise, spread, recovery }))
}
