use super::{Carries, Facts, KindOfStage, StageKind};
use crate::patch::model::given::{About, Conflict, Given, Got, Told, needs};
use crate::patch::model::measures::{TIME, WIDTH};
use crate::patch::model::{Keys, Limited, Row, Rule, Takes, Tolerance, show_span};
use crate::time::Span;

/// See [`StageKind::Delay`].
#[derive(Clone, Debug, PartialEq)]
pub struct Delay {
    /// Added to rises; not negative.
    pub rise: Tolerance<Span>,
    /// Added to falls; not negative.
    pub fall: Tolerance<Span>,
    /// Pulses (and gaps) shorter than this vanish; at most the shorter delay. 0 for none.
    pub swallows: Span,
    /// Makes it a one-shot: every rise that is taken starts a pulse of this width, and falls do nothing.
    pub one_shot: Option<OneShot>,
}

/// See [`Delay::one_shot`].
#[derive(Clone, Debug, PartialEq)]
pub struct OneShot {
    /// The width of what comes out.
    pub width: Tolerance<Span>,
    /// What a rise does while the last pulse is still out.
    pub while_busy: WhileBusy,
}

/// What a one-shot does with a rise that comes while it is busy.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WhileBusy {
    /// Starts another pulse; where the two overlap they are one on the wire.
    Passes,
    /// Nothing: the pulse under way ends in its own time.
    Ignores,
    /// Begins the width anew; the output stays high.
    Restarts,
}

pub(super) const KIND: KindOfStage = KindOfStage {
    word: "delay",
    keys: Keys {
        what: "a delay stage",
        about: "a gate that pulses go through, a line; with a `width` a one-shot",
        rows: &[
            Row::free("delay", Takes::Limits(&TIME), "`rise` and `fall`", "how much later rises and falls leave"),
            Row::free("rise", Takes::Limits(&TIME), "`delay`", "how much later rises leave"),
            Row::free("fall", Takes::Limits(&TIME), "`delay`", "how much later falls leave"),
            Row::or(
                "swallows",
                Takes::Quantity(&TIME),
                "0 s",
                "pulses shorter than this vanish; at most the least delay",
            ),
            Row::free("width", Takes::Limits(&WIDTH), "no one-shot", "makes it a one-shot: how long its pulses are"),
            Row::or(
                "while-busy",
                Takes::Words(&["passes", "ignores", "restarts"]),
                "ignores",
                "what a one-shot does with a rise within its own pulse",
            ),
        ],
        rules: &[
            Rule::Needs("while-busy", "width"),
            Rule::AnyOf(&[&["delay"], &["rise", "fall"], &["width"]]),
            Rule::NotBoth("delay", "rise"),
            Rule::NotBoth("delay", "fall"),
        ],
    },
    carries: Carries::Both,
    formula: "rise and fall later by a time",
    source: "4000-series gate at 5 V: 120 ns typical, 250 at most; 74HC: 7 ns (data sheets)",
    made,
};

impl Facts for Delay {
    fn limited(&mut self, each: &mut dyn FnMut(Limited<'_>)) {
        each(Limited::Time(&mut self.rise));
        each(Limited::Time(&mut self.fall));
        if let Some(one) = &mut self.one_shot {
            each(Limited::Time(&mut one.width));
        }
    }

    fn is_late(&self) -> bool {
        self.rise.min > Span::ZERO && (self.one_shot.is_some() || self.fall.min > Span::ZERO)
    }
}

fn made(given: &mut dyn Given) -> Result<StageKind, Told> {
    let [both, rise, fall] = ["delay", "rise", "fall"].map(|key| given.times(key));
    let swallows = given.time("swallows");
    let width = given.times("width");
    let while_busy = given.word("while-busy");
    let alone = needs(given, "while-busy", "width", "write a `width`, which makes the stage a one-shot");
    let delays = apart(given, both, rise, fall);
    let (width, while_busy, swallows) = (width?, while_busy?, swallows?.unwrap_or(Span::ZERO));
    alone?;
    let (rise, fall) = delays?;
    let least = if width.is_some() { rise.min } else { rise.min.min(fall.min) };
    if swallows > least {
        return Err(given.tell(swallows_too_much(swallows, least)));
    }
    let while_busy = match while_busy {
        Some("passes") => WhileBusy::Passes,
        Some("restarts") => WhileBusy::Restarts,
        _ => WhileBusy::Ignores,
    };
    let one_shot = width.map(|width| OneShot { width, while_busy });
    if one_shot.is_some() {
        given.without_effect("fall", "a one-shot takes no notice of falls");
    }
    Ok(StageKind::Delay(Delay { rise, fall, swallows, one_shot }))
}

/// Pulses that would have to vanish after they have left.
pub(super) fn swallows_too_much(swallows: Span, least: Span) -> Conflict {
    let help = "swallow less: whether a pulse is too short is known only at its end, and by then it would have left; \
                a value without a `min` is 0 at least";
    let (found, expected) = (show_span(swallows), format!("at most {}, the least delay", show_span(least)));
    Conflict::together("swallows", "swallows longer pulses than it delays", &found, &expected, help)
}

/// The delays of rises and of falls: one for both, or each its own.
fn apart(
    given: &mut dyn Given,
    both: Got<Tolerance<Span>>,
    rise: Got<Tolerance<Span>>,
    fall: Got<Tolerance<Span>>,
) -> Result<(Tolerance<Span>, Tolerance<Span>), Told> {
    const NONE: Tolerance<Span> = Tolerance::plain(Span::ZERO);
    if let (true, Some(own)) = (given.has("delay"), ["rise", "fall"].into_iter().find(|key| given.has(key))) {
        let help = "keep `delay` for both, or `rise` and `fall`, each its own";
        let message = format!("has both `delay` and `{own}`");
        let conflict = Conflict::new(About::Key(own), message, "expected one of the two", help);
        return Err(given.tell(Conflict { other: Some(("delay", "the other is here")), ..conflict }));
    }
    let one_shot = given.has("width");
    match (both?, rise?, fall?) {
        (Some(both), ..) => Ok((both, both)),
        (None, Some(rise), Some(fall)) => Ok((rise, fall)),
        (None, Some(rise), None) if one_shot => Ok((rise, rise)),
        (None, None, _) if one_shot => Ok((NONE, NONE)),
        (None, rise, fall) => {
            let (key, help) = match (rise, fall) {
                (Some(_), _) => ("fall", "write fall = \"60 us\", or `delay` for both"),
                (_, Some(_)) => ("rise", "write rise = \"40 us\", or `delay` for both"),
                _ => ("delay", "write delay = \"40 us\", or rise = \"40 us\" and fall = \"60 us\""),
            };
            Err(given.tell(Conflict::missing(key, help)))
        }
    }
}
