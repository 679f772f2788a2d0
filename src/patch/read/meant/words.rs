//! Words that people use for one of a few, and that one.

use crate::patch::check::show::nearest;

/// A word, and what it may be here: the first that is possible counts.
const WORDS: [(&str, &[&str]); 66] = [
    // Kinds of stages.
    ("serial", &["midi-cable"]),
    ("midi", &["midi-cable"]),
    ("din", &["midi-cable"]),
    ("cable", &["midi-cable"]),
    ("divider", &["divide"]),
    ("division", &["divide"]),
    ("multiplier", &["multiply"]),
    ("or", &["logic"]),
    ("and", &["logic"]),
    ("or-gate", &["logic"]),
    ("gate", &["held", "logic"]),
    ("filter", &["rc"]),
    ("lowpass", &["rc"]),
    ("slew", &["rc"]),
    ("lag", &["delay", "rc"]),
    ("latency", &["delay"]),
    ("wait", &["delay"]),
    ("buffer", &["audio-buffer"]),
    ("interface", &["audio-buffer"]),
    ("usb", &["poll", "audio-buffer"]),
    ("loop", &["poll"]),
    ("scan", &["poll"]),
    ("distance", &["air"]),
    ("speaker", &["air"]),
    ("solenoid", &["strike"]),
    ("motor", &["strike"]),
    ("random", &["jitter"]),
    ("follower", &["envelope"]),
    // What a reset does.
    ("next", &["next-clock"]),
    ("next-step", &["next-clock"]),
    ("next-pulse", &["next-clock"]),
    ("sync", &["next-clock"]),
    ("synced", &["next-clock"]),
    ("synchronous", &["next-clock"]),
    ("quantized", &["next-clock"]),
    ("this", &["this-clock"]),
    ("current", &["this-clock"]),
    ("now", &["immediate"]),
    ("instant", &["immediate"]),
    ("immediately", &["immediate"]),
    ("at-once", &["immediate"]),
    ("async", &["immediate"]),
    ("asynchronous", &["immediate"]),
    ("trigger", &["immediate"]),
    ("hold", &["held"]),
    ("level", &["held"]),
    ("high", &["held"]),
    ("off", &["ignored"]),
    ("none", &["ignored"]),
    ("ignore", &["ignored"]),
    // Edges, and outputs without a rate.
    ("rising", &["rise"]),
    ("falling", &["fall"]),
    ("begin", &["start"]),
    ("play", &["start", "run"]),
    ("running", &["run"]),
    // Drums.
    ("bd", &["kick"]),
    ("bass-drum", &["kick"]),
    ("bassdrum", &["kick"]),
    ("sd", &["snare"]),
    ("clap", &["snare"]),
    ("hh", &["hat"]),
    ("hihat", &["hat"]),
    ("hi-hat", &["hat"]),
    ("cymbal", &["hat"]),
    ("rim", &["click"]),
    ("beep", &["click"]),
];

/// The one of a few words that somebody means.
pub(super) fn meant<'w>(text: &str, words: &[&'w str]) -> Option<&'w str> {
    let plain = text.trim().to_lowercase().replace(['_', ' '], "-");
    let known = |word: &str| words.iter().copied().find(|known| known.eq_ignore_ascii_case(word));
    let singular = plain.strip_suffix('s').unwrap_or(&plain);
    let listed = || {
        let (_, all) = WORDS.iter().find(|(word, all)| {
            (*word == plain || *word == singular) && all.iter().any(|word| known(word).is_some())
        })?;
        all.iter().find_map(|word| known(word))
    };
    // A name such as `kick-808.wav` says which it is.
    let within = || words.iter().copied().find(|word| word.len() > 2 && plain.contains(word));
    known(&plain).or_else(listed).or_else(within).or_else(|| nearest(&plain, words.iter().copied()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::patch::model::KINDS;

    #[test]
    fn every_word_leads_to_one_that_is_known() {
        let mut known: Vec<&str> = KINDS.iter().map(|kind| kind.word).collect();
        known.extend(["this-clock", "next-clock", "immediate", "held", "sampled", "ignored", "rise", "fall"]);
        known.extend(["start", "stop", "run", "kick", "snare", "hat", "click"]);
        for (word, all) in WORDS {
            for meant in all {
                assert!(known.contains(meant), "{word}: {meant}");
            }
        }
        assert_eq!(meant("Serial", &["delay", "midi-cable"]), Some("midi-cable"));
        assert_eq!(meant("kick 808.wav", &["hat", "kick"]), Some("kick"));
        assert_eq!(meant("Next Clock", &["this-clock", "next-clock"]), Some("next-clock"));
        assert_eq!(meant("serial", &["start", "stop"]), None);
    }
}
