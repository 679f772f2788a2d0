//! Requests that nobody should make: refused with the figure and the bound, or served, in little memory and without waiting.
//!
//! Each runs with an address space of 2 GB, most of which a program of many threads only reserves.

use super::place::{Place, Ran, words};
use std::fmt::Write;
use std::process::{Command, Stdio};

/// Runs a line with little memory, and looks that nothing of it would be obeyed by a terminal.
pub(super) fn run(place: &Place, line: &str) -> Ran {
    let words = words(line);
    let mut command = Command::new("sh");
    command.args(["-c", "ulimit -v 2000000; exec \"$0\" \"$@\"", env!("CARGO_BIN_EXE_hitgap")]).args(&words[1..]);
    command.current_dir(place.path("")).stdin(Stdio::null()).env("RUST_BACKTRACE", "0");
    let ran = Ran::new(line, &mut command);
    for text in [&ran.stdout, &ran.stderr] {
        let obeyed = |c: char| c != '\n' && (c.is_control() || ('\u{202a}'..='\u{202e}').contains(&c));
        assert!(!text.contains(obeyed), "{line}: {text:?}");
    }
    ran
}

fn text_of(place: &Place, name: &str) -> String {
    String::from_utf8(place.read(name)).expect("text")
}

/// A line that is refused, and what its reason must say: the figure and the bound.
#[track_caller]
pub(super) fn refused(place: &Place, line: &str, status: i32, says: &[&str]) {
    let ran = run(place, line).exits(status);
    assert!(ran.stdout.is_empty(), "{line}: {}", ran.stdout);
    for words in says {
        assert!(ran.stderr.contains(words), "{line}: no {words:?} in {}", ran.stderr);
    }
    assert!(!place.path("out").exists(), "{line} leaves {:?}", place.names("out"));
}

/// Two boxes at 24 pulses a beat under a ramp: every pulse meets every reset at a tempo of its own.
pub(super) fn many_meetings(bars: u32) -> String {
    let ramp = 4 * bars - 2;
    let sequencer = |name: &str, mode: &str| {
        format!("[sequencer.{name}]\nclock = \"fast\"\nreset = \"home\"\n{mode}steps = \"Xx\"\nvoice = \"kick\"\n")
    };
    format!(
        "tempos = [120]\nbars = {bars}\n\
         tempo-map = [{{ at = \"1 beat\", tempo = \"125 %\", over = \"{ramp} beats\", shape = \"linear-in-time\" }}]\n\
         [clock.fast]\nrate = \"24 per beat\"\n[clock.home]\nrate = \"2 per beat\"\n{}{}",
        sequencer("a", "reset-mode = \"next-clock\"\nsetup-time = \"30 ms\"\n"),
        sequencer("b", "reset-mode = \"this-clock\"\n"),
    )
}

const BELL: &str = "patches/late-bell.toml";

#[test]
fn pieces_without_end_are_refused() {
    let place = Place::new();
    let days = ["1000000000 bars at 50", "55555.556 days, and the most is 100"];
    for command in ["check", "hits", "render", "compare"] {
        refused(&place, &format!("hitgap {command} {BELL} --bars 1000000000"), 2, &days);
    }
    // What fits into 100 days may still be more than one command can look at.
    let bytes = ["bytes, and a WAV file holds at most 4294967303"];
    refused(&place, &format!("hitgap compare {BELL} --bars 1000000"), 2, &bytes);
    refused(&place, &format!("hitgap render {BELL} --bars 1000000 --tempo 60 --sample-rate 384000"), 2, &bytes);
    let pulses = ["18500000 pulses at ", "at most 1000000 are looked at"];
    for line in [
        "hitgap check PATCH --bars 1000000 --plot",
        "hitgap check PATCH --bars 1000000 --breakdown",
        "hitgap advise PATCH --bars 1000000 --on sequencer.wren.clock",
        "hitgap sweep PATCH --bars 1000000 --on sequencer.wren.clock --delay 0ms..30ms:1ms",
    ] {
        refused(&place, &line.replace("PATCH", BELL), 2, &pulses);
    }
    // Few pulses, and far too many tempos at which they meet.
    let place = place.with("many.toml", many_meetings(1000));
    let tried = ["`advise` would try ", " pulses in all, and at most 2000000000 are played"];
    refused(&place, "hitgap advise many.toml --on sequencer.a.clock --setting 1%", 2, &tried);
    // Only where something is left to chance are there runs to play.
    let loose = text_of(&place, BELL).replace("delay = \"40 us\"", "delay = { typ = \"40 us\", max = \"50 us\" }");
    let loose =
        loose.replace("set.\"clock.slow.phase\" = \"1 %\"", "set.\"sequencer.wren.clock\" = [\"slow\", \"or-gate\"]");
    let place = place.with("loose.toml", loose);
    let runs = "hitgap check loose.toml --bars 1000000 --runs 10000000";
    refused(&place, runs, 2, &["10000000 runs", "1480000074000000 pulses, and at most 1000000000000"]);
    let text = String::from_utf8(place.read(BELL)).expect("text").replace("bars   = 8", "bars = 1000000000");
    refused(&place.with("mine.toml", text), "hitgap check mine.toml", 2, &days);
}

