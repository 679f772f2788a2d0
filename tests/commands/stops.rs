//! A program that is asked to end ends, whatever it does or waits for just then: 130, and no half file.
#![cfg(target_os = "linux")]

use super::place::Place;
use std::fs::File;
use std::io::{Read, Write};
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::Duration;

const PAUSE: Duration = Duration::from_millis(2);

/// Starts a line and waits until it listens to signals, as the system says.
fn started(command: &mut Command) -> Child {
    let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("it starts");
    loop {
        let status = std::fs::read_to_string(format!("/proc/{}/status", child.id())).unwrap_or_default();
        let caught = status.lines().find_map(|l| l.strip_prefix("SigCgt:")).unwrap_or("0");
        let caught = u64::from_str_radix(caught.trim(), 16).expect("a mask");
        // Bits 1 and 14: SIGINT is 2, SIGTERM 15.
        if caught & 0x4002 == 0x4002 {
            return child;
        }
        assert!(child.try_wait().expect("a state").is_none(), "it ended by itself");
        sleep(PAUSE);
    }
}

fn signal(child: &Child, name: &str) {
    assert!(Command::new("kill").args([name, &child.id().to_string()]).status().expect("kill").success());
}

#[track_caller]
fn is_interrupted(child: Child) {
    let output = child.wait_with_output().expect("an end");
    let said = String::from_utf8(output.stderr).expect("text");
    assert_eq!(output.status.code(), Some(130), "{said}");
    assert!(said.ends_with("interrupted; no half-written file is left under a final name\n"), "{said}");
}

/// What a run leaves in a folder beside its files and the lock that others hold.
fn left(place: &Place, dir: &str) -> Vec<String> {
    place.names(dir).into_iter().filter(|n| n.starts_with('.') && n != ".hitgap-lock").collect()
}

#[test]
fn while_a_file_is_read_that_does_not_end() {
    let place = Place::new();
    for (line, name) in [
        ("hitgap check /dev/stdin", "-INT"),
        ("hitgap render /dev/stdin", "-TERM"),
        ("hitgap lesson /dev/stdin", "-TERM"),
        ("hitgap results /dev/stdin --save ear.toml", "-INT"),
    ] {
        let mut child = started(place.command(line).stdin(Stdio::piped()));
        // It stays open until the program has ended: else it could come to an end of what it reads.
        let stdin = child.stdin.take();
        signal(&child, name);
        is_interrupted(child);
        drop(stdin);
    }
    assert_eq!(place.names("out"), Vec::<String>::new());
}

#[test]
fn while_another_run_has_the_lock() {
    let place = Place::new().with("out/.hitgap-lock", "").with(".hitgap-lock", "");
    let locks = ["out/.hitgap-lock", ".hitgap-lock"].map(|name| {
        let file = File::options().write(true).open(place.path(name)).expect("the lock");
        file.lock().expect("locked");
        file
    });
    for line in [
        "hitgap render patches/late-bell.toml",
        "hitgap check patches/late-bell.toml --plot",
        "hitgap results patches/wren-listens.json --save ear.toml",
    ] {
        let child = started(&mut place.command(line));
        // It asks for the lock again and again: seen open, it waits for it.
        let waits = || {
            let open = std::fs::read_dir(format!("/proc/{}/fd", child.id())).into_iter().flatten().flatten();
            open.filter_map(|fd| std::fs::read_link(fd.path()).ok()).any(|to| to.ends_with(".hitgap-lock"))
        };
        while !waits() {
            sleep(Duration::from_micros(200));
        }
        signal(&child, "-TERM");
        is_interrupted(child);
        assert_eq!(left(&place, "out"), Vec::<String>::new(), "{line}");
        assert!(!place.path("ear.toml").exists());
    }
    drop(locks);
}

/// The file is finished, and gets its name only under the lock: the run cannot end by itself.
#[test]
fn while_a_finished_file_waits_for_its_name() {
    let place = Place::new();
    let line = "hitgap render patches/late-bell.toml --tempo 50 --bars 8";
    let child = started(&mut place.command(line));
    while !place.names("out").iter().any(|n| n.starts_with(".hitgap-part-")) {
        sleep(Duration::from_micros(200));
    }
    let lock = File::options().write(true).open(place.path("out/.hitgap-lock")).expect("the lock");
    lock.lock().expect("locked");
    sleep(Duration::from_millis(500));
    signal(&child, "-INT");
    is_interrupted(child);
    assert_eq!(left(&place, "out"), Vec::<String>::new());
    drop(lock);
    place.run(line).exits(0);
}

/// Whoever started the program may have said that it is to go on.
#[test]
fn unless_it_was_told_not_to_mind() {
    let place = Place::new();
    let inner = place.command("hitgap check /dev/stdin");
    let mut outer = Command::new("nohup");
    outer.arg(inner.get_program()).args(inner.get_args()).current_dir(place.path("")).stdin(Stdio::piped());
    let mut child = started(&mut outer);
    signal(&child, "-HUP");
    let patch = place.read("patches/late-bell.toml");
    child.stdin.take().expect("a pipe").write_all(&patch).expect("it still reads");
    let mut said = String::new();
    child.stdout.as_mut().expect("a pipe").read_to_string(&mut said).expect("text");
    assert_eq!(child.wait().expect("an end").code(), Some(1), "{said}");
    assert!(said.contains("The late bell"), "{said}");
}

/// Stacks that no system can give stand for a system that gives no thread.
#[test]
fn without_any_thread_all_is_done_and_ctrl_c_is_heard() {
    let place = Place::new();
    let alone = |line: &str| {
        let mut command = place.command(line);
        command.env("RUST_MIN_STACK", (1_u64 << 47).to_string());
        command
    };
    for (line, status) in [
        ("hitgap check patches/late-bell.toml --runs 10 --plot --out alone", 1),
        ("hitgap compare patches/late-bell.toml --bars 2 --tempo 160 --out alone", 0),
        ("hitgap sweep patches/late-bell.toml --on clock.slow --phase 0%,1% --tempo 160 --bars 2 --out alone", 0),
        ("hitgap flam --delay 1ms --out alone", 0),
    ] {
        let output = alone(line).output().expect("it starts");
        let said = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(status), "{line}: {said}");
        assert!(!said.contains("panicked"), "{said}");
        place.run(&line.replace("alone", "usual")).exits(status);
    }
    assert!(place.names("alone") == place.names("usual") && place.sounds("alone") == place.sounds("usual"));
    let child = started(&mut alone("hitgap render patches/late-bell.toml --tempo 50 --bars 2500 --out long"));
    while !place.path("long").exists() {
        sleep(PAUSE);
    }
    signal(&child, "-INT");
    is_interrupted(child);
    assert_eq!(left(&place, "long"), Vec::<String>::new());
    let mut child = started(alone("hitgap check /dev/stdin").stdin(Stdio::piped()));
    let _stdin = child.stdin.take();
    signal(&child, "-INT");
    assert_eq!(child.wait_with_output().expect("an end").status.code(), Some(130));
}
