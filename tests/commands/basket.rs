//! All components of a list, heard in one path.

use super::place::Place;
use super::wav::Wav;
use serde_json::Value;

/// Ox and Wren in sixteenths; Wren waits for the pulse after a reset.
const BARE: &str = "tempos = [60, 150]\nbars = 4\n[clock.sixteenths]\nrate = \"4 per beat\"\n[clock.home]\nrate = \"1 per 8 beats\"\n\
    [sequencer.ox]\nclock = \"sixteenths\"\nreset = \"home\"\nreset-mode = \"this-clock\"\nsteps = \"X...x...\"\nvoice = \"kick\"\n\
    [sequencer.wren]\nclock = \"sixteenths\"\nreset = \"home\"\nreset-mode = \"next-clock\"\nsteps = \"X..xx.x.\"\nvoice = \"snare\"\n";

/// Components, a kind each: their names, their tables, and for one whose worst is known by hand its table then.
const PARTS: [(&str, &str, Option<&str>); 4] = [
    // 0.4 ms at the most, and never so little that Wren would play the pulse of the reset.
    (
        "gate",
        "kind = \"delay\", delay = { min = \"50 us\", typ = \"100 us\", max = \"400 us\" }",
        Some("kind = \"delay\", delay = \"400 us\""),
    ),
    (
        "filter",
        "kind = \"rc\", r = { value = \"10 kohm\", tolerance = \"5 %\" }, c = \"22 nF\", threshold-rise = \"2.5 V\", threshold-fall = \"2.5 V\"",
        None,
    ),
    ("loop", "kind = \"poll\", period = \"1 ms\"", None),
    (
        "envelope",
        "kind = \"envelope\", attack = \"1 ms\", decay = \"1 ms\", shape = \"linear\", attack-means = \"to-peak\", peak = \"8 V\", \
         threshold-rise = \"2 V\", threshold-fall = \"1 V\", follows = \"gate\", retrigger = \"from-here\"",
        None,
    ),
];

/// The patch with the components, and the same with each written as a fix by hand.
fn both() -> [Place; 2] {
    let (mut with, mut by_hand) = (BARE.to_owned(), BARE.to_owned());
    let fix = |name: &str, table: &str| {
        format!(
            "[fix.{name}]\nset.\"stage.{name}\" = {{ {table} }}\nset.\"sequencer.wren.clock\" = [\"sixteenths\", \"{name}\"]\n"
        )
    };
    with += "[component]\n";
    for (name, table, worst) in PARTS {
        with += &format!("{name} = {{ {table} }}\n");
        by_hand += &fix(name, table);
        by_hand += &worst.map_or_else(String::new, |worst| fix(&format!("{name}-worst"), worst));
    }
    [Place::new().with("rig.toml", with), Place::new().with("rig.toml", by_hand)]
}

/// What is heard of a component is what is heard of a fix that writes it as a stage: to the byte, alone and by turns, in the typical
/// run and in a drawn one.
#[test]
fn a_component_sounds_as_the_same_fix_by_hand() {
    let [with, by_hand] = both();
    for run in ["", " --run 3"] {
        with.run(&format!("hitgap compare rig.toml --on wren.clock --no-page{run}")).exits(0);
        by_hand.run(&format!("hitgap compare rig.toml --no-page{run}")).exits(0);
        let tail = if run.is_empty() { "" } else { "-run3" };
        for tempo in [60, 150] {
            for (name, _, worst) in PARTS {
                for file in [
                    format!("rig.{name}.{tempo}bpm{tail}.matched.wav"),
                    format!("rig.original+{name}.{tempo}bpm{tail}.wav"),
                ] {
                    let read = |place: &Place| place.read(&format!("out/{file}"));
                    assert!(read(&with) == read(&by_hand), "{file}");
                }
                // Its name stands in the file, and is another here.
                let Some(_) = worst else { continue };
                let own = Wav::read(&with.read(&format!("out/rig.{name}.at-worst.{tempo}bpm{tail}.matched.wav")));
                let hand = Wav::read(&by_hand.read(&format!("out/rig.{name}-worst.{tempo}bpm{tail}.matched.wav")));
                assert!(own.channels == hand.channels, "{name} at {tempo}");
                assert!(
                    hand.left()
                        != Wav::read(&by_hand.read(&format!("out/rig.{name}.{tempo}bpm{tail}.matched.wav"))).left()
                );
            }
        }
    }
}