#[test]
fn tempos_rates_and_grids_out_of_bounds_are_refused() {
    let place = Place::new();
    let check = |more: &str| format!("hitgap check {BELL} {more}");
    refused(&place, &check("--tempo 0.000000001"), 2, &["0.000000001", "6 decimals"]);
    refused(&place, &check("--tempo 1e-9"), 2, &["`1e-9` is not a tempo"]);
    refused(&place, &check("--tempo 1000000000"), 2, &["1000000000", "1 to 1000"]);
    refused(&place, &check("--tempo 1..1000:0.000001"), 2, &["more than 1000 tempos"]);
    refused(&place, &check("--runs 10000001"), 2, &["10000001", "10000000"]);
    let sweep = format!("hitgap sweep {BELL} --on sequencer.wren.clock --delay 0ms..30ms:1ps");
    refused(&place, &sweep, 2, &["more than 1000 settings"]);
    refused(&place, "hitgap voices --render --sample-rate 4000000000", 2, &["4000000000", "8000 and 384000"]);
    refused(&place, "hitgap train --pack 100000000", 2, &["100000000", "5..=99"]);
    let fast = String::from_utf8(place.read(BELL)).expect("text").replace("4 per beat", "1000000 per beat");
    refused(&place.with("fast.toml", fast), "hitgap check fast.toml", 2, &["1000000", "1 to 10000"]);
}

#[test]
fn what_is_too_many_too_deep_or_too_long_is_refused() {
    let sequencer = |name: &str| format!("[sequencer.{name}]\nclock = \"c\"\nsteps = \"x\"\nvoice = \"kick\"\n");
    let clock = "[clock.c]\nrate = \"1 per beat\"\n";
    let mut many = clock.to_owned();
    for n in 0..10_000 {
        let _ = write!(many, "{}", sequencer(&format!("s{n}")));
    }
    let place = Place::new()
        .with("many.toml", many)
        .with("lists.toml", format!("x = {}", "[".repeat(500_000)))
        .with("tables.toml", format!("x = {}", "{x=".repeat(300_000)))
        .with("keys.toml", format!("x{} = 1", ".x".repeat(500_000)))
        .with("name.toml", format!("{clock}{}", sequencer(&"a".repeat(1_000_000))))
        .with("title.toml", format!("title = \"{}\"\n{clock}{}", "日".repeat(300_000), sequencer("ox")))
        .with("deep.json", "[".repeat(1_000_000))
        .with("columns.csv", format!("time_s{}\n", ",".repeat(1_000_000)))
        .with("columns.toml", "[hits.wren]\nfile = \"columns.csv\"\nvoice = \"kick\"\n")
        .with("pulses.toml", format!("bars = 100\n{}{}", clock.replace('1', "10000"), sequencer("ox")));
    refused(&place, "hitgap check many.toml", 2, &["more than 256", "found sequencer 257"]);
    for file in ["lists.toml", "tables.toml", "keys.toml"] {
        refused(&place, &format!("hitgap check {file}"), 2, &["this is not TOML", "recur"]);
        refused(&place, &format!("hitgap lesson {file}"), 2, &["recur"]);
    }
    refused(&place, "hitgap check name.toml", 2, &["1000000 characters; at most 64"]);
    refused(&place, "hitgap check title.toml", 2, &["300000 characters", "at most 10000 characters"]);
    refused(&place, "hitgap results deep.json", 2, &["deep.json:1:1"]);
    // Four million pulses are a lot, and not too much.
    let seen = run(&place, "hitgap check pulses.toml --tempo 1").exits(0);
    assert!(seen.stdout.contains("= together"), "{}", seen.stdout);
    run(&place, "hitgap check columns.toml").exits(1);
}

