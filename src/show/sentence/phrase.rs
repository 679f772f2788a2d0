//! How keys and words are said. What has no phrase of its own is told by its key: `with KEY VALUE`.

use super::figure::{listed, plain, quantity_text};
use crate::patch::{KINDS, Worth};

/// What stands before and behind the word of a key. What begins with a blank goes on without a comma.
const CLAUSES: [(&str, &str, &str, &str); 96] = [
    ("clock", "swing", "with a swing of ", ""),
    ("clock", "width", "each pulse ", " long"),
    ("delay", "delay", " of ", ""),
    ("delay", "rise", " of ", " for rises"),
    ("delay", "fall", "of ", " for falls"),
    ("delay", "swallows", "deaf to pulses shorter than ", ""),
    ("delay", "width", "making pulses of ", ""),
    ("rc", "r", " of ", ""),
    ("rc", "c", " and ", ""),
    ("rc", "high", "driven to ", ""),
    ("rc", "low", "resting at ", ""),
    ("rc", "source", "from a source of ", ""),
    ("rc", "load", "into a load of ", ""),
    ("rc", "discharge", "discharged through ", ""),
    ("rc", "threshold-rise", "read as high from ", ""),
    ("rc", "threshold-fall", "read as low from ", ""),
    ("envelope", "attack", " that rises in ", ""),
    ("envelope", "decay", "falls in ", ""),
    ("envelope", "peak", "with a peak of ", ""),
    ("envelope", "threshold-rise", "read as high from ", ""),
    ("envelope", "threshold-fall", "read as low from ", ""),
    ("logic", "does", " that does ", ""),
    ("logic", "with", " with ", ""),
    ("logic", "delay", "later by ", ""),
    ("logic", "swallows", "deaf to pulses shorter than ", ""),
    ("divide", "by", " that passes one pulse in ", ""),
    ("divide", "reset", "begun anew by ", ""),
    ("divide", "power-up", "with ", " pulses counted when the power comes on"),
    ("multiply", "by", " that makes one pulse into ", ""),
    ("poll", "period", " that looks every ", ""),
    ("poll", "phase", "for the first time at ", ""),
    ("poll", "drift", "off by at most ", ""),
    ("poll", "samples", "sure of a level after ", " looks"),
    ("midi-cable", "start-lead", "with ", " from a start to the first clock"),
    ("midi-cable", "order", "sending first what is for ", ""),
    ("audio-buffer", "frames", " in blocks of ", " frames"),
    ("audio-buffer", "blocks", "late by ", " of them"),
    ("audio-buffer", "sample-rate", "at ", ""),
    ("audio-buffer", "phase", "the first block at ", ""),
    ("audio-buffer", "drift", "off by at most ", ""),
    ("air", "distance", " over ", ""),
    ("air", "temperature", "at ", ""),
    ("strike", "stroke", " over a way of ", ""),
    ("strike", "speed", "landing at ", ""),
    ("strike", "rise", "moving after ", ""),
    ("strike", "spread", "scattered by ", ""),
    ("strike", "recovery", "ready again after ", ""),
    ("jitter", "each.sd", " with a standard deviation of ", ""),
    ("jitter", "each.range", " evenly by at most ", ""),
    ("jitter", "wander", "wandering by at most ", ""),
    ("jitter", "wander-period", "once to and fro in ", ""),
    ("component", "price", "for ", ""),
    ("sequencer", "power-up-step", "begins at step ", ""),
    ("sequencer", "pulses-per-step", "makes a step of ", " pulses"),
    ("sequencer", "setup-time", "needs a reset ", " before the clock"),
    ("sequencer", "holdoff", "ignores its clock for ", " after a reset"),
    ("sequencer", "grace", "takes a pulse for the reset's own until ", " after its rise"),
    ("sequencer", "poll", "looks at its inputs by the loop ", ""),
    ("sequencer", "input.min-high", "sees no pulse shorter than ", ""),
    ("sequencer", "input.min-low", "sees no gap shorter than ", ""),
    ("sequencer", "gathers", "waits ", " from the first edge, and then handles all of them, a reset first"),
    ("sequencer", "idle-reset", "begins again after a silence of ", ""),
    ("hits", "voice", " as ", ""),
    ("hits", "notes", "with a voice for each key: ", ""),
    ("hits", "channel", "of channel ", " alone"),
    ("hits", "only", "of ", " alone"),
    ("hits", "min-velocity", "none softer than ", ""),
    ("hits", "max-velocity", "none louder than ", ""),
    ("hits", "grid", "each due at the nearest point of ", ""),
    ("voice", "pitch-start", "from ", ""),
    ("voice", "pitch-end", " to ", ""),
    ("voice", "softer", "with softer strokes: ", ""),
    ("voice", "onset", "its onset ", " after the start of the file"),
    ("voice", "trim", "cut ", " after the onset"),
    ("voice", "level", "at a level of ", ""),
    ("voice", "pan", "panned to ", ""),
    ("top", "tempos", " at ", ""),
    ("top", "bars", " for ", " bars"),
    ("top", "meter", " in ", ""),
    ("top", "max-gap", "gaps up to ", " pass"),
    ("top", "skew", "a margin under ", " is at risk"),
    ("top", "max-wobble", "a wobble up to ", " passes"),
    ("top", "one", "the one is where ", " pulses"),
    ("tempo-map", "tempo", " the tempo goes to ", ""),
    ("tempo-map", "over", " over ", ""),
    ("tempo-map", "at", " ", ""),
    ("change", "rate-change", "its pulses stand ", ""),
    ("change", "passes-through", "passing ", ""),
    ("change", "dwell", " for ", " each"),
    ("box", "about", ": it ", ""),
    ("box", "tell", "told by this: ", ""),
    ("box", "brings", "it brings ", ""),
    ("wire", "path", " hangs on ", ""),
    ("top", "title", "", ""),
    ("top", "note", "", ""),
    ("component", "note", "with ", ""),
];

