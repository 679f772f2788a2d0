//! `--open` and `--play` hand what was made to a program; here to one that writes down what it is given.

use super::place::{Place, Ran};
use std::time::{Duration, Instant};

/// What the opener was given by a line, once it has been given as much as is `wanted`.
fn opened(place: &Place, line: &str, wanted: usize) -> (Ran, Vec<String>) {
    let log = place.path("opened");
    let _ = std::fs::remove_file(&log);
    let ran = Ran::new(line, place.command(line).env("HITGAP_OPENER", place.path("opener")).env("LOG", &log));
    let since = Instant::now();
    loop {
        let text = std::fs::read_to_string(&log).unwrap_or_default();
        let given: Vec<String> = text.lines().map(str::to_owned).collect();
        // It is not waited for by the program; what comes to nothing has until the program's end.
        if given.len() >= wanted || since.elapsed() > Duration::from_secs(60) {
            return (ran, given);
        }
        std::thread::sleep(Duration::from_millis(10));
    }
}

fn place() -> Place {
    use std::os::unix::fs::PermissionsExt;
    let place = Place::new().with("opener", "#!/bin/sh\nprintf '%s\\n' \"$1\" >> \"$LOG\"\n");
    let mode = std::fs::Permissions::from_mode(0o755);
    std::fs::set_permissions(place.path("opener"), mode).expect("a program");
    place
}

#[test]
fn what_was_made_is_opened() {
    let place = place();
    let bell = "patches/late-bell.toml --tempo 160";
    for (line, wanted) in [
        (format!("hitgap compare {bell} --bars 2 --open"), vec!["late-bell.html"]),
        (
            format!("hitgap compare {bell} --bars 2 --open --play"),
            vec!["late-bell.html", "late-bell.original+phase.160bpm.wav"],
        ),
        (format!("hitgap render {bell} --bars 2 --play"), vec!["late-bell.original.160bpm.wav"]),
        ("hitgap flam --delay 1ms,5ms --page --open".to_owned(), vec!["flam.kick+kick.html"]),
        ("hitgap flam --delay 1ms,5ms --play".to_owned(), vec!["flam.kick+kick.1ms.120bpm.wav"]),
        (
            format!("hitgap sweep {bell} --on wren.clock --delay 0ms,1ms --page --open --play"),
            vec!["late-bell.original.wren-clock.html", "late-bell.original.wren-clock.parade.wav"],
        ),
        ("hitgap train --open".to_owned(), vec!["train.kick+snare.90bpm.html"]),
        (
            "hitgap train --pack 5 --open --play".to_owned(),
            vec!["train.kick+snare.90bpm.sheet.html", "train.kick+snare.90bpm.01.wav"],
        ),
        ("hitgap lesson patches/three-robots.lesson.toml --open".to_owned(), vec!["three-robots.html"]),
        ("hitgap identify --play".to_owned(), vec!["identify.1a.60bpm.wav"]),
    ] {
        let (ran, given) = opened(&place, &line, wanted.len());
        let ran = ran.exits(0);
        // Whole paths, since a program that runs already has a folder of its own. Two programs may write in either order.
        let mut whole: Vec<String> =
            wanted.iter().map(|name| place.path("out").join(name).display().to_string()).collect();
        let mut given: Vec<String> = given.iter().map(|path| canonical(path)).collect();
        whole.iter_mut().for_each(|path| *path = canonical(path));
        whole.sort();
        given.sort();
        assert_eq!(given, whole, "{line}\n{}", ran.stderr);
        assert!(!ran.stderr.contains("note: no"), "{line}: {}", ran.stderr);
    }
}

fn canonical(path: &str) -> String {
    std::fs::canonicalize(path).unwrap_or_else(|e| panic!("{path}: {e}")).display().to_string()
}

#[test]
fn what_was_not_made_is_named_and_nothing_is_opened() {
    let place = place();
    for (line, says) in [
        (
            "hitgap compare patches/late-bell.toml --tempo 160 --bars 2 --no-page --open",
            "no page was made, so that none is opened: leave --no-page out",
        ),
        ("hitgap flam --delay 1ms --open", "no page was made, so that none is opened: --page makes one"),
        (
            "hitgap identify --open",
            "no page was made, so that none is opened: --page makes one, of a box in a patch; --play plays the first sound file",
        ),
        ("hitgap train --play", "no sound file was made, so that none is played: --pack makes some"),
    ] {
        let (ran, given) = opened(&place, line, 0);
        assert!(ran.exits(0).stderr.contains(says), "{line}");
        assert!(given.is_empty(), "{line}: {given:?}");
    }
    // What cannot be opened is made all the same.
    let line = "hitgap flam --delay 1ms --play --out elsewhere";
    let ran = Ran::new(line, place.command(line).env("HITGAP_OPENER", place.path("no-such-program"))).exits(0);
    assert!(ran.stderr.contains("could not be opened") && ran.stderr.contains("open it yourself"), "{}", ran.stderr);
    assert!(place.path("elsewhere/flam.kick+kick.1ms.120bpm.wav").exists());
    // Unasked, nothing is opened.
    assert!(opened(&place, "hitgap flam --delay 1ms --page", 0).1.is_empty());
}
