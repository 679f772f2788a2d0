//! Odd things where files belong: pipes, links, another user's, and files that may not grow.
#![cfg(unix)]

use super::place::{Place, Ran};
use std::os::unix::fs::{PermissionsExt, symlink};
use std::process::{Command, Stdio};

const SAVE: &str = "hitgap results patches/wren-listens.json --save";

fn pipe(place: &Place, name: &str) {
    std::fs::create_dir_all(place.path(name).parent().expect("a folder")).expect("a folder");
    assert!(Command::new("mkfifo").arg(place.path(name)).status().expect("mkfifo").success());
}

fn mode(place: &Place, name: &str) -> u32 {
    std::fs::metadata(place.path(name)).expect("a file").permissions().mode() & 0o7777
}

/// Nobody ever writes into these.
#[test]
fn a_pipe_is_not_waited_for() {
    let place = Place::new();
    pipe(&place, "out/manifest.json");
    let said = place.run("hitgap render patches/late-bell.toml").exits(3).stderr;
    let wanted = "error: `out/manifest.json` is not hitgap's: it is a pipe or a device, which may never end\nhelp: choose another folder";
    assert!(said.starts_with(wanted), "{said}");
    pipe(&place, "other/.hitgap-lock");
    let said = place.run("hitgap check patches/late-bell.toml --plot --out other").exits(3).stderr;
    assert!(said.starts_with("error: `other/.hitgap-lock` is a pipe or a device, and "), "{said}");
    pipe(&place, "ear.toml");
    let said = place.run(&format!("{SAVE} ear.toml")).exits(3).stderr;
    assert!(said.contains("`ear.toml` could not be read: it is a pipe"), "{said}");
}

#[test]
fn a_lock_that_is_a_link_is_not_followed() {
    let place = Place::new().with("mine", "").with("out/x", "");
    for target in ["../mine", "../new", "/dev/null"] {
        let lock = place.path("out/.hitgap-lock");
        let _ = std::fs::remove_file(&lock);
        symlink(target, lock).expect("a link");
        let said = place.run("hitgap render patches/late-bell.toml").exits(3).stderr;
        assert!(
            said.starts_with("error: `out/.hitgap-lock` is a link, and what is locked is a plain file\nhelp: "),
            "{said}"
        );
    }
    assert!(!place.path("new").exists());
    assert_eq!(place.names("out"), [".hitgap-lock", "x"]);
}

/// As where the folder is shared and the lock is another user's. Who may do all is made one who may not.
#[test]
fn another_users_lock_gets_a_sentence() {
    let place = Place::new().with("out/.hitgap-lock", "");
    let lock = place.path("out/.hitgap-lock");
    std::fs::set_permissions(&lock, PermissionsExt::from_mode(0o444)).expect("a mode");
    let line = "hitgap render patches/late-bell.toml --tempo 160 --bars 1";
    let inner = place.command(line);
    let ran = if std::fs::File::options().write(true).open(&lock).is_ok() {
        let caps = ["--bounding-set=-dac_override,-dac_read_search", "--inh-caps=-all"];
        let mut outer = Command::new("setpriv");
        outer.args(caps).arg(inner.get_program()).args(inner.get_args()).current_dir(place.path(""));
        if !Command::new("setpriv").args(caps).arg("true").output().is_ok_and(|can| can.status.success()) {
            println!("skipped: this user may do all, and there is no `setpriv` to make it less");
            return;
        }
        Ran::new(line, &mut outer)
    } else {
        place.run(line)
    };
    let said = ran.exits(3).stderr;
    let wanted = "error: `out` is in use by another user, whose `.hitgap-lock` this user may not write\nhelp: choose a folder of your own";
    assert!(said.starts_with(wanted), "{said}");
}

#[test]
fn an_ear_file_stays_its_owners() {
    let place = Place::new();
    place.run(&format!("{SAVE} new.toml")).exits(0);
    let mine = String::from_utf8(place.read("new.toml")).expect("text").replace("format", "# in the cellar\nformat");
    let place = place.with("deep/ear.toml", mine.replace("seed 1", "seed 2"));
    std::fs::set_permissions(place.path("deep/ear.toml"), PermissionsExt::from_mode(0o640)).expect("a mode");
    symlink("deep/ear.toml", place.path("link.toml")).expect("a link");
    symlink(place.path("link.toml"), place.path("deep/again.toml")).expect("a link");
    symlink("deep/later.toml", place.path("later.toml")).expect("a link");
    let before = place.read("deep/ear.toml");
    for name in ["deep/again.toml", "later.toml"] {
        place.run(&format!("{SAVE} {name}")).exits(0);
        assert!(std::fs::symlink_metadata(place.path(name)).expect("a link").is_symlink());
    }
    assert_eq!(mode(&place, "deep/ear.toml"), 0o640);
    let after = String::from_utf8(place.read("deep/ear.toml")).expect("text");
    assert!(after.contains("# in the cellar\n") && after.as_bytes().starts_with(&before), "{after}");
    assert_eq!(after.matches("[[threshold]]").count(), 2);
    assert_eq!(place.read("deep/later.toml"), place.read("new.toml"));
    assert_eq!(place.names("deep"), ["again.toml", "ear.toml", "later.toml"]);
}

/// A program with the words of a line, behind what a shell does first.
fn behind(place: &Place, shell: &str, line: &str) -> Command {
    let inner = place.command(line);
    let mut sh = Command::new("sh");
    sh.arg("-c").arg(format!("{shell} && exec \"$0\" \"$@\"")).arg(inner.get_program()).args(inner.get_args());
    sh.current_dir(place.path("")).stdin(Stdio::null());
    sh
}

/// Such a limit ends a program that does not listen to it, and its files stay half done.
#[test]
fn a_limit_on_files_ends_like_a_full_disk() {
    let place = Place::new();
    let line = "hitgap render patches/late-bell.toml --tempo 20 --bars 4";
    let ran = Ran::new(line, &mut behind(&place, "ulimit -f 800", line)).exits(3);
    assert!(ran.stderr.contains(".wav`: it would grow larger than a file may be there\nhelp: "), "{}", ran.stderr);
    assert!(place.names("out").is_empty(), "{:?}", place.names("out"));
    let line = format!("{SAVE} ear.toml");
    let ran = Ran::new(&line, &mut behind(&place, "ulimit -f 0", &line)).exits(3);
    let wanted =
        "error: `ear.toml` could not be written: it would grow larger than a file may be there\nhelp: raise the limit";
    assert!(ran.stderr.starts_with(wanted), "{}", ran.stderr);
    assert_eq!(place.names(""), ["patches"], "neither a lock nor a part is left");
    // What goes to a file by the shell is a file too.
    let line = "hitgap hits patches/late-bell.toml --bars 5000";
    let file = std::fs::File::create(place.path("hits.csv")).expect("a file");
    let ran = Ran::new(line, behind(&place, "ulimit -f 8", line).stdout(file)).exits(3);
    assert!(ran.stderr.starts_with("error: the output could not be written: "), "{}", ran.stderr);
}
