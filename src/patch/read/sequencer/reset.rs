use super::edge;
use crate::patch::check::fault::Fault;
use crate::patch::model::given::{Given, there};
use crate::patch::model::{EdgeKind, OnTie, Reset, ResetMode};
use crate::patch::read::fields::{Fields, Told};
use crate::patch::read::values::Values;
use crate::time::Span;

/// What each reset mode does, for who has to choose.
const MODES_EXPLAINED: &str = "choose what a reset does:\n\
    \"this-clock\": the clock pulse that is high is step 1; where none is, the next one is\n\
    \"next-clock\": the next clock pulse after the reset plays step 1\n\
    \"immediate\": step 1 plays at once\n\
    \"held\": step 1 plays at once, and the clock is ignored while the reset stays high\n\
    \"sampled\": a clock pulse that finds the reset high plays step 1\n\
    \"ignored\": nothing\n\
    if nobody knows, `hitgap identify` finds out";

#[derive(Clone, Copy, PartialEq, Eq)]
enum Mode {
    ThisClock,
    NextClock,
    Immediate,
    Held,
    Sampled,
    Ignored,
}

/// All that has to do with the reset input.
pub(super) struct ResetInput {
    pub(super) reset: Option<Reset>,
    pub(super) edge: EdgeKind,
    pub(super) sounds: bool,
    pub(super) clears_count: bool,
}

pub(super) fn reset(given: &mut Values<'_, '_, '_>) -> Result<ResetInput, Told> {
    let path = given.path("reset");
    let mode = given.fields.choice_of(
        "reset-mode",
        &[
            ("this-clock", Mode::ThisClock),
            ("next-clock", Mode::NextClock),
            ("immediate", Mode::Immediate),
            ("held", Mode::Held),
            ("sampled", Mode::Sampled),
            ("ignored", Mode::Ignored),
        ],
        MODES_EXPLAINED,
    );
    let setup_time = there(given.time("setup-time"));
    let on_tie = there(given.word("on-tie"));
    let holdoff = there(given.time("holdoff"));
    let grace = given.time("grace");
    let edge = edge(given, "reset-edge");
    let sounds = there(given.yes_or_no("sounds-on-reset"));
    let clears_count = there(given.yes_or_no("reset-clears-count"));
    let fields = &mut *given.fields;
    let ways = match (fields.get("reset"), fields.get("reset-mode")) {
        (Some((key, _)), None) => {
            let fault = Fault::new(key.at.clone(), format!("{} has a `reset` and no `reset-mode`", fields.what))
                .label("expected a `reset-mode` beside it")
                .help(MODES_EXPLAINED);
            return Err(fields.tell(fault));
        }
        (None, Some(_)) if fields.is_filled_in("reset-mode") => None,
        (None, Some((key, _))) => {
            let fault = Fault::new(key.at.clone(), format!("{} has a `reset-mode` and no `reset`", fields.what))
                .label("expected a `reset` beside it")
                .help("write reset = \"OUTPUT\", or take `reset-mode` out");
            return Err(fields.tell(fault));
        }
        (None, None) => None,
        (Some(_), Some(_)) => Some((path?.ok_or(Told)?, mode?.ok_or(Told)?)),
    };
    let (setup_time, on_tie, holdoff, grace) = (setup_time?, on_tie?, holdoff?, grace?);
    let (edge, sounds, clears_count) = (edge?, sounds?, clears_count?);
    let mode = ways.as_ref().map(|(_, mode)| *mode);
    let on_tie = if on_tie == "reset-first" { OnTie::ResetFirst } else { OnTie::ClockFirst };
    let sooner = on_tie == OnTie::ResetFirst && setup_time > Span::ZERO;
    tell_what_has_no_effect(fields, mode, sooner);
    // What looks at a level takes no notice of edges.
    let looks = matches!(mode, None | Some(Mode::Held | Mode::Sampled));
    let reset = ways.map(|(path, mode)| {
        let mode = match mode {
            Mode::ThisClock => ResetMode::ThisClock { grace },
            Mode::NextClock => ResetMode::NextClock { setup_time, on_tie },
            Mode::Immediate => ResetMode::Immediate { holdoff },
            Mode::Held => ResetMode::Held,
            Mode::Sampled => ResetMode::Sampled { setup_time },
            Mode::Ignored => ResetMode::Ignored,
        };
        Reset { path, mode }
    });
    Ok(ResetInput { reset, edge: if looks { EdgeKind::Rise } else { edge }, sounds, clears_count })
}

fn tell_what_has_no_effect(fields: &mut Fields<'_, '_>, mode: Option<Mode>, tie_is_decided: bool) {
    let only = |fields: &mut Fields<'_, '_>, key: &str, modes: &[Mode], why: &str| {
        if !mode.is_some_and(|mode| modes.contains(&mode)) {
            fields.without_effect(key, why);
        }
    };
    use Mode::{Held, Immediate, NextClock, Sampled, ThisClock};
    let why = "it matters to the reset modes \"next-clock\" and \"sampled\" only";
    only(fields, "setup-time", &[NextClock, Sampled], why);
    only(fields, "on-tie", &[NextClock], "it matters to the reset mode \"next-clock\" only");
    if mode == Some(NextClock) && tie_is_decided {
        fields.without_effect("on-tie", "it matters only where `setup-time` is 0");
    }
    only(fields, "holdoff", &[Immediate], "it matters to the reset mode \"immediate\" only");
    only(fields, "grace", &[ThisClock], "it matters to the reset mode \"this-clock\" only");
    let why = "it matters to the reset modes \"this-clock\", \"immediate\" and \"held\" only";
    only(fields, "sounds-on-reset", &[ThisClock, Immediate, Held], why);
    match mode {
        None => fields.without_effect("reset-edge", "the sequencer has no reset"),
        Some(Held | Sampled) => fields.without_effect("reset-edge", "this reset mode looks at the level, not at edges"),
        Some(Mode::Ignored) => fields.without_effect("reset-edge", "resets are ignored"),
        Some(_) => {}
    }
    if matches!(mode, None | Some(Mode::Ignored)) {
        fields.without_effect("reset-clears-count", "no reset has any effect");
    }
}