#[test]
fn a_file_is_measured_before_it_is_read() {
    let place = Place::new().with("take.toml", "[hits.wren]\nfile = \"large.csv\"\nvoice = \"kick\"\n");
    for name in ["large.toml", "large.csv", "large.json"] {
        let file = std::fs::File::create(place.path(name)).expect("a file");
        file.set_len(1 << 30).expect("a hole in the disk");
    }
    let told = ["1073741824 bytes", "at most 1048576 (1 MiB)"];
    for line in [
        "hitgap check large.toml",
        "hitgap lesson large.toml",
        "hitgap results large.json",
        "hitgap check patches/late-bell.toml --ear large.toml",
        "hitgap advise patches/late-bell.toml --on sequencer.wren.clock --components large.toml",
        "hitgap advise patches/late-bell.toml --on sequencer.wren.clock --card --songs large.csv",
    ] {
        refused(&place, line, 2, &told);
    }
    refused(&place, "hitgap check take.toml", 2, &["1073741824 bytes", "at most 67108864 (64 MiB)"]);
}

#[test]
fn what_is_no_file_is_told_and_not_waited_for() {
    let place = Place::new()
        .with("pipe.toml", "[hits.wren]\nfile = \"pipe.csv\"\nvoice = \"kick\"\n")
        .with("folder.toml", "[hits.wren]\nfile = \"folder.csv\"\nvoice = \"kick\"\n")
        .with("folder.csv/x", "");
    let made = Command::new("mkfifo").args(["pipe", "pipe.csv"]).current_dir(place.path("")).status();
    assert!(made.is_ok_and(|status| status.success()), "mkfifo");
    let waits = ["it is a pipe, which may never be written into"];
    for line in [
        "hitgap check pipe",
        "hitgap check pipe.toml",
        "hitgap lesson pipe",
        "hitgap results pipe",
        "hitgap check patches/late-bell.toml --ear pipe",
        "hitgap advise patches/late-bell.toml --on sequencer.wren.clock --components pipe",
    ] {
        refused(&place, line, 3, &waits);
    }
    for line in ["hitgap check patches", "hitgap lesson patches", "hitgap results patches", "hitgap check folder.toml"]
    {
        refused(&place, line, 3, &["could not be read"]);
    }
    // What never ends is read as far as a file may be long.
    refused(&place, "hitgap check /dev/zero", 2, &["more than 1048576 bytes", "at most 1048576"]);
    refused(&place, "hitgap check /dev/null", 2, &["the patch has no sequencer"]);
    // A pipe that a shell has opened is as good as a file.
    let ran = Command::new("sh")
        .args([
            "-c",
            "cat patches/late-bell.toml | \"$0\" check /dev/stdin --fix or-gate",
            env!("CARGO_BIN_EXE_hitgap"),
        ])
        .current_dir(place.path(""))
        .output()
        .expect("a shell");
    assert_eq!(ran.status.code(), Some(0), "{}", String::from_utf8_lossy(&ran.stderr));
}