/// What is told of a component is what `check` tells of the fix by hand.
#[test]
fn a_component_is_judged_as_check_judges_the_fix_by_hand() {
    let [with, by_hand] = both();
    let json = |place: &Place, line: &str| -> Value { serde_json::from_str(&place.run(line).stdout).expect("JSON") };
    let shop = json(&with, "hitgap compare rig.toml --on wren.clock --no-page --format json");
    let checked = json(&by_hand, "hitgap check rig.toml --format json");
    let of = |fix: &str, tempo: &Value| -> Value {
        let results = checked["results"].as_array().expect("results");
        results.iter().find(|r| r["variant"] == fix && r["tempo_bpm"] == *tempo).cloned().expect("a result")
    };
    let mut seen = 0;
    for component in shop["components"].as_array().expect("components") {
        let name = component["name"].as_str().expect("a name");
        let same = |version: &Value, fix: &str| {
            for at in version["tempos"].as_array().expect("tempos") {
                let check = of(fix, &at["tempo_bpm"]);
                assert_eq!(at["passes"], check["passes"], "{fix} {at}");
                // The gap of the two boxes, without its sign.
                assert_eq!(at["worst_ms"].as_f64(), check["gaps"][0]["worst_ms"].as_f64().map(f64::abs), "{fix} {at}");
            }
        };
        same(&component["usual"], name);
        seen += 1;
        if name == "gate" {
            same(&component["worst"], "gate-worst");
            // By hand: 0.4 ms at most, of 2 that are allowed; 0.05 at least, of the skew of 0.01 that is needed.
            assert_eq!((component["fit"].as_str(), component["slack_us"].as_f64()), (Some("always"), Some(40.0)));
        }
    }
    assert_eq!(seen, PARTS.len());
    // The loop, at worst, looks just as a pulse comes with the reset, so that Wren plays it; or just before: a millisecond late.
    let places = ["gate", "filter", "envelope", "loop"].map(|name| {
        shop["components"].as_array().expect("components").iter().position(|c| c["name"] == name).expect("there")
    });
    assert!(places[3] == 3, "the loop is the last: {places:?}");
}

#[test]
fn a_table_for_the_shop() {
    let place = Place::new();
    place.shows(
        "compare-basket",
        &[
            "hitgap compare patches/three-in-the-basket.toml --on sequencer.wren.clock --tempo 60,120 --bars 4",
            "hitgap compare patches/three-in-the-basket.toml --on wren.clock --tempo 60 --bars 2 --no-page --format csv",
            "hitgap compare patches/three-in-the-basket.toml --on wren.clock --tempo 60 --bars 2 --no-page --format json",
            "hitgap compare patches/three-in-the-basket.toml --tempo 60 --bars 2 --no-page --format csv",
            "hitgap compare patches/late-bell.toml --on wren.clock",
            "hitgap compare patches/late-bell.toml --components patches/components.toml",
        ],
    );
    let page = String::from_utf8(place.read("out/three-in-the-basket.wren.clock.html")).expect("text");
    // The versions beside the others, and the table to print.
    for version in ["gate, at worst", "loop-box, at worst", "envelope"] {
        assert!(page.contains(&format!("<b>{version}</b>")), "{version}");
    }
    let table = page.split_once("id=\"basket\"").expect("a table").1.split_once("</section>").expect("its end").0;
    assert!(
        table.contains("For the shop")
            && table.contains("<th scope=\"row\" dir=\"auto\">envelope</th><td>45</td><td>fits always</td>"),
        "{table}"
    );
    let manifest: Value = serde_json::from_slice(&place.read("out/manifest.json")).expect("JSON");
    let files = manifest["files"].as_array().expect("files");
    let worst = files.iter().find(|f| f["file"] == "three-in-the-basket.gate.at-worst.120bpm.matched.wav");
    assert_eq!(worst.expect("listed")["variant"], "gate, at worst");
}

/// A component that is called as a fix is beside it all the same.
#[test]
fn a_component_and_a_fix_of_one_name_are_two_versions() {
    let place = Place::new();
    let line =
        "hitgap compare patches/three-in-the-basket.toml --on wren.clock --fix envelope --tempo 120 --bars 2 --no-page";
    place.run(line).exits(0);
    let [fix, component] = ["envelope", "envelope.component"]
        .map(|name| Wav::read(&place.read(&format!("out/three-in-the-basket.{name}.120bpm.matched.wav"))));
    assert!(fix.channels == component.channels);
}

/// The best twelve are heard, and who is left out is named, the best first.
#[test]
fn what_is_too_much_for_a_page_is_left_out_by_rank() {
    // By hand: the middle of 0.01 to 2 ms has the most room on its narrower side, so that the shortest are the worst.
    let many: String =
        (1..=14).map(|n| format!("[component.c{n}]\nkind = \"delay\"\ndelay = \"{} us\"\n", 20 * n)).collect();
    let place = Place::new().with("many.toml", &many);
    let line =
        "hitgap compare patches/late-bell.toml --on wren.clock --components many.toml --tempo 120 --bars 2 --no-page";
    let said = place.run(line).exits(0).stdout;
    assert!(
        said.contains("A page takes 12 components well, the best first. Left out: c2 (fits always), c1 (fits always)."),
        "{said}"
    );
}
