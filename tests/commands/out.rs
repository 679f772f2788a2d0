//! The folder that sound goes to.

use super::place::Place;

#[test]
fn a_foreign_file_in_the_way_is_kept_byte_for_byte() {
    let theirs = b"somebody's only take";
    for (command, file) in [
        ("render patches/late-bell.toml --bars 1 --tempo 160,120", "late-bell.original.120bpm.wav"),
        ("compare patches/late-bell.toml --bars 2 --tempo 160", "late-bell.original+or-gate.160bpm.wav"),
        ("flam --delay 5ms,1ms", "flam.kick+kick.1ms.120bpm.wav"),
        ("voices --render", "voice.click.wav"),
    ] {
        let place = Place::new().with(&format!("out/{file}"), theirs);
        let ran = place.run(&format!("hitgap {command}")).exits(3);
        assert!(ran.stdout.is_empty(), "{command}: {}", ran.stdout);
        assert!(ran.stderr.contains(file) && ran.stderr.contains("help: "), "{command}: {}", ran.stderr);
        assert_eq!(place.read(&format!("out/{file}")), theirs, "{command}");
        assert_eq!(place.sounds("out").len(), 1, "{command}: not even the others are made");
        place.run(&format!("hitgap {command} --overwrite")).exits(0);
        assert!(place.read(&format!("out/{file}")).starts_with(b"RIFF"), "{command}");
    }
}

#[test]
fn what_is_in_the_way_is_named() {
    let place = Place::new()
        .with("out/late-bell.original.120bpm.wav", "mine")
        .with("strange/manifest.json", "{ \"files\": 3 }")
        .with("broken/manifest.json", "{ \"files\"")
        .with("file", "");
    std::fs::create_dir_all(place.path("folder/late-bell.original.120bpm.wav")).expect("a folder");
    let render = "hitgap render patches/late-bell.toml --bars 1 --tempo 120";
    let lines = ["out", "strange", "broken", "file", "folder"].map(|dir| format!("{render} --out {dir}"));
    let again = format!("{render} --out there");
    let mut lines: Vec<&str> = lines.iter().map(String::as_str).collect();
    // One's own files are replaced without a word.
    lines.extend([again.as_str(), &again]);
    place.shows("in-the-way", &lines);
    assert_eq!(place.read("out/late-bell.original.120bpm.wav"), b"mine");
    assert_eq!(place.read("strange/manifest.json"), b"{ \"files\": 3 }");
}

#[test]
fn a_file_of_ours_that_was_changed_is_kept() {
    let place = Place::new();
    let render = "hitgap render patches/late-bell.toml --bars 1 --tempo 120";
    place.run(render).exits(0);
    let mut bytes = place.read("out/late-bell.original.120bpm.wav");
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    let place = place.with("out/late-bell.original.120bpm.wav", &bytes);
    place.shows("changed-since", &[render]);
    assert_eq!(place.read("out/late-bell.original.120bpm.wav"), bytes);
}

/// 2³² + 7 bytes are the most: a size of 2³² − 1, and the 8 bytes that it does not count.
#[test]
fn over_four_gibibytes_is_refused_before_a_byte_or_a_folder() {
    let place = Place::new();
    place.shows(
        "too-large",
        &[
            "hitgap render patches/late-bell.toml --tempo 160,50 --bars 10000 --out there",
            "hitgap render patches/late-bell.toml --tempo 50 --bars 10000 --sample-rate 96000 --bits 32 --stems --out there",
            "hitgap compare patches/late-bell.toml --tempo 50 --bars 8000 --out there",
        ],
    );
    assert!(!place.path("there").exists(), "no folder");
}

#[test]
fn a_folder_is_made_where_it_is_asked_for() {
    let place = Place::new();
    place.run("hitgap voices --render --out a/b/c").exits(0);
    assert_eq!(
        place.names("a/b/c"),
        [".hitgap-lock", "manifest.json", "voice.click.wav", "voice.hat.wav", "voice.kick.wav", "voice.snare.wav"]
    );
    assert!(!place.path("out").exists());
}
