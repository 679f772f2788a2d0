//! The keys of a lesson.

use crate::patch::check::view::MOST_OF_A_KIND;
use crate::patch::model::{Keys, Row, Rule, Takes};

/// The most chapters: a page of that many is no lesson any more.
pub(super) const MOST_CHAPTERS: usize = 64;
/// The most settings of one flam.
pub(super) const MOST_SETTINGS: usize = 64;
/// The most bars that a chapter may ask for, so that a page stays a page.
const MOST_BARS: i64 = 4096;
/// As on the command line.
const MOST_RUNS: i64 = 10_000_000;
/// What belongs to a patch and to no flam.
pub(super) const OF_A_PATCH: [&str; 3] = ["fixes", "bars", "run"];

/// The keys at the top of a lesson.
pub(in crate::patch) static KEYS: Keys = Keys {
    what: "a lesson",
    about: "chapters of a teacher's text, each with a patch to hear or two voices a time apart",
    rows: &[
        Row::needed(
            "title",
            Takes::Text { lines: false },
            "write title = \"Three robots and a clock\" at the top",
            "what it is called",
        ),
        Row::free("note", Takes::Text { lines: true }, "none", "what is said before the first chapter, in Markdown"),
        Row::needed(
            "chapter",
            Takes::Tables(&CHAPTER, 1, MOST_CHAPTERS),
            "write a line [[chapter]], and below it heading, text and patch",
            "the chapters, in order",
        ),
    ],
    rules: &[],
};

/// The keys of a chapter.
pub(in crate::patch) static CHAPTER: Keys = Keys {
    what: "a chapter",
    about: "what is said, and what is heard with it",
    rows: &[
        Row::needed(
            "heading",
            Takes::Text { lines: false },
            "write heading = \"Why two boxes disagree\"",
            "what it is called",
        ),
        Row::needed(
            "text",
            Takes::Text { lines: true },
            "write text = \"\"\"...\"\"\", the teacher's words in Markdown",
            "what is said before anything is heard, in Markdown",
        ),
        Row::free("listen-for", Takes::Text { lines: true }, "none", "what to listen for, in Markdown"),
        Row::free("question", Takes::Text { lines: true }, "none", "a question for afterwards, in Markdown"),
        Row::free("answer", Takes::Text { lines: true }, "none", "its answer, in Markdown"),
        Row::free("patch", Takes::OtherFile, "`flam`", "the patch that is heard, as seen from the lesson's folder"),
        Row::free("fixes", Takes::Texts(MOST_OF_A_KIND), "every fix", "names of fixes, or several joined by `+`"),
        Row::free("tempos", Takes::Tempos, "those of the patch, or 120", "quarter notes a minute"),
        Row::free("bars", Takes::Whole(1, MOST_BARS), "those of the patch", "how many bars are played"),
        Row::free("loop", Takes::Whole(1, MOST_BARS), "until all repeats", "how many bars go round at first"),
        Row::free("run", Takes::Whole(1, MOST_RUNS), "the typical run", "which draw of what is left to chance"),
        Row::free("flam", Takes::Table(&FLAM), "`patch`", "two voices a time apart, instead of a patch"),
    ],
    rules: &[Rule::OneOf(&["patch", "flam"]), Rule::Needs("answer", "question")],
};

/// The keys of a flam.
pub(in crate::patch) static FLAM: Keys = Keys {
    what: "a flam",
    about: "two voices, and how far apart they are",
    rows: &[
        Row::or("voices", Takes::Text { lines: true }, "kick,kick", "the two voices, of the built-in kit"),
        Row::free("delays", Takes::Texts(MOST_SETTINGS), "`phases`", "how far the second is behind the first: times"),
        Row::free(
            "phases",
            Takes::Texts(MOST_SETTINGS),
            "`delays`",
            "how far it is behind: shares of the period of `rate`",
        ),
        Row::or("rate", Takes::Rate, "1 per beat", "the output whose period counts"),
    ],
    rules: &[Rule::OneOf(&["delays", "phases"])],
};
