use super::place::Place;
use super::wav::Wav;
use serde_json::Value;

#[test]
fn the_experiment_the_answers_and_what_does_not_fit() {
    let place = Place::new();
    place.shows(
        "identify",
        &[
            "hitgap identify",
            "hitgap identify --answers a,a,b",
            "hitgap identify --answers f,a,b",
            "hitgap identify --answers ?,b,?",
            "hitgap identify --answers a,a,c",
            "hitgap identify patches/late-bell.toml --sequencer wren --tempo 50 --out there",
            "hitgap identify --answers a,b",
            "hitgap identify --answers a,b,x",
            "hitgap identify patches/late-bell.toml",
            "hitgap identify patches/late-bell.toml --sequencer moth",
            "hitgap identify patches/moth-wakes-on-seven.toml --sequencer moth",
            "hitgap identify --tempo 60,70",
        ],
    );
    assert_eq!(place.sounds("out").len(), 13);
    assert_eq!(place.sounds("there").len(), 13);
}

/// A page is of a box in a patch; a clock without dials gives one trial, and its answers leave ways that stay apart.
#[test]
fn a_page_and_a_clock_without_dials() {
    let place = Place::new();
    place.shows(
        "identify-page",
        &[
            "hitgap identify patches/late-bell.toml --sequencer wren --page",
            "hitgap identify --page",
            "hitgap identify --no-dials",
            "hitgap identify --no-dials --answers a",
        ],
    );
    let page = String::from_utf8(place.read("out/late-bell.wren.identify.html")).expect("text");
    assert!(page.contains("id=\"identify-data\"") && page.contains("reads next-clock, on tie reset-first"));
    let manifest: Value = serde_json::from_slice(&place.read("out/manifest.json")).expect("JSON");
    let files = manifest["files"].as_array().expect("files");
    let entry = files.iter().find(|f| f["file"] == "late-bell.wren.identify.html").expect("the page");
    assert_eq!((entry["kind"].as_str(), entry["command"].as_str()), (Some("page"), Some("identify")));
}

/// Where the loud step stands in the sound: a pulse is half a second, and a file begins 100 ms before the beat. The drum
/// is read from its low end, which neither the hat nor the click has: a one-pole low-pass at 200 Hz, closed form.
#[test]
fn what_is_written_is_what_is_said() {
    let place = Place::new();
    place.run("hitgap identify").exits(0);
    for (file, at) in [("1a", vec![0.0]), ("1b", vec![0.5]), ("1d", vec![0.0, 0.5]), ("3a", vec![0.12])] {
        let sound = Wav::read(&place.read(&format!("out/identify.{file}.60bpm.wav")));
        let mono = sound.left();
        let alpha = 1.0 - (-std::f64::consts::TAU * 200.0 / 48_000.0).exp();
        let (mut low, mut quiet_since, mut onsets) = (0.0, 0_usize, Vec::new());
        let loudest = mono.iter().fold(0.0_f64, |m, s| m.max(s.abs()));
        for (n, s) in mono.iter().enumerate() {
            low += alpha * (s - low);
            if low.abs() > 0.1 * loudest {
                if n - quiet_since > 4_800 {
                    onsets.push(n as f64 / 48_000.0 - 0.1);
                }
                quiet_since = n;
            }
        }
        // The first stretch of 4 s; the filter takes a few milliseconds to follow.
        onsets.retain(|t| *t < 3.9);
        assert_eq!(onsets.len(), at.len(), "{file}: {onsets:?}");
        assert!(onsets.iter().zip(&at).all(|(found, at)| (0.0..0.01).contains(&(found - at))), "{file}: {onsets:?}");
    }
}

/// The same for programs: as many trials and groups as people are shown, and every file that is named is there.
#[test]
fn programs_get_the_experiment_too() {
    let place = Place::new();
    let report = place.run("hitgap identify --format json").exits(0).stdout;
    let report: serde_json::Value = serde_json::from_str(&report).expect("JSON");
    let trials = report["trials"].as_array().expect("trials");
    assert_eq!((trials.len(), report["groups"].as_array().expect("groups").len()), (3, 13));
    let files: Vec<&str> = trials
        .iter()
        .flat_map(|t| t["answers"].as_array().expect("answers"))
        .map(|a| a["file"].as_str().expect("a file"))
        .collect();
    let there = place.sounds("out");
    assert_eq!(files.len(), there.len());
    assert!(files.iter().all(|file| there.contains_key(*file)), "{files:?}");
}
