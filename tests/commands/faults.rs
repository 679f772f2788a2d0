//! What befalls a run from outside, as a user meets it: stopped or killed at any moment, two at once, a disk that takes no
//! more, a folder that goes away. What the disk holds afterwards is read with `serde_json` and `sha2`, not with the store.
#![cfg(unix)]

use super::place::{Place, Ran};
use serde_json::Value;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::process::{Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

const GRID: &str = "hitgap sweep patches/late-bell.toml --on sequencer.wren.clock --delay 0ms..19.5ms:0.5ms --tempo 120 \
                    --bits 16 --sample-rate 8000";
const RENDER: &str = "hitgap render patches/late-bell.toml --stems --bits 16 --sample-rate 8000 --bars 8";
/// Moments at which a run is ended: spread over all of a run, and never two alike.
const ROUNDS: u32 = 24;

/// The files of a folder but the manifest and the hidden ones, by name.
fn there(place: &Place, dir: &str) -> BTreeMap<String, Vec<u8>> {
    let seen = place.names(dir).into_iter().filter(|n| !n.starts_with('.') && n != "manifest.json");
    seen.map(|n| (n.clone(), place.read(&format!("{dir}/{n}")))).collect()
}

/// Sizes and checksums that the manifest lists, without a run's open intents, by name.
fn listed(place: &Place, dir: &str) -> BTreeMap<String, (u64, String)> {
    let path = format!("{dir}/manifest.json");
    if !place.path(&path).exists() {
        // A run that was stopped before it had finished anything.
        return BTreeMap::new();
    }
    let manifest: Value = serde_json::from_slice(&place.read(&path)).expect("JSON");
    let text = |e: &Value, key: &str| e[key].as_str().expect("a text").to_owned();
    let files = manifest["files"].as_array().expect("a list").iter();
    files.map(|e| (text(e, "file"), (e["bytes"].as_u64().expect("a size"), text(e, "sha256")))).collect()
}

#[track_caller]
fn agree(place: &Place, dir: &str) {
    let digest = |bytes: &[u8]| Sha256::digest(bytes).iter().map(|b| format!("{b:02x}")).collect::<String>();
    let there: BTreeMap<_, _> =
        there(place, dir).into_iter().map(|(n, bytes)| (n, (bytes.len() as u64, digest(&bytes)))).collect();
    assert_eq!(listed(place, dir), there, "the manifest and the folder {dir}");
    let hidden = hidden(place, dir);
    // A run that placed nothing takes the lock away that it made.
    let nothing = hidden.is_empty() && there.is_empty();
    assert!(nothing || hidden == [".hitgap-lock"], "what is left in {dir}: {hidden:?}");
}

/// What stands beside the files of a folder, sorted; nothing where there is no folder.
fn hidden(place: &Place, dir: &str) -> Vec<String> {
    let there = if place.path(dir).exists() { place.names(dir) } else { Vec::new() };
    there.into_iter().filter(|n| n.starts_with('.')).collect()
}

/// Starts a line and ends it after so long by a signal, if it has not come to its own end; says what became of it.
fn cut_short(place: &Place, line: &str, after: Duration, signal: &str) -> (Option<i32>, String) {
    let mut child = place.command(line).stdout(Stdio::null()).stderr(Stdio::piped()).spawn().expect("it starts");
    sleep(after);
    if child.try_wait().expect("a state").is_none() {
        let _ = Command::new("kill").args([signal, &child.id().to_string()]).status();
    }
    let output = child.wait_with_output().expect("an end");
    (output.status.code(), String::from_utf8(output.stderr).expect("text"))
}

/// Runs a line to its end, and again and again cut short at moments spread over such a run, with the folder as the last one
/// left it. After each, what bears a final name is what the whole run wrote under it. Gives back how often each end came.
fn cut_short_everywhere(place: &Place, line: &str) -> BTreeMap<Option<i32>, u32> {
    let start = Instant::now();
    place.run(&format!("{line} --out whole")).exits(0);
    let lasts = start.elapsed();
    agree(place, "whole");
    let whole = there(place, "whole");
    let mut ends = BTreeMap::new();
    for round in 0..ROUNDS {
        let (signal, after) = (["-KILL", "-INT", "-TERM"][round as usize % 3], lasts * (round * 7 % ROUNDS) / ROUNDS);
        let found = hidden(place, "cut");
        let (status, said) = cut_short(place, &format!("{line} --out cut"), after, signal);
        *ends.entry(status).or_default() += 1;
        for (name, bytes) in there(place, "cut") {
            assert!(whole[&name] == bytes, "{name} is not what it should be, {signal} after {after:?}");
        }
        if status == Some(130) {
            assert!(said.contains("interrupted; no half-written file is left under a final name\n"), "{said}");
            // What a run that was killed left is cleared away by the next that opens the folder. One that is asked to end
            // before it does so has not touched it.
            if found.len() < 2 || hidden(place, "cut") != found {
                agree(place, "cut");
            }
        }
    }
    ends
}

#[test]
fn a_grid_that_is_stopped_anywhere_goes_on_and_ends_as_if_it_never_was() {
    let place = Place::new();
    let ends = cut_short_everywhere(&place, &format!("{GRID} --resume"));
    assert!(ends.keys().any(|status| *status != Some(0)), "nothing was cut short: {ends:?}");
    place.run(&format!("{GRID} --resume --out cut")).exits(0);
    agree(&place, "cut");
    assert!(place.read("cut/manifest.json") == place.read("whole/manifest.json"));
    // All is there now: nothing is made again but what is of the whole run.
    let ran = place.run(&format!("{GRID} --resume --out cut")).exits(0);
    assert!(ran.stderr.starts_with("40 of 40 cells were there already, whole\n"), "{}", ran.stderr);
    assert!(there(&place, "cut") == there(&place, "whole"));
}

#[test]
fn a_render_that_is_stopped_anywhere_leaves_whole_files_only() {
    let place = Place::new();
    let ends = cut_short_everywhere(&place, RENDER);
    assert!(ends.keys().any(|status| *status != Some(0)), "nothing was cut short: {ends:?}");
    place.run(&format!("{RENDER} --out cut")).exits(0);
    agree(&place, "cut");
    assert!(there(&place, "cut") == there(&place, "whole"));
}

/// What a cell is computed from, and nothing else, says whether it is made again.
#[test]
fn going_on_keeps_nothing_that_would_come_out_otherwise() {
    let place = Place::new().with_changed("other.toml", "late-bell.toml", &[("440 Hz", "450 Hz")]);
    let grid = |patch: &str, more: &str| {
        let few = "--on sequencer.wren.clock --delay 0ms,1ms,2ms --tempo 120 --sample-rate 8000 --resume";
        let ran = place.run(&format!("hitgap sweep {patch} {few} {more}")).exits(0);
        let kept = ran.stderr.lines().find_map(|l| l.split_once(" cells were there already"));
        kept.map_or("none".to_owned(), |(kept, _)| kept.to_owned())
    };
    assert_eq!(grid("patches/late-bell.toml", ""), "none");
    assert_eq!(grid("patches/late-bell.toml", ""), "3 of 3");
    assert_eq!(grid("patches/late-bell.toml", "--max-gap 1ms"), "3 of 3", "the max gap is not heard");
    for other in ["--bits 16", "--seed 2", "--lead-in 50ms", "--bars 1"] {
        assert_eq!(grid("patches/late-bell.toml", other), "none", "{other}");
        assert_eq!(grid("patches/late-bell.toml", other), "3 of 3", "{other}");
    }
    // The same name, and another text.
    std::fs::copy(place.path("other.toml"), place.path("patches/late-bell.toml")).expect("a copy");
    assert_eq!(grid("patches/late-bell.toml", "--bars 1"), "none");
    // Of a file that was changed since, nothing is kept either: it is foreign.
    std::fs::write(place.path("out/late-bell.original.wren-clock+1ms.120bpm.wav"), "mine").expect("written");
    let line = "hitgap sweep patches/late-bell.toml --on sequencer.wren.clock --delay 0ms,1ms --tempo 120 --resume";
    let ran = place.run(line).exits(3);
    assert!(ran.stderr.contains("+1ms.120bpm.wav`"), "{}", ran.stderr);
}

#[test]
fn two_runs_into_one_folder_at_once_both_end_well() {
    let place = Place::new();
    let lines = [GRID, RENDER, GRID, RENDER].map(|line| format!("{line} --out out"));
    let runs =
        lines.map(|line| place.command(&line).stdout(Stdio::null()).stderr(Stdio::piped()).spawn().expect("it starts"));
    for run in runs {
        let output = run.wait_with_output().expect("an end");
        assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    }
    agree(&place, "out");
    place.run(&format!("{GRID} --out alone")).exits(0);
    place.run(&format!("{RENDER} --out alone")).exits(0);
    assert!(there(&place, "out") == there(&place, "alone"));
}

#[test]
fn a_folder_that_goes_away_is_named() {
    let place = Place::new();
    let line = "hitgap render patches/late-bell.toml --tempo 50 --bars 2500 --sample-rate 8000";
    let child = place.command(line).stdout(Stdio::null()).stderr(Stdio::piped()).spawn().expect("it starts");
    while !place.path("out/.hitgap-lock").exists() {
        sleep(Duration::from_millis(2));
    }
    std::fs::rename(place.path("out"), place.path("gone")).expect("another name");
    let output = child.wait_with_output().expect("an end");
    let said = String::from_utf8(output.stderr).expect("text");
    assert_eq!(output.status.code(), Some(3), "{said}");
    assert!(said.contains("out") && said.contains("it is not there") && said.contains("help: "), "{said}");
}

/// The program with the words of a line, behind what a shell does first.
fn behind(place: &Place, shell: &str, line: &str) -> Ran {
    let inner = place.command(line);
    let mut sh = Command::new("sh");
    sh.arg("-c").arg(format!("{shell} && exec \"$0\" \"$@\"")).arg(inner.get_program()).args(inner.get_args());
    sh.current_dir(inner.get_current_dir().expect("a folder")).stdin(Stdio::null());
    Ran::new(line, &mut sh)
}

#[test]
fn a_file_that_may_grow_no_more_is_named_and_the_rest_stays() {
    let place = Place::new();
    // The signal would end the program before it could say anything; programs are usually started without this limit.
    let limit = "trap '' XFSZ && ulimit -f 800";
    if !Command::new("sh").arg("-c").arg(limit).output().is_ok_and(|can| can.status.success()) {
        println!("skipped: there is no `sh` here that can limit the size of files");
        return;
    }
    // At 20 bpm the file is too large for the limit, at 160 not.
    let line = "hitgap render patches/late-bell.toml --tempo 160,20 --bars 4 --bits 16 --sample-rate 8000";
    let ran = behind(&place, limit, line).exits(3);
    assert!(ran.stderr.contains("late-bell.original.20bpm.wav`: it would grow larger"), "{}", ran.stderr);
    assert_eq!(there(&place, "out").keys().collect::<Vec<_>>(), ["late-bell.original.160bpm.wav"]);
    agree(&place, "out");
    place.run(line).exits(0);
    agree(&place, "out");
}

#[test]
fn a_full_disk_is_named_and_a_grid_goes_on_when_there_is_room() {
    let place = Place::new();
    let mount = |size: &str| format!("mkdir -p small && mount -t tmpfs -o size={size} none small");
    let apart = ["unshare -m", "unshare -rm"].into_iter().find(|apart| {
        let line = format!("{apart} sh -c '{}'", mount("1m"));
        let can = Command::new("sh").args(["-c", &line]).current_dir(place.path("")).output();
        can.is_ok_and(|can| can.status.success())
    });
    let Some(apart) = apart else {
        println!("skipped: `unshare` and `mount` are not there or not allowed, so that there is no small disk");
        return;
    };
    // What lies on the small disk is looked at before it goes away with the shell; with room again, the grid goes on. There
    // is room for the file of all cells, which is made first and takes 4 MB, and for some of the cells, which take 3 MB.
    let program = env!("CARGO_BIN_EXE_hitgap");
    let grid = GRID.strip_prefix("hitgap ").expect("our own line");
    let script = format!(
        "{}; \"{program}\" {grid} --out small; echo \"status $?\"; ls -A small | sed 's/^/left /'; cp -r small kept; \
         mount -o remount,size=64m small; \"{program}\" {grid} --resume --out small; echo \"status $?\"; cp -r small done",
        mount("1m")
    );
    let mut words = apart.split(' ');
    let mut outer = Command::new(words.next().expect("a word"));
    outer.args(words).args(["sh", "-c", &script]).current_dir(place.path(""));
    let ran = Ran::new(&script, &mut outer).exits(0);
    let statuses: Vec<&str> = ran.stdout.lines().filter(|l| l.starts_with("status ")).collect();
    assert_eq!(statuses, ["status 3", "status 0"], "{}{}", ran.stdout, ran.stderr);
    assert!(ran.stderr.contains(".wav`: the disk is full\nhelp: make room"), "{}", ran.stderr);
    assert!(!ran.stdout.contains("left .hitgap-part"), "{}", ran.stdout);
    assert!(!there(&place, "kept").is_empty(), "nothing was kept of what fitted");
    agree(&place, "kept");
    agree(&place, "done");
    place.run(&format!("{GRID} --out whole")).exits(0);
    assert!(there(&place, "done") == there(&place, "whole"));
}
