use super::place::Place;
use serde_json::Value;

#[test]
fn advice_before_you_buy() {
    let place = Place::new();
    place.shows(
        "advise",
        &[
            "hitgap advise patches/three-in-the-basket.toml --on sequencer.wren.clock --dial-steps 100",
            "hitgap advise patches/late-bell.toml --on sequencer.wren.clock --components patches/components.toml",
            "hitgap advise patches/thin-ice.toml --on sequencer.wren.clock --setting 1% --setting 40us --between 40..160",
            "hitgap advise patches/late-bell.toml --on sequencer.wren.clock --fix or-gate --tempo 50 --max-gap 5ms",
        ],
    );
    place.shows(
        "advise-none",
        &[
            "hitgap advise patches/five-teachers.toml --on sequencer.at-once.clock",
            "hitgap advise patches/hand-in-hand.toml --on sequencer.moth.clock",
            "hitgap advise patches/late-bell.toml --on sequencer.wren.reset --dial-steps 8",
            "hitgap advise patches/loose-hands.toml --on sequencer.wren.clock",
        ],
    );
    place.shows(
        "advise-odds",
        &[
            "hitgap advise patches/moth-blinks.toml --on sequencer.moth.clock",
            "hitgap advise patches/eight-on-one-wire.toml --on sequencer.eight.clock --tempo 120",
        ],
    );
    place.shows(
        "advise-formats",
        &[
            "hitgap advise patches/three-in-the-basket.toml --on sequencer.wren.clock --tempo 60,75 --dial-steps 100 --format csv",
            "hitgap advise patches/three-in-the-basket.toml --on sequencer.wren.clock --tempo 75 --setting 1pct --format json",
        ],
    );
}

#[test]
fn a_page_to_hear_what_you_would_buy() {
    let place = Place::new();
    place.shows(
        "advise-page",
        &[
            "hitgap advise patches/late-bell.toml --on wren.clock --components patches/components.toml --page",
            "hitgap advise patches/late-bell.toml --on wren.clock --page",
            "hitgap advise patches/late-bell.toml --on wren.clock --open",
            "hitgap advise patches/late-bell.toml --on wren.clock --card --page",
        ],
    );
    let page = String::from_utf8(place.read("out/late-bell.original.wren.clock.html")).expect("text");
    // The best first, each with what the advice says of it.
    assert!(page.contains("with fast-envelope") && page.contains("fits at every tempo"));
    let manifest: Value = serde_json::from_slice(&place.read("out/manifest.json")).expect("JSON");
    let entry = &manifest["files"][0];
    assert_eq!((entry["kind"].as_str(), entry["command"].as_str()), (Some("page"), Some("advise")));
    // Fifty are what a page takes.
    let many: String = (0..51).map(|n| format!("[component.c{n}]\nkind = \"delay\"\ndelay = \"{n} us\"\n")).collect();
    let place = place.with("many.toml", &many);
    let line = "hitgap advise patches/late-bell.toml --on wren.clock --components many.toml --page";
    let said = place.run(line).exits(2).stderr;
    assert!(said.contains("a page of 51 components is more than a browser takes well: at most 50"), "{said}");
}

#[test]
fn a_card_to_tape_to_a_rig() {
    let songs = "song,tempo,who\nLantern rising,75,all\n\"Ox, alone\",120,ox\nWren's slow one,60,wren\nAgain,75,all\n";
    let place = Place::new().with("evening.csv", songs);
    place.shows(
        "advise-card",
        &[
            "hitgap advise patches/thin-ice.toml --on sequencer.wren.clock --card --songs evening.csv",
            "hitgap advise patches/thin-ice.toml --on sequencer.wren.clock --card --tempo 80,120 --dial-steps 128",
            "hitgap advise patches/thin-ice.toml --on sequencer.wren.clock --card --songs evening.csv --dial-steps 1000",
        ],
    );
}

