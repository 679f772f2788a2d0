//! How it starts, and how it ends.

use super::{Open, PATCH};
use crate::place::Place;
use std::io::{BufRead, BufReader, Read};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// The address that a browser is started with can be read by other users in the list of programs: it opens once.
#[cfg(unix)]
#[test]
fn the_address_of_a_browsers_start_opens_once() {
    use std::os::unix::fs::PermissionsExt;
    let place =
        Place::new().with("opener", "#!/bin/sh\nprintf '%s\\n' \"$1\" > \"$LOG.part\" && mv \"$LOG.part\" \"$LOG\"\n");
    std::fs::set_permissions(place.path("opener"), std::fs::Permissions::from_mode(0o755)).expect("a program");
    let log = place.path("opened");
    let mut command = place.command(&format!("hitgap open {PATCH}"));
    command.env("HITGAP_OPENER", place.path("opener")).env("LOG", &log);
    let mut child = command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().expect("it starts");
    let mut out = BufReader::new(child.stdout.take().expect("a pipe"));
    let mut first = String::new();
    out.read_line(&mut first).expect("an address");
    let since = Instant::now();
    while !log.exists() && since.elapsed() < Duration::from_secs(60) {
        std::thread::sleep(Duration::from_millis(10));
    }
    let handed = std::fs::read_to_string(&log).expect("an address");
    let parts = |address: &str| {
        let (port, secret) =
            address.trim().rsplit_once("127.0.0.1:").and_then(|(_, a)| a.split_once("/enter/")).expect("an address");
        (port.parse::<u16>().expect("a port"), secret.to_owned())
    };
    let ((port, handed), (_, secret)) = (parts(&handed), parts(&first));
    assert_ne!(handed, secret);
    let server = Open { child, port, secret };
    let status = |secret: &str| server.ask(&format!("GET /enter/{secret}"), &[]).status;
    assert_eq!([status(&handed), status(&handed)], [303, 403]);
    assert_eq!([status(&server.secret), status(&server.secret)], [303, 303]);
}

/// Ctrl-C ends it, with pages open.
#[cfg(unix)]
#[test]
fn it_ends_when_it_is_asked_to() {
    let place = Place::new();
    let mut server = Open::new(&place, PATCH);
    let cookie = server.cookie();
    let mut events = server.events(&cookie);
    events.next();
    let asked = Command::new("kill").args(["-INT", &server.child.id().to_string()]).status().expect("kill");
    assert!(asked.success());
    assert_eq!(server.child.wait().expect("an end").code(), Some(130));
    // What was told is whole, or broken off; it does not hang.
    let _ = events.0.read_to_end(&mut Vec::new());
}

#[test]
fn what_cannot_be_served_is_told() {
    let place = Place::new();
    let server = Open::new(&place, PATCH);
    let taken = format!("hitgap open {PATCH} --no-open --port {}", server.port);
    let output = place.command(&taken).output().expect("it runs");
    let told = String::from_utf8(output.stderr).expect("text");
    assert_eq!(output.status.code(), Some(3), "{told}");
    assert!(told.starts_with(&format!("error: port {} of this machine could not be had: ", server.port)), "{told}");
    assert!(told.contains("\nhelp: name another with --port, or leave it out"), "{told}");
}