/// Words, and how each is said where it stands in a sentence: a verb or a clause of its own.
const VALUES: [(&str, &str, &str, &str); 44] = [
    (
        "reset-mode",
        "this-clock",
        "takes the pulse that is high",
        "the clock pulse that is high is step 1; where none is, the next one is",
    ),
    ("reset-mode", "next-clock", "waits for the next pulse", "the next clock pulse after the reset plays step 1"),
    ("reset-mode", "immediate", "plays step 1 at once", "step 1 plays at once"),
    (
        "reset-mode",
        "held",
        "plays step 1 and stands still while it is high",
        "step 1 plays at once, and the clock is ignored while the reset stays high",
    ),
    (
        "reset-mode",
        "sampled",
        "plays step 1 if a pulse finds it high",
        "a clock pulse that finds the reset high plays step 1",
    ),
    ("reset-mode", "ignored", "does nothing", "a reset has no effect"),
    (
        "on-tie",
        "clock-first",
        "reads the clock first when both come at once",
        "a clock at the very instant of the reset plays an ordinary step",
    ),
    (
        "on-tie",
        "reset-first",
        "reads the reset first when both come at once",
        "a clock at the very instant of the reset plays step 1",
    ),
    ("clock-edge", "rise", "counts rises of its clock", "a pulse counts when it begins"),
    ("clock-edge", "fall", "counts falls of its clock", "a pulse counts when it ends"),
    ("reset-edge", "rise", "obeys rises of its reset", "a reset counts when it begins"),
    ("reset-edge", "fall", "obeys falls of its reset", "a reset counts when it ends"),
    (
        "reset-clears-count",
        "true",
        "begins its count of pulses anew at a reset",
        "a reset also clears the count of pulses in a step",
    ),
    (
        "reset-clears-count",
        "false",
        "keeps its count of pulses at a reset",
        "a reset moves the step and leaves the count alone",
    ),
    (
        "sounds-on-reset",
        "true",
        "sounds at a reset while the clock stands",
        "a step that a reset plays is heard while the clock is stopped",
    ),
    (
        "sounds-on-reset",
        "false",
        "is silent at a reset while the clock stands",
        "a step that a reset plays is not heard while the clock is stopped",
    ),
    ("at", "start", "pulses once when the clock starts", "one pulse, at the start"),
    ("at", "stop", "pulses once when the clock stops", "one pulse, at the stop"),
    ("at", "run", "is high while the clock runs", "a level, not a pulse"),
    ("while-busy", "passes", "letting a rise within a pulse start another", "where two pulses overlap they are one"),
    ("while-busy", "ignores", "ignoring a rise within a pulse", "the pulse under way ends in its own time"),
    ("while-busy", "restarts", "beginning anew at a rise within a pulse", "the pulse under way grows longer"),
    ("shape", "linear", "in a straight line", "as much in each moment"),
    ("shape", "exponential", "in a curve", "fast at first, then slower"),
    ("attack-means", "to-peak", "the attack being the time to the peak", "how long it rises"),
    ("attack-means", "time-constant", "the attack being its time constant", "goes with an exponential shape"),
    ("follows", "trigger", "falling by itself", "it falls as soon as it has reached its peak"),
    ("follows", "gate", "holding while its input is high", "it falls when its input does"),
    ("retrigger", "from-here", "going on from where it is at a new rise", "what is left counts"),
    ("retrigger", "from-zero", "beginning at nothing at a new rise", "what is left is cut off"),
    ("retrigger", "ignore", "ignoring a rise before it is over", "the envelope under way ends in its own time"),
    ("reads", "level", "seeing the level", "a look sees what is there"),
    ("reads", "latched", "seeing that there was a rise", "a look sees a rise since the last one"),
    (
        "running-status",
        "true",
        "leaving out status bytes that repeat",
        "a message is a byte shorter where its status is that of the last",
    ),
    ("running-status", "false", "sending every status byte", "each message is whole"),
    ("note-offs", "none", "sending no note-offs", "only what sounds travels"),
    ("note-offs", "as-note-on", "sending note-offs as note-ons of velocity 0", "they share a status with note-ons"),
    ("note-offs", "own", "sending note-offs with a status of their own", "each is a message more"),
    ("noise", "same", "the same noise at every hit", "two hits at once are as one twice as loud"),
    ("noise", "fresh", "a noise of its own at every hit", "no two hits are quite alike"),
    ("events", "sample", "events keeping their own frame", "an event is heard at its place in the block"),
    ("events", "block", "events moved to the start of a block", "all events of a block are heard together"),
    (
        "rate-change",
        "on-grid",
        "on multiples of the new period from the start",
        "as if it had been so from the beginning",
    ),
    ("rate-change", "from-change", "at the new distance from here on", "counted from the change"),
];

