use super::lesson::data;
use super::place::Place;
use super::wav::{Wav, ticks};
use serde_json::Value;

#[test]
fn a_grid_is_told_and_written() {
    let place = Place::new();
    place.shows(
        "sweep",
        &[
            "hitgap sweep patches/late-bell.toml --on sequencer.wren.clock --delay 0ms..2ms:1ms,22ms --tempo 120",
            "hitgap sweep patches/late-bell.toml --on clock.slow --phase 0%..2%:1% --tempo 50,160 --until-over --out there --format csv",
            "hitgap sweep patches/thin-ice.toml --on sequencer.wren.clock --phase 1% --tempo 60,160 --out json --format json",
            "hitgap sweep patches/late-bell.toml --on sequencer.wren.clock",
            "hitgap sweep patches/late-bell.toml --on sequencer.moth.clock --delay 1ms",
            "hitgap sweep patches/late-bell.toml --on clock.fast --delay 1ms",
            "hitgap sweep patches/late-bell.toml --on sequencer.wren.clock --delay 5",
            "hitgap sweep patches/late-bell.toml --on sequencer.wren.clock --delay 5ms..1ms:1ms",
            "hitgap sweep patches/late-bell.toml --on sequencer.wren.clock --phase -1%",
            "hitgap sweep patches/late-bell.toml --on sequencer.wren.clock --delay 0ms..1s:1us",
        ],
    );
    assert_eq!(place.sounds("out").len(), 5);
}

/// The page of a grid is named first, listed, and holds the settings by their names and what is said of them.
#[test]
fn a_grid_has_a_page() {
    let place = Place::new();
    place.shows(
        "sweep-page",
        &[
            "hitgap sweep patches/late-bell.toml --on sequencer.wren.clock --delay 0ms..2ms:1ms,22ms --tempo 80,120 --page",
            "hitgap sweep patches/late-bell.toml --on clock.slow --phase 0%..2%:0.25% --tempo 160,50 --until-over --page --out json --format json",
            "hitgap sweep patches/late-bell.toml --on clock.slow --phase 0%..50%:1% --page --out many",
        ],
    );
    let page = |name: &str| String::from_utf8(place.read(name)).expect("text");
    let first = page("out/late-bell.original.wren-clock.html");
    let held = data(&first, "data");
    let names = |held: &Value| -> Vec<String> {
        let all = held["variants"].as_array().expect("versions").iter();
        all.map(|v| v["name"].as_str().expect("a name").to_owned()).collect()
    };
    // With no delay the patch is as nothing turned, and does not stand there twice.
    assert_eq!(names(&held), ["0 ms", "1 ms", "2 ms", "22 ms"]);
    let cells = |held: &Value, tempo: usize, field: &str| -> Vec<Value> {
        held["tempos"][tempo]["cells"].as_array().expect("cells").iter().map(|c| c[field].clone()).collect()
    };
    assert_eq!(cells(&held, 0, "gapMs"), [1500.0, 1.0, 2.0, 22.0]);
    assert_eq!(cells(&held, 1, "gapMs"), [1000.0, 1.0, 2.0, 22.0]);
    assert_eq!(held["tempos"][1]["note"], Value::Null);
    for request in [" src=", "url(", "@import", "<link", "<iframe", "fetch(", "XMLHttpRequest", "import("] {
        assert!(!first.contains(request), "{request}");
    }
    assert!(first.contains("default-src &#39;none&#39;"));
    let manifest: Value = serde_json::from_slice(&place.read("out/manifest.json")).expect("JSON");
    let listed =
        manifest["files"].as_array().expect("files").iter().find(|f| f["file"] == "late-bell.original.wren-clock.html");
    assert_eq!(listed.map(|f| (&f["kind"], &f["command"])), Some((&"page".into(), &"sweep".into())));
    // What is left out is not there; what no tempo has is no version.
    let ended = data(&page("json/late-bell.original.slow.html"), "data");
    assert_eq!(names(&ended), ["0 %", "0.25 %", "0.5 %"]);
    // By hand: 0.25 % of two beats is 1.875 ms at 160 and 6 ms at 50.
    assert_eq!(cells(&ended, 0, "gapMs"), [750.0, 1.875, 3.75]);
    assert_eq!(ended["tempos"][1]["cells"][2], Value::Null);
    assert_eq!(cells(&ended, 1, "gapMs")[..2], [2400.0, 6.0]);
    // The same bytes again, whatever is beside it.
    place.run("hitgap sweep patches/late-bell.toml --on sequencer.wren.clock --delay 0ms..2ms:1ms,22ms --tempo 80,120 --page --out again").exits(0);
    assert!(first == page("again/late-bell.original.wren-clock.html"));
}

