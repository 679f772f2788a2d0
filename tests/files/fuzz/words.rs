//! Quantities, patterns, ranges, and the words of a command line.

use super::edits::{edited, examples, noise};
use super::{cases, is_plain};
use clap::Parser;
use hitgap::cli::Cli;
use hitgap::judge::Target;
use hitgap::judge::sweep::{Knob, values};
use hitgap::patch::{Asked, Patch, pattern, quantity};
use proptest::prelude::*;

/// Reads a text as every quantity; one that is refused says what to write instead.
pub(crate) fn read_quantity(text: &str) {
    fn held<T>(read: Result<T, quantity::QuantityError>) {
        if let Err(error) = read {
            is_plain(&error.to_string());
            is_plain(&error.help());
            assert!(error.message.chars().count() < 500, "{}", error.message);
        }
    }
    held(quantity::time(text));
    held(quantity::whole_time(text));
    held(quantity::seconds(text));
    held(quantity::share(text));
    held(quantity::frequency(text));
    held(quantity::level(text));
    held(quantity::length(text));
    held(quantity::resistance(text));
    held(quantity::capacitance(text));
    held(quantity::voltage(text));
    held(quantity::speed(text));
    held(quantity::temperature(text));
    held(quantity::drift(text));
    held(quantity::rate(text));
    if let Ok(share) = quantity::share(text) {
        let phase = quantity::phase(share);
        assert!(quantity::phase(phase) == phase, "round the period once is enough: {text}");
    }
    match pattern::steps(text) {
        Ok(steps) => assert!((1..=pattern::MOST_STEPS).contains(&steps.len())),
        Err(error) => is_plain(&error.to_string()),
    }
    if let Err(error) = text.parse::<hitgap::time::Tempo>() {
        is_plain(&error.to_string());
    }
}

/// Reads a text as a range of settings, and as what may be turned or delayed.
pub(crate) fn read_range(text: &str) {
    for phase in [false, true] {
        match values(text, phase) {
            Ok(all) => {
                assert!(!all.is_empty() && all.len() <= 1000);
                all.iter().for_each(|value| is_plain(&format!("{}{}", value.name(), value.words())));
            }
            Err(error) => is_plain(&format!("{error}{}", error.help())),
        }
    }
    let source = examples("patches", "late-bell.toml").remove(0);
    let rig = Patch::parse(&source, &Asked::default()).unwrap_or_else(|_| panic!("an example")).original.rig;
    if let Err(error) = Knob::parse(&rig, text) {
        is_plain(&format!("{error}{}", error.help()));
    }
    if let Err(error) = Target::parse(&rig, text) {
        is_plain(&format!("{error}{}", error.help()));
    }
}

/// Reads a text as the words of a command line; nothing is done.
pub(crate) fn read_line(text: &str) {
    let words = text.split_whitespace().take(100);
    // What it says is shown by `tests/absurd` as a terminal would get it.
    let _ = Cli::try_parse_from(words).map_err(|e| e.to_string());
}

/// The command lines of all transcripts.
fn lines() -> Vec<String> {
    let all = examples("tests/commands/transcripts", ".txt");
    all.iter().flat_map(|text| text.lines()).filter_map(|line| line.strip_prefix("$ ")).map(str::to_owned).collect()
}

fn quantities() -> Vec<String> {
    [
        "5 ms",
        "-3.5 µs",
        "40us",
        "2 s",
        "12.5 ps",
        "0.001 ps",
        "66.6667 %",
        "1pct",
        "120 Hz",
        "1.5 kHz",
        "-6 dB",
        "3.4 m",
        "10 kohm",
        "4.7 uF",
        "700 mV",
        "2 m/s",
        "20 °C",
        "30 ppm",
        "4 per beat",
        "1 per 16 beats",
        "10000 per 10000 beats",
        "x...X... | x.",
        "97.5",
        "999999999999999999.999999999999999999 s",
        "−5 ms",
    ]
    .map(str::to_owned)
    .to_vec()
}

fn ranges() -> Vec<String> {
    let all = [
        "0ms..30ms:1ms",
        "0%..5%:0.5%",
        "1ms,5ms",
        "-0.5%..0.5pct:0.5%",
        "sequencer.wren.clock",
        "clock.slow.phase",
        "60..160:20",
    ];
    all.map(str::to_owned).to_vec()
}

proptest! {
    #![proptest_config(cases(256))]

    #[test]
    fn any_text_is_a_quantity_or_told(text in prop_oneof![4 => edited(quantities()), 1 => noise(), 1 => any::<String>()]) {
        read_quantity(&text);
    }

    #[test]
    fn any_text_is_a_range_or_told(text in prop_oneof![4 => edited(ranges()), 1 => noise()]) {
        read_range(&text);
    }

    #[test]
    fn any_words_are_a_command_or_told(text in prop_oneof![8 => edited(lines()), 1 => noise()]) {
        read_line(&text);
    }
}
