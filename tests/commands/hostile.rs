//! What others wrote, in files and in their names: it stays text, it stays short, and it is not printed where it is none of
//! this program's.
#![cfg(unix)]

use super::place::{Place, Ran};
use hitgap::text::is_unsafe;
use std::ffi::OsString;
use std::os::unix::ffi::OsStringExt;

/// One of each kind: an escape, an override, an invisible blank, a filler, a tag, a soft hyphen, an annotation.
const HOSTILE: &str =
    "x\u{1b}]0;y\u{7}\u{202e}\u{200b}\u{3164}\u{115f}\u{e0041}\u{ad}\u{fff9}\u{9b}2J\u{2060}\u{61c}\u{feff}";

#[track_caller]
fn is_text(ran: &Ran, line: &str) {
    let raw = |text: &str| text.chars().filter(|&c| c != '\n' && is_unsafe(c)).collect::<String>();
    assert_eq!((raw(&ran.stdout), raw(&ran.stderr)), (String::new(), String::new()), "{line}");
}

/// A screen: so many lines and characters are no more than that.
#[track_caller]
fn is_short(ran: &Ran, line: &str) {
    let (lines, chars) = (ran.stderr.lines().count(), ran.stderr.chars().count());
    assert!(lines <= 24 && chars <= 3001, "{line}: {lines} lines, {chars} characters");
}

#[test]
fn no_name_of_a_file_reaches_the_terminal_raw() {
    let place = Place::new();
    let place =
        place.with_changed(&format!("{HOSTILE}.toml"), "late-bell.toml", &[]).with(&format!("{HOSTILE}.json"), "{}");
    let session = place.read("patches/wren-listens.json");
    let place = place.with(&format!("{HOSTILE}/s.json"), session).with("plain", "");
    for line in [
        format!("hitgap voices --render --out {HOSTILE}"),
        format!("hitgap voices --render --out {HOSTILE} --format json"),
        format!("hitgap flam --delay 1ms --page --out {HOSTILE}"),
        format!("hitgap flam --delay 1ms --out {HOSTILE} --format csv"),
        format!("hitgap render patches/late-bell.toml --bars 1 --tempo 160 --out {HOSTILE}"),
        format!("hitgap compare patches/late-bell.toml --bars 1 --tempo 160 --out {HOSTILE}"),
        format!(
            "hitgap sweep patches/late-bell.toml --on clock.slow --phase 0%,1% --bars 1 --tempo 160 --out {HOSTILE}"
        ),
        format!("hitgap check patches/late-bell.toml --tempo 160 --plot --out {HOSTILE}"),
        format!("hitgap check patches/late-bell.toml --plot --format csv --tempo 160 --out {HOSTILE}"),
        format!("hitgap advise patches/late-bell.toml --on sequencer.wren.clock --plot --out {HOSTILE}"),
        format!("hitgap train --out {HOSTILE}"),
        format!("hitgap train --pack 4 --out {HOSTILE}"),
        format!("hitgap check {HOSTILE}.toml"),
        format!("hitgap check {HOSTILE}.toml --format json"),
        format!("hitgap check {HOSTILE}.toml --plot"),
        format!("hitgap render {HOSTILE}.toml"),
        format!("hitgap compare {HOSTILE}.toml"),
        format!("hitgap hits {HOSTILE}.toml --format json"),
        format!("hitgap hits patches/late-bell.toml --out {HOSTILE}.csv"),
        format!("hitgap new {HOSTILE}/new.toml"),
        format!("hitgap manual --out {HOSTILE}"),
        format!("hitgap results {HOSTILE}.json"),
        format!("hitgap results {HOSTILE}/s.json --save {HOSTILE}/ear.toml"),
        format!("hitgap results {HOSTILE}/s.json --format json"),
        format!("hitgap results {HOSTILE}/s.json --save plain/{HOSTILE}"),
        format!("hitgap check patches/late-bell.toml --ear {HOSTILE}"),
        format!("hitgap check patches/late-bell.toml --fix {HOSTILE}"),
        format!("hitgap check patches/late-bell.toml --tempo {HOSTILE}"),
        format!("hitgap check patches/late-bell.toml --max-gap {HOSTILE}"),
        format!("hitgap advise patches/late-bell.toml --on {HOSTILE}"),
        format!("hitgap advise patches/late-bell.toml --on sequencer.wren.clock --components {HOSTILE}.json"),
        format!("hitgap advise patches/late-bell.toml --on sequencer.wren.clock --between {HOSTILE}"),
        format!("hitgap sweep patches/late-bell.toml --on {HOSTILE} --delay 1ms"),
        format!("hitgap sweep patches/late-bell.toml --on sequencer.wren.clock --delay {HOSTILE}"),
        format!("hitgap identify patches/late-bell.toml --box {HOSTILE}"),
        format!("hitgap flam --delay {HOSTILE}"),
        format!("hitgap flam --delay 1ms --voices {HOSTILE}"),
        format!("hitgap lesson {HOSTILE}.toml"),
        format!("hitgap lesson {HOSTILE}.json"),
        format!("hitgap {HOSTILE}"),
        format!("hitgap check --{HOSTILE}"),
        format!("hitgap render patches/late-bell.toml --out plain/{HOSTILE}"),
    ] {
        let ran = place.run(&line);
        is_text(&ran, &line);
        assert!(ran.status.is_some_and(|s| s < 4), "{line}: {:?}", ran.status);
    }
}