#[test]
fn what_cannot_be_advised_is_refused() {
    let place = Place::new()
        .with("no-tempo.csv", "song,bpm\nLantern rising,75\n")
        .with("not-a-tempo.csv", "song,tempo\nLantern rising,quick\n")
        .with("empty.csv", "song,tempo\n")
        .with("basket.toml", "[component.gate]\nkind = \"delay\"\ndelay = \"40 us\"\n")
        .with("no-component.toml", "title = \"nothing\"\n")
        .with(
            "bad-basket.toml",
            "titel = \"typo\"\n[component.gate]\nkind = \"dely\"\n[component.wall]\nkind = \"strike\"\n",
        );
    let late = "hitgap advise patches/late-bell.toml";
    let line = |rest: &str| format!("{late} {rest}");
    let lines: Vec<String> = [
        "",
        "--on wren",
        "--on sequencer.wern.clock",
        "--on sequencer.wren.clock --fix nothing",
        "--on sequencer.wren.clock --dial-steps 0",
        "--on sequencer.wren.clock --setting 100%",
        "--on sequencer.wren.clock --setting 5",
        "--on sequencer.wren.clock --between 90",
        "--on sequencer.wren.clock --between 90..60",
        "--on sequencer.wren.clock --songs empty.csv",
        "--on sequencer.wren.clock --card --format json",
        "--on sequencer.wren.clock --card --songs no-tempo.csv",
        "--on sequencer.wren.clock --card --songs not-a-tempo.csv",
        "--on sequencer.wren.clock --card --songs empty.csv",
        "--on sequencer.wren.clock --card --songs nowhere.csv",
        "--on sequencer.wren.clock --components nowhere.toml",
        "--on sequencer.wren.clock --components no-component.toml",
        "--on sequencer.wren.clock --components bad-basket.toml",
        "--on sequencer.wren.clock --components patches/late-bell.toml",
        "--on sequencer.wren.clock --components basket.toml --components basket.toml",
    ]
    .iter()
    .map(|rest| line(rest))
    .chain(["hitgap advise patches/loose-hands.toml --on sequencer.wren.reset".to_owned()])
    .collect();
    place.shows("bad-advise", &lines.iter().map(String::as_str).collect::<Vec<_>>());
}

/// The figures of the table, as programs get them.
#[test]
fn programs_get_the_whole_answer() {
    let place = Place::new();
    let line =
        "hitgap advise patches/three-in-the-basket.toml --on sequencer.wren.clock --dial-steps 100 --format json";
    let report: Value = serde_json::from_str(&place.run(line).exits(0).stdout).expect("JSON");
    assert_eq!(report["format"], 1);
    assert_eq!(report["windows"][0]["least_ms"], 0.01);
    assert_eq!(report["windows"][0]["most_ms"], 2.0);
    assert_eq!(report["settings"], serde_json::json!([]));
    assert_eq!(report["tempos"][1]["settings"], serde_json::json!([1]));
    assert_eq!(report["components"][0]["fit"], "always");
    assert_eq!(report["components"][0]["tempos"].as_array().map(Vec::len), Some(4));
    assert_eq!(report["holds"][0]["ranges_bpm"], serde_json::json!([[75.0, 300.0]]));
}

/// A fits-always component lies within the region; the picture is listed with what it was made from.
#[test]
fn a_window_is_drawn() {
    let place = Place::new();
    let line = "hitgap advise patches/three-in-the-basket.toml --on sequencer.wren.clock --plot --out there";
    place.shows("advise-plot", &[line]);
    let name = "three-in-the-basket.original.wren.clock.window.svg";
    let svg = String::from_utf8(place.read(&format!("there/{name}"))).expect("text");
    assert!(svg.starts_with("<svg") && svg.contains("envelope") && svg.contains("loop-box"));
    let manifest = String::from_utf8(place.read("there/manifest.json")).expect("text");
    assert!(manifest.contains(name) && manifest.contains("\"advise\""));
}