/// A share of a period on the way to an input is another delay at each tempo.
#[test]
fn a_share_on_the_way_to_an_input_is_a_time_a_tempo() {
    let place = Place::new();
    place.run("hitgap sweep patches/thin-ice.toml --fix phase --on sequencer.wren.clock --phase 1%,2% --tempo 60,120 --page").exits(0);
    let text = String::from_utf8(place.read("out/thin-ice.phase.wren-clock.html")).expect("text");
    assert!(text.contains("in the variant phase, at 2 tempos"));
    let held = data(&text, "data");
    assert_eq!([&held["variants"][0]["name"], &held["variants"][0]["about"]], ["phase", "nothing turned"]);
    // The page's gaps are the grid's own; no line over tempo is drawn.
    let figures = String::from_utf8(place.read("out/thin-ice.phase.wren-clock.sweep.csv")).expect("text");
    let told: Vec<f64> =
        figures.lines().skip(1).map(|l| l.split(',').nth(7).expect("a gap").parse().expect("a number")).collect();
    let cells = (0..2).flat_map(|tempo| (1..3).map(move |version| (tempo, version)));
    let gap =
        |(tempo, version): (usize, usize)| held["tempos"][tempo]["cells"][version]["gapMs"].as_f64().expect("a gap");
    assert_eq!(cells.map(gap).collect::<Vec<_>>(), told);
    assert!(!text.contains("gap-over-tempo"));
}

#[test]
fn past_the_budget_the_page_is_whole_and_a_note_says_what_to_leave_out() {
    let place = Place::new();
    let ran = place
        .run(
            "hitgap sweep patches/late-bell.toml --on sequencer.wren.clock --delay 1ms..40ms:1ms --tempo 60..120:5 \
             --bars 2 --sample-rate 8000 --bits 16 --page",
        )
        .exits(0);
    let bytes = place.read("out/late-bell.original.wren-clock.html").len();
    assert!(bytes > 8_000_000, "{bytes}");
    let note = format!("note: the page has {:.1} MB, and 8 MB is", bytes as f64 / 1e6);
    assert!(ran.stderr.contains(&note) && ran.stderr.contains("settings with a larger step"), "{}", ran.stderr);
}

/// The same hits by another way: a fix of the patch that puts a stage of the same delay there, rendered by `compare`, plays
/// in the same places. Here the figures of `check` are held against those of the grid.
#[test]
fn a_cell_is_what_a_fix_would_be() {
    let place = Place::new();
    let text = String::from_utf8(place.read("patches/late-bell.toml")).expect("text");
    let more = "\n[stage.more]\nkind = \"delay\"\ndelay = \"7 ms\"\n[fix.more]\n\
                set.\"sequencer.wren.clock\" = [\"slow\", \"more\"]\n";
    std::fs::write(place.path("fixed.toml"), text + more).expect("written");
    let grid = place
        .run("hitgap sweep patches/late-bell.toml --on sequencer.wren.clock --delay 7ms --format json")
        .exits(0)
        .stdout;
    let grid: serde_json::Value = serde_json::from_str(&grid).expect("JSON");
    let check = place.run("hitgap check fixed.toml --fix more --format json").exits(1).stdout;
    let check: serde_json::Value = serde_json::from_str(&check).expect("JSON");
    let cells = grid["cells"].as_array().expect("cells");
    let results = check["results"].as_array().expect("results");
    assert_eq!((cells.len(), results.len()), (4, 4));
    for (cell, result) in cells.iter().zip(results) {
        assert_eq!(cell["tempo_bpm"], result["tempo_bpm"]);
        assert_eq!(cell["worst_gap_ms"], result["gaps"][0]["max_ms"]);
        assert_eq!(cell["band"], result["gaps"][0]["band"]);
    }
}

/// Ticks are read from the sound: 10 cells are announced by one low tone, which stands where ten high ones would.
#[test]
fn cells_are_announced_and_follow_each_other() {
    let place = Place::new();
    place
        .run("hitgap sweep patches/thin-ice.toml --on sequencer.wren.clock --delay 0ms..9ms:1ms --tempo 120 --bits 16")
        .exits(0);
    let sounds = place.sounds("out");
    let whole = Wav::read(&sounds["thin-ice.original.wren-clock.parade.wav"]);
    let cell = Wav::read(&sounds["thin-ice.original.wren-clock+9ms.120bpm.wav"]);
    // Numbers 1 to 9 take 0.18 s a tone and 0.22 s more, the tenth as much as the first; a cell lasts two bars of 2 s and
    // 0.7 s.
    let tones: f64 = (1..=9).map(|n| 0.18 * f64::from(n) + 0.4).sum::<f64>() + 0.18 + 0.4;
    let said = 0.1 + tones + 10.0 * (4.0 + 0.7);
    let lasts = whole.left().len() as f64 / 48_000.0;
    assert!(lasts >= said - 0.7 && lasts < said + 2.0, "{lasts} against {said}");
    assert!(cell.left().len() as f64 / 48_000.0 >= 4.1);
    // All cells are equally loud: thin ice has like drums, 6 dB louder together than apart if nobody cared.
    let energy = |name: &str| Wav::read(&sounds[name]).left().iter().map(|s| s * s).sum::<f64>();
    let [together, apart] = ["0ms", "9ms"].map(|d| energy(&format!("thin-ice.original.wren-clock+{d}.120bpm.wav")));
    let db = 10.0 * (together / apart).log10();
    assert!(db.abs() < 3.0, "{db} dB of plain energy apart");
}

