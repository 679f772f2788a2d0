//! Advice on every input at once.

use super::place::Place;
use serde_json::Value;

#[test]
fn every_input_in_one_table() {
    let place = Place::new();
    place.shows(
        "advise-survey",
        &[
            "hitgap advise patches/late-bell.toml",
            "hitgap advise patches/thin-ice.toml --fix phase",
            "hitgap advise patches/moth-blinks.toml --tempo 120",
            "hitgap advise patches/hand-in-hand.toml",
            "hitgap advise patches/late-bell.toml --format csv",
            "hitgap advise patches/late-bell.toml --tempo 50 --format json",
        ],
    );
}

/// What the table says of an input is what `--on` says of it.
#[test]
fn an_input_is_told_as_it_is_told_alone() {
    let place = Place::new();
    for patch in ["late-bell", "three-in-the-basket"] {
        let json = |more: &str| -> Value {
            let line = format!("hitgap advise patches/{patch}.toml --format json{more}");
            serde_json::from_str(&place.run(&line).exits(0).stdout).expect("JSON")
        };
        let survey = json("");
        let inputs = survey["inputs"].as_array().expect("inputs");
        assert!(inputs.len() > 2);
        for input in inputs {
            let alone = json(&format!(" --on {}", input["on"].as_str().expect("a name")));
            assert_eq!(input["windows"], alone["windows"], "{patch} {}", input["on"]);
            assert_eq!(input["typical"], alone["typical"], "{patch} {}", input["on"]);
            // Where nothing helps it says why, and only there.
            assert_eq!(input["windows"].as_array().map(Vec::is_empty), Some(input["why"].is_string()), "{input}");
        }
    }
}