#[test]
fn no_message_is_longer_than_a_screen() {
    let long = "x".repeat(100_000);
    let marks = "\u{301}".repeat(50_000);
    let session = String::from_utf8(Place::new().read("patches/wren-listens.json")).expect("text");
    let task = |with: &str| session.replacen("two-or-one", with, 1);
    assert_ne!(task("x"), session);
    let patch = |with: &str| {
        format!(
            "[clock.\"{with}\"]\nrate = \"{with}\"\n[sequencer.a]\n\"{with}\" = 1\nclock = \"{with}\"\nsteps = \"{with}\"\n"
        )
    };
    let place = Place::new()
        .with("task.json", task(&long))
        .with("marks.json", task(&format!("a{marks}")))
        .with("kind.json", session.replacen("training", &long, 1))
        .with("blind.json", format!("{{ \"hitgap\": \"blind-test\", \"{long}\": 1, \"title\": {{}} }}"))
        .with("ear.toml", format!("format = 1\n{long} = 1\n"))
        .with("marks-ear.toml", format!("format = 1\n\"a{marks}\" = 1\n"))
        .with("syntax.toml", format!("title = \"{long}\n"))
        .with("key.toml", format!("{long} = 1\n"))
        .with("long.toml", patch(&long))
        .with("marks.toml", patch(&format!("a{marks}")))
        .with("list.csv", format!("{long},tempo\n"))
        .with("other/manifest.json", format!("{{ \"made_by\": \"{long}\" }}"))
        .with(
            "broken/manifest.json",
            format!("{{ \"made_by\": \"hitgap 1\", \"format\": 1, \"files\": [{{ \"file\": \"a{marks}\" }}] }}"),
        );
    for line in [
        "hitgap results task.json",
        "hitgap results marks.json",
        "hitgap results kind.json",
        "hitgap results blind.json",
        "hitgap results patches/wren-listens.json --save ear.toml",
        "hitgap check patches/late-bell.toml --ear marks-ear.toml",
        "hitgap check syntax.toml",
        "hitgap check key.toml",
        "hitgap advise patches/late-bell.toml --on sequencer.wren.clock --components key.toml",
        "hitgap advise patches/late-bell.toml --on sequencer.wren.clock --card --songs list.csv",
        "hitgap render patches/late-bell.toml --out other",
        "hitgap render patches/late-bell.toml --out broken",
        &format!("hitgap check patches/late-bell.toml --fix {long}"),
        &format!("hitgap check patches/late-bell.toml --fix a{marks}"),
        &format!("hitgap check patches/late-bell.toml --tempo {long}"),
        &format!("hitgap check {long}"),
        &format!("hitgap flam --delay {long}"),
        &format!("hitgap {long}"),
        &format!("hitgap check --{long}"),
    ] {
        let ran = place.run(line);
        let head: String = line.chars().take(70).collect();
        is_short(&ran, &head);
        is_text(&ran, &head);
        assert!(matches!(ran.status, Some(2 | 3)), "{head}: {:?}", ran.status);
    }
    // Here each fault is a message of its own.
    for line in ["hitgap check long.toml", "hitgap check marks.toml", "hitgap lesson key.toml"] {
        let ran = place.run(line).exits(2);
        assert!(ran.stderr.split("\n\n").all(|one| one.lines().count() <= 24 && one.chars().count() <= 3001), "{line}");
    }
}

/// Who wrote a lesson may be another than who reads what it prints.
#[test]
fn a_lesson_prints_nothing_of_what_is_no_patch() {
    let lesson =
        |file: &str| format!("title = \"a\"\n[[chapter]]\nheading = \"b\"\ntext = \"c\"\npatch = \"{file}\"\n");
    let place = Place::new()
        .with("deep/l.toml", lesson("../secret"))
        .with("secret", "hunter2 = [\n")
        .with("m.toml", lesson("secret"));
    for name in ["deep/l.toml", "m.toml"] {
        let ran = place.run(&format!("hitgap lesson {name}")).exits(2);
        assert!(!ran.stderr.contains("hunter2") && ran.stderr.contains("secret` is no patch"), "{}", ran.stderr);
    }
    // Of a patch the fault is shown.
    let place = place.with("late.toml", "[clock.a]\nrata = 1\n").with("n.toml", lesson("late.toml"));
    let ran = place.run("hitgap lesson n.toml").exits(2);
    assert!(ran.stderr.contains("rata"), "{}", ran.stderr);
}

/// Two names that no text can hold would be one.
#[cfg(target_os = "linux")]
#[test]
fn a_name_that_is_no_text_names_no_other_file() {
    let place = Place::new();
    let named = |bytes: &[u8]| OsString::from_vec([bytes, b".toml"].concat());
    for bytes in [b"\xfe", b"\xff"] {
        let path = place.path("").join(named(bytes));
        std::fs::copy(place.path("patches/late-bell.toml"), path).expect("a copy");
        for line in ["hitgap render --bars 1 --tempo 160", "hitgap compare --bars 1 --tempo 160", "hitgap check --plot"]
        {
            let ran = Ran::new(line, place.command(line).arg(named(bytes))).exits(2);
            assert!(ran.stderr.contains("is not all Unicode, and files are called after it"), "{line}: {}", ran.stderr);
        }
        let line = "hitgap check --tempo 160 --fix or-gate";
        Ran::new(line, place.command(line).arg(named(bytes))).exits(0);
    }
}