#[test]
fn names_lead_nowhere_else() {
    let clock = |name: &str| format!("[clock.\"{name}\"]\nrate = \"1 per beat\"\n");
    let sequencer = |name: &str, clock: &str| {
        format!("[sequencer.\"{name}\"]\nclock = \"{clock}\"\nsteps = \"x\"\nvoice = \"kick\"\n")
    };
    let place = Place::new()
        .with("up.toml", clock("../c") + &sequencer("ox", "../c"))
        .with("root.toml", clock("c") + &sequencer("/etc/ox", "c"))
        .with("fix.toml", clock("c") + &sequencer("ox", "c") + "[fix.\"../up\"]\nset.\"clock.c.phase\" = \"1 %\"\n")
        .with("...toml", clock("c") + &sequencer("ox", "c"))
        .with("manifest.json.toml", clock("c") + &sequencer("ox", "c"));
    refused(&place, "hitgap render up.toml --stems", 2, &["`../c` is not a name"]);
    refused(&place, "hitgap render root.toml --stems", 2, &["`/etc/ox` is not a name"]);
    refused(&place, "hitgap compare fix.toml", 2, &["`../up` is not a name"]);
    refused(&place, "hitgap render ...toml", 2, &[".original.120bpm.wav"]);
    // The folder and what is beside it hold what they held.
    run(&place, "hitgap render manifest.json.toml --bars 1").exits(0);
    let mut names = place.names("out");
    names.retain(|name| name != ".hitgap-lock");
    assert_eq!(names, ["manifest.json", "manifest.json.original.120bpm.wav"]);
}

#[test]
fn no_word_of_a_file_or_a_command_reaches_the_terminal_raw() {
    const RED: &str = "\u{1b}[31m";
    let hostile = format!("{RED}\u{9b}2J\u{202e}\u{7}");
    let escaped = "\\u001b[31m\\u009b2J\\u202e\\u0007";
    let piece = "[clock.c]\nrate = \"1 per beat\"\n[sequencer.ox]\nclock = \"c\"\nsteps = \"x\"\nvoice = \"kick\"\n";
    let fixed = format!("{piece}[fix.f]\nset.\"clock.c.phase\" = \"1 %\"\n");
    let session = String::from_utf8(Place::new().read("patches/wren-listens.json")).expect("text");
    let place = Place::new()
        .with("title.toml", format!("title = \"{escaped}\"\n{fixed}"))
        .with("about.toml", fixed.replace("[fix.f]", &format!("[fix.f]\nabout = \"{escaped}\"")))
        .with("note.toml", format!("note = \"{escaped}\"\n{fixed}"))
        .with("name.toml", fixed.replace("ox", &format!("\"{escaped}\"")))
        .with("key.toml", format!("\"{escaped}\" = 1\n{fixed}"))
        .with("value.toml", fixed.replace("1 per beat", escaped))
        .with("raw.toml", format!("title = \"{hostile}\"\n{fixed}"))
        .with(&format!("{hostile}.toml"), fixed.clone())
        .with(
            "lesson.toml",
            format!("title = \"{escaped}\"\n[[chapter]]\nheading = \"a\"\ntext = \"b\"\npatch = \"title.toml\"\n"),
        )
        .with("songs.csv", format!("song,tempo\n\"{hostile}\",120\n"))
        .with("tempos.csv", format!("song,tempo\nred,{hostile}\n"))
        .with("columns.csv", format!("{hostile}\n1\n"))
        .with("session.json", session.replace("\"kick\"", &format!("\"{escaped}\"")))
        .with("kind.json", session.replace("\"training\"", &format!("\"{escaped}\"")))
        .with("ear.toml", format!("\"{escaped}\" = 1\n"))
        .with("take.toml", "[hits.wren]\nfile = \"columns.csv\"\nvoice = \"kick\"\n")
        .with("parts.toml", format!("[component.a]\nkind = \"{escaped}\"\n"));
    let mut lines: Vec<String> = ["title", "about", "note", "name", "key", "value", "raw", "take", &hostile]
        .iter()
        .flat_map(|file| {
            [
                "check",
                "check --format json",
                "check --format csv",
                "compare",
                "render",
                "hits",
                "hits --format json",
                "lesson",
            ]
            .map(|c| format!("hitgap {c} \"{file}.toml\""))
        })
        .collect();
    lines.extend(
        [
            "lesson lesson.toml",
            "results session.json",
            "results kind.json",
            "results session.json --format json",
            "check patches/late-bell.toml --ear ear.toml",
            "advise patches/late-bell.toml --on sequencer.wren.clock --components parts.toml",
            "advise patches/late-bell.toml --on sequencer.wren.clock --card --songs songs.csv",
            "advise patches/late-bell.toml --on sequencer.wren.clock --card --songs tempos.csv",
            "advise patches/late-bell.toml --on sequencer.wren.clock --card --songs columns.csv",
            "advise patches/late-bell.toml --on HOSTILE",
            "check patches/late-bell.toml --fix HOSTILE",
            "check patches/late-bell.toml --tempo HOSTILE",
            "check patches/late-bell.toml --max-gap HOSTILE",
            "check patches/late-bell.toml --HOSTILE",
            "sweep patches/late-bell.toml --on HOSTILE --delay 1ms",
            "sweep patches/late-bell.toml --on sequencer.wren.clock --delay HOSTILE",
            "flam --delay HOSTILE",
            "flam --delay 1ms --voices HOSTILE",
            "flam --phase 1% --rate HOSTILE",
            "identify --answers HOSTILE",
            "new HOSTILE.toml",
            "new HOSTILE/x.toml",
            "render patches/late-bell.toml --bars 1 --tempo 120 --out HOSTILE",
            "HOSTILE",
        ]
        .map(|line| format!("hitgap {}", line.replace("HOSTILE", &format!("\"{hostile}\"")))),
    );
    for line in lines {
        run(&place, &line);
    }
    // Nor is it in what was drawn and written.
    run(&place, &format!("hitgap check \"{hostile}.toml\" --plot --out drawn"));
    for (folder, name) in ["out", "drawn"].iter().flat_map(|f| place.names(f).into_iter().map(move |n| (f, n))) {
        let bytes = place.read(&format!("{folder}/{name}"));
        let is_text = ["svg", "html", "json", "csv"].iter().any(|end| name.ends_with(end));
        assert!(!is_text || !String::from_utf8_lossy(&bytes).contains(['\u{1b}', '\u{9b}', '\u{202e}']), "{name}");
    }
}

