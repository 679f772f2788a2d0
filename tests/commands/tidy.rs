//! What earlier runs left is named, and goes where that is asked for: nothing else.

use super::place::Place;
use serde_json::Value;

const LINE: &str = "hitgap compare mine.toml --bars 2";

/// A patch of two tempos with two fixes, and what a first run makes of it.
fn place() -> Place {
    let place = Place::new().with_changed(
        "mine.toml",
        "late-bell.toml",
        &[("tempos = [50, 80, 120, 160]", "tempos = [120, 160]")],
    );
    place.run(LINE).exits(0);
    place
}

fn listed(place: &Place) -> Vec<String> {
    let manifest: Value = serde_json::from_slice(&place.read("out/manifest.json")).expect("JSON");
    let files = manifest["files"].as_array().expect("files");
    files.iter().map(|file| file["file"].as_str().expect("a name").to_owned()).collect()
}

/// The patch without its last tempo.
fn shorter(place: &Place) {
    let text = String::from_utf8(place.read("mine.toml")).expect("text");
    std::fs::write(place.path("mine.toml"), text.replace("tempos = [120, 160]", "tempos = [120]")).expect("written");
}

const STALE: [&str; 5] = [
    "mine.or-gate.160bpm.matched.wav",
    "mine.original+or-gate.160bpm.wav",
    "mine.original+phase.160bpm.wav",
    "mine.original.160bpm.matched.wav",
    "mine.phase.160bpm.matched.wav",
];

#[test]
fn what_is_left_is_named_and_stays() {
    let place = place();
    assert!(!place.run(LINE).exits(0).stderr.contains("earlier runs"));
    shorter(&place);
    let before = place.names("out");
    let ran = place.run(LINE).exits(0);
    let wanted = format!(
        "note: out has files of earlier runs that this one does not make: {}; --tidy removes them\n",
        STALE.join(", ")
    );
    assert!(ran.stderr.contains(&wanted), "{}", ran.stderr);
    assert_eq!(place.names("out"), before);
}

#[test]
fn only_files_of_our_own_that_nobody_changed_go() {
    let place = place();
    // Of another command, of another patch, of a run of chance, and nobody's.
    place.run("hitgap render mine.toml --bars 2 --tempo 160").exits(0);
    place.run("hitgap compare patches/thin-ice.toml --bars 2 --tempo 160").exits(0);
    place.run(&format!("{LINE} --tempo 160 --run 3 --no-page")).exits(0);
    let place = place.with("out/mine.original.200bpm.matched.wav", "mine").with("out/notes.txt", "mine");
    let kept = place.names("out");
    shorter(&place);
    // One was changed by its owner, with as many bytes as before.
    let mut bytes = place.read(&format!("out/{}", STALE[0]));
    *bytes.last_mut().expect("a byte") ^= 1;
    let place = place.with(&format!("out/{}", STALE[0]), &bytes);
    let ran = place.run(&format!("{LINE} --tidy")).exits(0);
    assert!(
        ran.stderr.contains(&format!("removed from out, left by earlier runs: {}\n", STALE[1..].join(", "))),
        "{}",
        ran.stderr
    );
    assert!(
        ran.stderr.contains(&format!("changed since it was made, and left as it is: {}\n", STALE[0])),
        "{}",
        ran.stderr
    );
    let wanted: Vec<String> = kept.into_iter().filter(|name| !STALE[1..].contains(&name.as_str())).collect();
    assert_eq!(place.names("out"), wanted);
    assert_eq!(place.read(&format!("out/{}", STALE[0])), bytes);
    assert!(STALE[1..].iter().all(|gone| !listed(&place).contains(&(*gone).to_owned())));
    assert!(listed(&place).contains(&"mine.original.160bpm.wav".to_owned()));
    // Nothing is left to say but of the one that was changed.
    let again = place.run(LINE).exits(0).stderr;
    assert!(again.contains(&format!("a file of earlier runs that this one does not make: {};", STALE[0])), "{again}");
}

/// Of a grid its own cells only; and what `render` makes with other options is as good as ever until the patch changes.
#[test]
fn each_command_knows_what_is_no_longer_its_own() {
    let place = place();
    let sweep =
        |rest: &str| place.run(&format!("hitgap sweep mine.toml --bars 2 --tempo 120 --out grid {rest}")).exits(0);
    sweep("--on wren.clock --delay 0ms,1ms");
    sweep("--on ox.clock --delay 0ms,1ms");
    let ran = sweep("--on wren.clock --delay 0ms,2ms --tidy");
    let gone = "removed from grid, left by earlier runs: mine.original.wren-clock+1ms.120bpm.wav\n";
    assert!(ran.stderr.contains(gone), "{}", ran.stderr);
    assert!(place.path("grid/mine.original.ox-clock+1ms.120bpm.wav").exists());
    let render = |rest: &str| place.run(&format!("hitgap render mine.toml --bars 2 --out mixes {rest}")).exits(0);
    render("--stems");
    assert!(!render("--fix phase").stderr.contains("earlier runs"));
    shorter(&place);
    let ran = render("--fix phase");
    assert!(
        ran.stderr.contains("earlier runs that this one does not make: mine.original.120bpm.ox.wav, "),
        "{}",
        ran.stderr
    );
}
