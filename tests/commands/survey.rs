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

/// Ox is on time, Anvil sounds 3.8 ms late, Heron waits for the pulse after the reset.
const ANVIL: &str = "title = \"The heavy hammer\"\ntempos = [60, 120]\nbars = 8\n[clock.sixteenths]\nrate = \"4 per beat\"\n\
    [clock.home]\nrate = \"1 per 16 beats\"\n[component.gate]\nkind = \"delay\"\ndelay = \"40 us\"\nprice = \"4\"\n\
    [sequencer.anvil]\nclock = \"sixteenths\"\nreset = \"home\"\nreset-mode = \"this-clock\"\nsteps = \"X...x...\"\nvoice = \"kick\"\nlatency = \"3.8 ms\"\n\
    [sequencer.ox]\nclock = \"sixteenths\"\nreset = \"home\"\nreset-mode = \"this-clock\"\nsteps = \"X...x...\"\nvoice = \"kick\"\n\
    [sequencer.wren]\nclock = \"sixteenths\"\nreset = \"home\"\nreset-mode = \"this-clock\"\nsteps = \"X...x...\"\nvoice = \"kick\"\n\
    [sequencer.heron]\nclock = \"sixteenths\"\nreset = \"home\"\nreset-mode = \"next-clock\"\nsteps = \"X...x...\"\nvoice = \"kick\"\n";

/// By hand: whatever else is done, Anvil is 3.8 ms from the others; Heron needs its clock later than the reset by the skew of 0.01 ms, and by
/// the max gap of 2 ms at most.
#[test]
fn who_is_at_fault_is_told_in_the_order_in_which_it_is_mended() {
    let place = Place::new().with("hammer.toml", ANVIL);
    place.shows(
        "advise-turns",
        &[
            "hitgap advise hammer.toml",
            "hitgap advise hammer.toml --format csv",
            "hitgap advise patches/across-the-room.toml",
            "hitgap advise patches/across-the-room.toml --on ox.clock --tempo 60",
            "hitgap advise patches/five-teachers.toml --tempo 60 --components patches/components.toml",
            "hitgap advise patches/eight-on-one-wire.toml --tempo 120",
        ],
    );
    let json = |line: &str| -> Value { serde_json::from_str(&place.run(line).exits(0).stdout).expect("JSON") };
    let all = json("hitgap advise hammer.toml --format json");
    let turns = all["turns"].as_array().expect("turns");
    let who: Vec<&str> = turns.iter().filter_map(|turn| turn["player"].as_str()).collect();
    assert_eq!((who, &turns[0]["delay"], &all["works"]), (vec!["anvil", "heron"], &Value::Null, &Value::Bool(true)));
    // What is needed and what fits is what the input itself is told, those in the way left aside.
    let alone = json("hitgap advise hammer.toml --on heron.clock --format json");
    let delay = &turns[1]["delay"];
    assert_eq!(
        (delay["on"].as_str(), &delay["windows"]),
        (Some("sequencer.heron.clock"), &alone["without"]["windows"])
    );
    assert_eq!(delay["windows"], serde_json::json!([{ "least_ms": 0.01, "most_ms": 2.0 }]));
    assert_eq!(delay["components"][0]["fit"], alone["without"]["components"][0]["fit"]);
    let blame = |on: &str| {
        let inputs = all["inputs"].as_array().expect("inputs");
        inputs
            .iter()
            .find(|input| input["on"] == on)
            .map(|input| input["blame"].as_str().unwrap_or_default().to_owned())
    };
    let of = ["ox", "wren", "anvil", "heron"].map(|name| blame(&format!("sequencer.{name}.clock")).expect("an input"));
    assert_eq!(of, ["fine", "fine", "at fault", "at fault"]);
}

/// Behind the envelope Wren needs nothing more: no part is offered, and none to solder, in words or for programs.
#[test]
fn where_nothing_is_needed_nothing_is_offered() {
    let place = Place::new();
    let line = "hitgap advise patches/three-in-the-basket.toml --fix envelope --on wren.clock";
    let said = place.run(line).exits(0).stdout;
    assert!(said.contains("Nothing is needed"), "{said}");
    for word in ["solder", "Wiring", "component", "gate"] {
        assert!(!said.contains(word), "{word}: {said}");
    }
    let json: Value = serde_json::from_str(&place.run(&format!("{line} --format json")).exits(0).stdout).expect("JSON");
    assert_eq!(json["rc"], Value::Null);
    let all = place.run("hitgap advise patches/three-in-the-basket.toml --fix envelope").exits(0).stdout;
    assert!(!all.contains("at fault") && !all.contains("component"), "{all}");
}
