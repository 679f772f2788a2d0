use super::place::Place;
use super::wav::Wav;

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
