//! The keys of a sequencer.

use crate::patch::model::measures::{NUDGE, SOME_TIME, TIME};
use crate::patch::model::{Keys, Row, Rule, Takes};
use crate::patch::read::pattern::MOST_STEPS;

/// The keys of a sequencer.
pub(in crate::patch) static KEYS: Keys = Keys {
    what: "a sequencer",
    about: "a box that steps through a pattern on clock pulses",
    rows: &[
        Row::free(
            "like",
            Takes::Name("kind of box"),
            "no kind",
            "what kind of box it is: what that says holds where no key beside it says otherwise",
        ),
        Row::needed(
            "clock",
            Takes::Path,
            "write clock = \"OUTPUT\", or [\"OUTPUT\", \"STAGE\"]",
            "the way to its clock input",
        ),
        Row::free("reset", Takes::Path, "none", "the way to its reset input"),
        Row::free(
            "reset-mode",
            Takes::Words(&["this-clock", "next-clock", "immediate", "held", "sampled", "ignored"]),
            "none, without a `reset`",
            "what a reset does; needed where there is one",
        ),
        Row::free(
            "steps",
            Takes::Steps,
            "`euclidean`",
            "`x` a hit, `X` an accent, `.` a rest; blanks and `|` are ignored",
        ),
        Row::free("euclidean", Takes::Table(&EUCLIDEAN), "`steps`", "hits spread as evenly as whole steps allow"),
        Row::needed(
            "voice",
            Takes::Name("voice"),
            "write voice = \"kick\", or the name of a [voice.NAME] table",
            "a voice of this patch, or one of the kit",
        ),
        Row::or("latency", Takes::Quantity(&TIME), "0 s", "from the event that causes a hit to the hit"),
        Row::or("offset", Takes::Quantity(&NUDGE), "0 s", "a nudge of every hit; later is positive"),
        Row::free("out", Takes::Out, "none", "the stages between it and the ear, in order"),
        Row::or("power-up-step", Takes::Whole(1, MOST_STEPS as i64), "1", "the step that the first pulse plays"),
        Row::or("pulses-per-step", Takes::Whole(1, MOST_PULSES), "1", "how many pulses of its clock make a step"),
        Row::or(
            "setup-time",
            Takes::Quantity(&TIME),
            "0 s",
            "`next-clock`, `sampled`: how long before a clock rise a reset must come to count for it",
        ),
        Row::or(
            "on-tie",
            Takes::Words(&["clock-first", "reset-first"]),
            "clock-first",
            "`next-clock`: which of the two is read first at one instant",
        ),
        Row::or(
            "holdoff",
            Takes::Quantity(&TIME),
            "1 ms",
            "`immediate`: how long after a reset clock rises are ignored",
        ),
        Row::free(
            "grace",
            Takes::Quantity(&TIME),
            "while the pulse is high",
            "`this-clock`: for so long after its rise a pulse is the one that a reset means",
        ),
        Row::free("poll", Takes::Name("poll stage"), "none", "the loop that looks at both its inputs"),
        Row::free("input", Takes::Table(&INPUT), "none", "shorter pulses and gaps are not seen by its inputs"),
        Row::or(
            "gathers",
            Takes::Quantity(&TIME),
            "0 s",
            "how long it waits from the first edge, to handle all that came, a reset first",
        ),
        Row::free(
            "idle-reset",
            Takes::Quantity(&SOME_TIME),
            "never",
            "a clock rise that comes so long or longer after the last one plays step 1",
        ),
        Row::or("clock-edge", Takes::Words(&["rise", "fall"]), "rise", "which edge of its clock it counts"),
        Row::or("reset-edge", Takes::Words(&["rise", "fall"]), "rise", "which edge of its reset it obeys"),
        Row::or(
            "reset-clears-count",
            Takes::YesNo,
            "true",
            "whether a reset begins the count of pulses in a step anew",
        ),
        Row::or(
            "sounds-on-reset",
            Takes::YesNo,
            "true",
            "whether a step that a reset plays sounds while the clock is stopped",
        ),
        Row::free(
            "one",
            Takes::Words(&["own"]),
            "that of the patch",
            "`own` declares polymetre: for it only the start counts as a one",
        ),
    ],
    rules: &[
        Rule::OneOf(&["steps", "euclidean"]),
        Rule::Needs("reset", "reset-mode"),
        Rule::Needs("reset-mode", "reset"),
        Rule::FilledBy("like"),
    ],
};
/// The keys of an `euclidean`.
pub(super) static EUCLIDEAN: Keys = Keys {
    what: "`euclidean`",
    about: EXAMPLE,
    rows: &[
        Row::needed("hits", Takes::Whole(0, MOST_STEPS as i64), EXAMPLE, "how many hits; at most `steps`"),
        Row::needed("steps", Takes::Whole(1, MOST_STEPS as i64), EXAMPLE, "how many steps"),
        Row::or(
            "rotate",
            Takes::Whole(-(MOST_STEPS as i64), MOST_STEPS as i64),
            "0",
            "by how many steps every hit comes later, going round",
        ),
    ],
    rules: &[],
};
pub(super) const EXAMPLE: &str =
    "write euclidean = { hits = 3, steps = 8 }, with rotate = 1 in it to turn it by a step";
/// The keys of an `input`.
pub(super) static INPUT: Keys = Keys {
    what: "`input`",
    about: "write input = { min-high = \"1 ms\", min-low = \"1 ms\" }",
    rows: &[
        Row::or("min-high", Takes::Quantity(&TIME), "0 s", "shorter pulses are not seen"),
        Row::or("min-low", Takes::Quantity(&TIME), "0 s", "shorter gaps between pulses are not seen"),
    ],
    rules: &[],
};
/// The most pulses that make a step.
const MOST_PULSES: i64 = 10_000;
