//! The keys at the top of a patch.

use crate::patch::check::view::MOST_OF_A_KIND;
use crate::patch::model::measures::TIME;
use crate::patch::model::{Keys, OF_CLOCK, Row, Rule, Takes};
use crate::patch::read::{change, output, sequencer, set, take, tempo_map, wire};

/// The bars that last 100 days at the fastest tempo and in the shortest meter: 144,000 minutes · 1000 beats · 16.
const MOST_BARS: i64 = 2_304_000_000;

/// The keys at the top of a patch.
pub(in crate::patch) static KEYS: Keys = Keys {
    what: "a patch",
    about: "a clock, its outputs, what lies on the way, the boxes that hang on it, and fixes to hold against it",
    rows: &[
        Row::free("title", Takes::Text { lines: false }, "none", "what the patch is called"),
        Row::free("note", Takes::Text { lines: true }, "none", "anything that is to be said of it"),
        Row::free(
            "tempos",
            Takes::Tempos,
            "a take's own, or 120",
            "quarter notes a minute: the tempos that are played",
        ),
        Row::free(
            "tempo-map",
            Takes::Tables(&tempo_map::KEYS, 1, MOST_OF_A_KIND),
            "the tempo stays",
            "how the tempo changes in the course of the piece",
        ),
        Row::free(
            "bars",
            Takes::Whole(1, MOST_BARS),
            "two periods of the slowest reset of any fix, all of the takes, at least 4",
            "how many bars are played",
        ),
        Row::free("meter", Takes::Meter, "a take's own, or 4/4", "beats of a bar and their note value"),
        Row::or("max-gap", Takes::Quantity(&TIME), "2 ms", "the largest gap that is still acceptable"),
        Row::or(
            "skew",
            Takes::Quantity(&TIME),
            "10 us",
            "what nobody knows of two wires: margins under this are at risk",
        ),
        Row::free(
            "max-wobble",
            Takes::Quantity(&TIME),
            "any",
            "the largest standard deviation of a pair's gap over many runs that is still acceptable",
        ),
        Row::free("one", Takes::Name("output"), "the slowest reset", "the output whose pulses are the ones"),
        Row::or(
            "noise",
            Takes::Words(&["same", "fresh"]),
            "same",
            "whether every hit of a voice has the same noise, or each its own",
        ),
        Row::free("jitter", Takes::Table(&OF_CLOCK), "none", "how the clock itself is scattered"),
        Row::free("clock", Takes::Named(&output::KEYS), "none", "the clock's outputs"),
        Row::free(
            "stage",
            Takes::Stages { components: false },
            "none",
            "what lies between an output and an input, or between a box and the ear",
        ),
        Row::free("wire", Takes::Named(&wire::KEYS), "none", "points that several paths share"),
        Row::free("sequencer", Takes::Named(&sequencer::KEYS), "`hits`", "the boxes"),
        Row::free("box", Takes::Boxes, "those of the kit", "kinds of boxes for `like`, beside those of the kit"),
        Row::free("hits", Takes::Named(&take::KEYS), "`sequencer`", "hits from files"),
        Row::free("voice", Takes::Voices, "those of the kit", "drums of this patch, beside those of the kit"),
        Row::free("fix", Takes::Named(&set::KEYS), "none", "sets of changes, each held against the patch without any"),
        Row::free(
            "change",
            Takes::Tables(&change::KEYS, 0, MOST_OF_A_KIND),
            "none",
            "what a player does in the middle of the piece, in order",
        ),
        Row::free("component", Takes::Stages { components: true }, "none", "what `advise` may try"),
    ],
    rules: &[Rule::AnyOf(&[&["sequencer"], &["hits"]])],
};