#[test]
fn marks_and_line_ends_of_other_systems_are_read_and_what_is_no_text_is_told() {
    let place = Place::new();
    let other = |bytes: Vec<u8>| {
        let text = String::from_utf8(bytes).expect("text");
        format!("\u{feff}{}", text.replace('\n', "\r\n"))
    };
    let names =
        ["late-bell.toml", "three-robots.lesson.toml", "components.toml", "taken-by-hand.csv", "wren-listens.json"];
    let place = names.into_iter().fold(place, |place, name| {
        let bytes = other(place.read(&format!("patches/{name}")));
        place.with(&format!("patches/{name}"), bytes)
    });
    run(&place, "hitgap results patches/wren-listens.json --save ear.toml").exits(0);
    let ear = other(place.read("ear.toml"));
    let place = place.with("ear.toml", ear).with("songs.csv", "\u{feff}song,tempo\r\nred,120\r\n");
    for (line, status) in [
        ("check patches/late-bell.toml --fix or-gate --ear ear.toml", 0),
        ("advise patches/late-bell.toml --on sequencer.wren.clock --components patches/components.toml", 0),
        ("advise patches/late-bell.toml --on sequencer.wren.clock --card --songs songs.csv", 0),
        ("hits patches/taken-by-hand.toml", 0),
        ("lesson patches/three-robots.lesson.toml", 0),
    ] {
        run(&place, &format!("hitgap {line}")).exits(status);
    }
    let place = place.with("bad", b"title = \"\xff\xfe\"").with("empty", "");
    for line in ["check bad", "lesson bad", "results bad", "check patches/late-bell.toml --ear bad"] {
        refused(
            &Place::new().with("bad", place.read("bad")),
            &format!("hitgap {line}"),
            2,
            &["not UTF-8 text: byte 9"],
        );
    }
    for line in ["check empty", "lesson empty", "results empty", "check patches/late-bell.toml --ear empty"] {
        refused(&Place::new().with("empty", ""), &format!("hitgap {line}"), 2, &[]);
    }
}