/// More words, which are told in few.
const SHORT: [(&str, &str, &str); 19] = [
    ("shape", "linear-in-time", "evenly in time"),
    ("shape", "linear-in-beats", "evenly in beats"),
    ("shape", "exponential-in-beats", "by the same part in every beat"),
    ("shape", "linear-period", "evenly in the length of a beat"),
    ("one", "own", "keeps a one of its own"),
    ("stop", "true", "stops"),
    ("start", "true", "starts again from the one"),
    ("continue", "true", "goes on from where it stood"),
    ("song-position", "true", "sending a song position before a continue"),
    ("song-position", "false", "sending no song position"),
    ("follow-tempo", "true", "at the tempo of the piece"),
    ("follow-tempo", "false", "at the times of its file"),
    ("level", "true", "quieter the farther it is"),
    ("level", "false", "as loud as at its source"),
    ("phase", "random", "a moment left to chance"),
    ("fires-on", "first", "the first of each group"),
    ("fires-on", "last", "the last of each group"),
    ("does", "not", "high while its input is not"),
    ("note", "", "a note"),
];

/// What stands before and behind the word of a key; of a stage by its own kind.
pub(super) fn clause(kind: &str, key: &str) -> (String, &'static str) {
    let known = CLAUSES.iter().find(|(k, name, ..)| *k == kind && *name == key);
    match known {
        Some((_, _, before, after)) => ((*before).to_owned(), after),
        None => (format!("with {} ", key.replace(['-', '.'], " ")), ""),
    }
}

/// Whether the word of a key is a clause by itself.
pub(super) fn is_clause(key: &str, value: &Worth) -> bool {
    key != "reset-mode" && spoken(key, value).is_some() && key != "phase" && key != "at"
}

fn spoken(key: &str, value: &Worth) -> Option<&'static str> {
    let word = match value {
        Worth::Text(text) => text.as_str(),
        Worth::Bool(true) => "true",
        Worth::Bool(false) => "false",
        _ => return None,
    };
    let long = VALUES.iter().find(|(k, w, ..)| *k == key && *w == word).map(|(_, _, says, _)| *says);
    long.or_else(|| SHORT.iter().find(|(k, w, _)| *k == key && *w == word).map(|(.., says)| *says))
}

/// What a word does, in a line.
pub(super) fn word_about(key: &str, value: &Worth) -> Option<&'static str> {
    let word = match value {
        Worth::Text(text) => text.as_str(),
        Worth::Bool(yes) => {
            if *yes {
                "true"
            } else {
                "false"
            }
        }
        _ => return None,
    };
    VALUES.iter().find(|(k, w, ..)| *k == key && *w == word).map(|(.., about)| *about)
}

/// What a value is called where it stands in a sentence.
pub(super) fn value(key: &str, value: &Worth) -> String {
    let key = key.rsplit('.').next().unwrap_or(key);
    match (key, value) {
        ("kind", Worth::Text(word)) => return stage_noun(word),
        ("model", Worth::Text(word)) => return format!("a {word}"),
        ("note", _) => return "a note".to_owned(),
        ("clock" | "reset" | "with" | "path" | "out", _) => return way(value),
        ("steps" | "about" | "tell" | "title" | "file" | "only" | "price", Worth::Text(text)) => return text.clone(),
        ("brings", Worth::Table(all)) => return listed(&all.iter().map(|(path, _)| path.clone()).collect::<Vec<_>>()),
        ("notes" | "softer", Worth::Table(all)) => {
            let note = |(key, voice): &(String, Worth)| format!("{key} {}", plain(voice));
            return listed(&all.iter().map(note).collect::<Vec<_>>());
        }
        ("euclidean", _) => {
            let part = |key: &str| value.get(key).map_or("?".to_owned(), plain);
            let turned = value.get("rotate").map_or(String::new(), |by| format!(", turned by {}", plain(by)));
            return format!("{} hits over {} steps{turned}", part("hits"), part("steps"));
        }
        _ => {}
    }
    match (spoken(key, value), value) {
        (Some(says), _) => says.to_owned(),
        (None, Worth::Text(text)) => quantity_text(text),
        (None, value) => plain(value),
    }
}