/// Gated loudness by a library of BS.1770 (ebur128): all cells of a tempo within 0.1 dB of each other. Without matching, like
/// drums that hit at one instant are louder than apart.
#[test]
fn cells_are_equally_loud_and_do_not_depend_on_each_other() {
    let place = Place::new();
    let sweep = "hitgap sweep patches/thin-ice.toml --on sequencer.wren.clock --fix phase --tempo 120";
    place.run(&format!("{sweep} --delay 0ms,3ms,9ms,40ms --out many")).exits(0);
    let loudness = |bytes: &[u8]| {
        let sound = Wav::read(bytes);
        let mut meter = ebur128::EbuR128::new(1, 48_000, ebur128::Mode::I).expect("a meter");
        // A file of one channel is played on two.
        meter.set_channel(0, ebur128::Channel::DualMono).expect("a channel");
        meter.add_frames_f64(sound.left()).expect("frames");
        meter.loudness_global().expect("a loudness")
    };
    let sounds = place.sounds("many");
    let cells: Vec<f64> = sounds.iter().filter(|(name, _)| name.contains("bpm")).map(|(_, b)| loudness(b)).collect();
    assert_eq!(cells.len(), 4);
    assert!(cells.iter().all(|c| (c - cells[0]).abs() < 0.1), "{cells:?}");
    // One cell asked for alone is the same file.
    place.run(&format!("{sweep} --delay 9ms --out one")).exits(0);
    let name = "thin-ice.phase.wren-clock+9ms.120bpm.wav";
    assert!(place.sounds("one")[name] == sounds[name], "a cell depends on what else is made");
}

/// A box that is off the one ends no row; a gap that is too wide does.
#[test]
fn a_row_ends_with_the_first_gap_that_is_too_wide() {
    let place = Place::new();
    let ran = place.run(
        "hitgap sweep patches/late-bell.toml --on sequencer.wren.clock --delay 0ms..6ms:1ms --tempo 120 --until-over --format json",
    );
    let report: serde_json::Value = serde_json::from_str(&ran.exits(0).stdout).expect("JSON");
    let gaps: Vec<f64> =
        report["cells"].as_array().expect("cells").iter().map(|c| c["worst_gap_ms"].as_f64().expect("a gap")).collect();
    assert_eq!(gaps, [1000.0, 1.0, 2.0, 3.0]);
}

/// At 240 a sixteenth is 62.5 ms, and a dial turns it by up to half: by hand, from the second bar on, in which nothing was lost
/// before the start, three bars of 1 s. The earliest hit has the lead-in before it.
#[test]
fn a_cell_has_the_hits_that_are_due_in_its_bars() {
    let boxes = |name: &str, steps: &str, voice: &str| {
        format!(
            "[clock.{name}s]\nrate = \"4 per beat\"\nwidth = \"1 ms\"\n\
             [sequencer.{name}]\nclock = \"{name}s\"\nsteps = \"{steps}\"\nvoice = \"{voice}\"\n"
        )
    };
    let text = format!("tempos = [240]\nbars = 6\n{}{}", boxes("ox", "x...", "click"), boxes("moth", "x", "click"));
    let place = Place::new().with("even.toml", text);
    place.run("hitgap sweep even.toml --on clock.moths --phase -40%,40%").exits(0);
    for (cell, apart, early) in [("-40pct", -0.025, 0.025), ("40pct", 0.025, 0.0)] {
        let wav = Wav::read(&place.read(&format!("out/even.original.moths+{cell}.240bpm.wav")));
        let mut due: Vec<f64> = (0..12).map(|n| 0.1 + early + 0.25 * f64::from(n)).collect();
        due.extend((0..48).map(|n| 0.1 + early + 0.0625 * f64::from(n) + apart));
        due.sort_by(f64::total_cmp);
        let seen = ticks(&wav);
        assert_eq!(seen.len(), due.len(), "{cell}: {seen:?}");
        // As near as a tick's largest sample is to its instant.
        assert!(seen.iter().zip(&due).all(|(s, d)| (s - d).abs() < 1e-4), "{cell}: {seen:?}\n{due:?}");
    }
}
