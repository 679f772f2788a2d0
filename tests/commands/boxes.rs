use super::place::Place;
use serde_json::Value;

const MINE: &str = "[box.old-arm]\nabout = \"Wren's old arm\"\ntell = \"it creaks\"\nreset-mode = \"immediate\"\nlatency = \"3 ms\"\n\
                    [box.plays-on]\nlatency = \"1 ms\"\n";

#[test]
fn the_kinds_for_people_and_programs() {
    let place = Place::new()
        .with("kinds.toml", MINE)
        .with("bad.toml", "[box.mine]\nlatency = 5\n")
        .with("none.toml", "x = 1\n");
    let patch = "[clock.c]\nrate = \"4 per beat\"\n[sequencer.wren]\nlike = \"old-arm\"\nsteps = \"x\"\n\
                 [sequencer.ox]\nlike = \"plays-on\"\nsteps = \"x\"\n";
    let place = place.with("mine.toml", patch);
    place.shows(
        "boxes",
        &[
            "hitgap boxes",
            "hitgap boxes --boxes kinds.toml --format json",
            "hitgap check mine.toml",
            "hitgap check mine.toml --boxes kinds.toml",
            "hitgap check mine.toml --boxes bad.toml",
            "hitgap check mine.toml --boxes none.toml",
            "hitgap check mine.toml --boxes patches/late-bell.toml",
            "hitgap check mine.toml --boxes nowhere.toml",
            "hitgap check kinds.toml",
        ],
    );
}

/// What programs are told of a kind can be written in a patch.
#[test]
fn what_the_list_says_can_be_written_out() {
    let place = Place::new();
    let list: Value = serde_json::from_str(&place.run("hitgap boxes --format json").exits(0).stdout).expect("JSON");
    let kinds = list["boxes"].as_array().expect("a list");
    assert!(kinds.len() >= 12);
    for kind in kinds {
        let of = |key: &str| kind[key].as_object().expect("a table").clone();
        let keys: String = of("keys").iter().map(|(k, v)| format!("{k} = {}\n", v.as_str().expect("a text"))).collect();
        let brings = of("brings").into_iter().map(|(path, table)| {
            let (kind, name) = path.split_once('.').expect("two parts");
            format!("{kind}.{name} = {}\n", table.as_str().expect("a text"))
        });
        let brings: String = brings.collect();
        let clock = if keys.contains("\nclock = ") || keys.starts_with("clock = ") { "" } else { "clock = \"c\"\n" };
        let reset = if keys.contains("reset-mode") && !keys.contains("reset = ") { "reset = \"c\"\n" } else { "" };
        let written = format!(
            "clock.c = {{ rate = \"4 per beat\" }}\n{brings}[sequencer.s]\n{clock}{reset}{keys}steps = \"x\"\nvoice = \"kick\"\n"
        );
        let like = format!(
            "clock.c = {{ rate = \"4 per beat\" }}\n[sequencer.s]\nlike = {}\n{clock}{reset}steps = \"x\"\n",
            kind["name"]
        );
        let place = Place::new().with("written.toml", written.replace('*', "s")).with("like.toml", like);
        let hits = |file: &str| place.run(&format!("hitgap hits {file} --bars 2")).exits(0).stdout;
        assert_eq!(hits("written.toml"), hits("like.toml"), "{kind}");
    }
}

/// What a patch plays depends on the kinds that it is read with: the manifest says so, and pictures are drawn with them.
#[test]
fn files_are_made_of_the_kinds_too() {
    let patch = "bars = 1\n[clock.c]\nrate = \"4 per beat\"\n[sequencer.wren]\nlike = \"mine\"\nsteps = \"x\"\n\
                 [sequencer.ox]\nlike = \"plays-on\"\nsteps = \"x\"\n";
    let place = Place::new()
        .with("mine.toml", patch)
        .with("a.toml", "[box.mine]\nlatency = \"1 ms\"\n")
        .with("b.toml", "[box.mine]\nlatency = \"2 ms\"\n");
    let made = |kinds: &str| {
        place.run(&format!("hitgap render mine.toml --boxes {kinds}.toml --out {kinds}")).exits(0);
        let manifest: Value = serde_json::from_slice(&place.read(&format!("{kinds}/manifest.json"))).expect("JSON");
        manifest["files"][0]["patch_sha256"].as_str().expect("a checksum of what it was made of").to_owned()
    };
    assert_ne!(made("a"), made("b"));
    place.run("hitgap check mine.toml --boxes a.toml --plot").exits(0);
    let picture = String::from_utf8(place.read("out/mine.gap-over-tempo.svg")).expect("text");
    // From a fifth below the patch's 120 to a quarter above, as of any patch: 120 stands at 24/54 of the line.
    let after = |text: &str, key: &str| -> f64 {
        let rest = text.split_once(key).unwrap_or_else(|| panic!("no {key}: {picture}")).1;
        rest[..rest.find(|c: char| c != '.' && !c.is_ascii_digit()).unwrap_or(rest.len())].parse().expect("a number")
    };
    let line = picture.split_once("hg-line hg-s0").expect("a line").1;
    let line = line.split_once("\"/>").expect("its end").0;
    let (from, to) = (after(line, " d=\"M"), after(&line[line.rfind('L').expect("places")..], "L"));
    let at_120 = from + (to - from) * (120.0 - 96.0) / (150.0 - 96.0);
    let figure = picture.lines().find(|l| l.ends_with(">120</text>")).expect("its tempo");
    assert!((after(figure, " x=\"") - at_120).abs() < 0.02, "{figure}");
}