/// What a kind of stage is called.
pub(super) fn stage_noun(word: &str) -> String {
    match word {
        "rc" => "a resistor and a capacitor".to_owned(),
        "logic" => "a logic gate".to_owned(),
        "divide" => "a divider".to_owned(),
        "multiply" => "a multiplier".to_owned(),
        "poll" => "a loop".to_owned(),
        "midi-cable" => "a serial cable".to_owned(),
        "audio-buffer" => "a computer that hands sound on".to_owned(),
        "air" => "sound on its way".to_owned(),
        "strike" => "an arm that strikes".to_owned(),
        "jitter" => "jitter".to_owned(),
        "delay" => "a delay".to_owned(),
        "envelope" => "an envelope".to_owned(),
        other if KINDS.iter().any(|kind| kind.word == other) => {
            format!(
                "{} {}",
                if other.starts_with(['a', 'e', 'i', 'o', 'u']) { "an" } else { "a" },
                other.replace('-', " ")
            )
        }
        other => other.to_owned(),
    }
}

/// Where a path begins, as people say it.
pub(super) fn begin(text: &str) -> String {
    let parts: Vec<&str> = text.splitn(3, '.').collect();
    match parts[..] {
        ["wire", wire] => format!("the point {wire}"),
        ["sequencer", name, "step-1"] => format!("{name}'s step 1"),
        ["sequencer", name, "end"] => format!("{name}'s last step"),
        ["sequencer", name, "hits"] => format!("{name}'s hits"),
        ["sequencer", name, "thru"] => format!("{name}'s clock, passed on"),
        _ => text.to_owned(),
    }
}

/// A path in a few words.
pub(super) fn way(value: &Worth) -> String {
    match value {
        Worth::Text(text) => begin(text),
        Worth::List(list) => {
            let name = |worth: &Worth| if let Worth::Text(text) = worth { text.clone() } else { plain(worth) };
            match list.split_first() {
                None => "nothing".to_owned(),
                Some((first, [])) => begin(&name(first)),
                Some((first, rest)) => {
                    format!("{} through {}", begin(&name(first)), listed(&rest.iter().map(name).collect::<Vec<_>>()))
                }
            }
        }
        other => plain(other),
    }
}

/// The phrase of a key by its own kind of stage, or else by the kind of its table; kinds of boxes are told as boxes are.
pub(super) fn clause_of(kind: &str, table: &str, key: &str) -> (String, &'static str) {
    let known = |kind: &str| CLAUSES.iter().any(|(k, name, ..)| *k == kind && *name == key);
    let box_of = if table == "box" { "sequencer" } else { table };
    clause([kind, table, box_of].into_iter().find(|kind| known(kind)).unwrap_or(kind), key)
}

/// What a key is called in `the KEY of NAME`.
pub(super) fn key_noun(key: &str) -> String {
    match key {
        "r" => "resistor".to_owned(),
        "c" => "capacitor".to_owned(),
        "out" => "way to the ear".to_owned(),
        key => key.replace('-', " "),
    }
}

/// A value that is set somewhere else: the word itself, and what it says where it holds.
pub(super) fn set_value(key: &str, to: &Worth) -> (String, Option<String>) {
    match (spoken(key, to), to) {
        (Some(says), Worth::Text(word)) => (word.clone(), Some(format!(" ({says})"))),
        (Some(says), _) => (plain(to), Some(format!(" ({says})"))),
        (None, _) => (value(key, to), None),
    }
}

/// A whole table in a few words.
pub(super) fn table(kind: &str, table: &Worth) -> String {
    let text = |key: &str| if let Some(Worth::Text(text)) = table.get(key) { Some(text.as_str()) } else { None };
    match (kind, text("kind"), text("rate")) {
        ("stage", Some(word), _) => stage_noun(word),
        ("clock", _, Some(rate)) => rate.to_owned(),
        _ => "a table of its own".to_owned(),
    }
}

/// What one of a kind is called.
pub(super) fn noun(kind: &str) -> &str {
    match kind {
        "clock" => "output",
        "hits" => "take",
        kind => kind,
    }
}
