use super::{Carries, Facts, KindOfStage, StageKind};
use crate::patch::model::given::{About, Conflict, Given, Got, Told, needs};
use crate::patch::model::measures::{SCATTER, TIME, WIDTH};
use crate::patch::model::{Keys, Row, Rule, Takes};
use crate::time::Span;

/// See [`StageKind::Jitter`].
#[derive(Clone, Debug, PartialEq)]
pub struct Jitter {
    /// How each event is moved, never before its cause.
    pub each: Option<Scatter>,
    /// A slow wander.
    pub wander: Option<Wander>,
}

/// How something is scattered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scatter {
    /// Normally, with this standard deviation, cut at 4; the mean delay is 4 standard deviations, so that nothing comes
    /// before its cause.
    Gaussian(Span),
    /// Evenly, from nothing to this.
    Uniform(Span),
}

/// A wander: a sum of slow waves with drawn phases.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Wander {
    /// The furthest it goes, either way of its middle; the middle is this late, so that nothing comes before its cause.
    pub most: Span,
    /// About the time from one extreme to the next like it.
    pub period: Span,
}

const EXAMPLE: &str =
    "write each = { sd = \"1 ms\" } for a normal scatter, or each = { range = \"2 ms\" } for an even one";

/// The keys of an `each`.
const EACH: Keys = Keys {
    what: "`each`",
    about: EXAMPLE,
    rows: &[
        Row::free(
            "sd",
            Takes::Quantity(&SCATTER),
            "`range`",
            "a normal scatter: its standard deviation, cut at four of them",
        ),
        Row::free("range", Takes::Quantity(&TIME), "`sd`", "an even scatter: from nothing to this"),
    ],
    rules: &[Rule::OneOf(&["sd", "range"])],
};

const ROWS: &[Row] = &[
    Row::free("each", Takes::Table(&EACH), "none", "chance at each event"),
    Row::free("wander", Takes::Quantity(&TIME), "none", "how far it wanders slowly, at most"),
    Row::free("wander-period", Takes::Quantity(&WIDTH), "none", "from one extreme of the wander to the next like it"),
];

const RULES: &[Rule] = &[
    Rule::AnyOf(&[&["each"], &["wander"]]),
    Rule::Needs("wander-period", "wander"),
    Rule::Needs("wander", "wander-period"),
];

/// The keys of the clock's own jitter.
pub(in crate::patch) static OF_CLOCK: Keys = Keys {
    what: "the clock's `jitter`",
    about: "how all that the clock sends at one instant is moved alike",
    rows: ROWS,
    rules: RULES,
};

pub(super) const KIND: KindOfStage = KindOfStage {
    word: "jitter",
    keys: Keys { what: "a jitter stage", about: "chance at each event, and a slow wander", rows: ROWS, rules: RULES },
    carries: Carries::Both,
    formula: "Gaussian, cut at 4 SD; its middle lies 4 SD late, so that nothing comes before its cause",
    source: "",
    made: |given| jitter(given).map(StageKind::Jitter),
};

impl Facts for Jitter {
    fn is_chance(&self) -> bool {
        true
    }
}

/// What a stage and the clock itself have in common.
pub(in crate::patch) fn jitter(given: &mut dyn Given) -> Result<Jitter, Told> {
    let each = each(given);
    let (most, period) = (given.time("wander"), given.time("wander-period"));
    let help = "write wander = \"2 ms\", the furthest that it goes";
    let one = needs(given, "wander-period", "wander", help);
    let help = "write wander-period = \"20 s\", from one extreme to the next like it";
    let other = needs(given, "wander", "wander-period", help);
    if ["each", "wander", "wander-period"].iter().all(|key| !given.has(key)) {
        let help = format!("{EXAMPLE}; or wander = \"2 ms\" and wander-period = \"20 s\"");
        let label = "expected at least one of the two in this table";
        return Err(given.tell(Conflict::new(About::Table, "has neither `each` nor `wander`", label, &help)));
    }
    let (each, most, period) = (each?, most?, period?);
    one.and(other)?;
    let wander = most.zip(period).map(|(most, period)| Wander { most, period });
    Ok(Jitter { each, wander })
}

fn each(given: &mut dyn Given) -> Got<Scatter> {
    let mut scatter = None;
    given.within("each", &mut |inner| {
        let (sd, range) = (inner.time("sd"), inner.time("range"));
        scatter = match (sd?, range?) {
            (Some(sd), None) => Some(Scatter::Gaussian(sd)),
            (None, Some(range)) => Some(Scatter::Uniform(range)),
            (sd, _) => {
                let found = if sd.is_some() { "both `sd` and `range`" } else { "neither `sd` nor `range`" };
                let message = format!("has {found}");
                let conflict = Conflict::new(About::Table, message, "expected one of the two", EXAMPLE);
                return Err(inner.tell(conflict));
            }
        };
        Ok(())
    })?;
    Ok(scatter)
}
