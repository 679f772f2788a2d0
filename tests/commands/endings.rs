//! Ends that come from outside: a reader that goes away, a full disk, Ctrl-C.

use super::place::{Place, Ran};

const ALL: [&str; 13] = [
    "hitgap --help",
    "hitgap check patches/late-bell.toml",
    "hitgap check patches/late-bell.toml --format json",
    "hitgap check patches/late-bell.toml --format csv",
    "hitgap hits patches/late-bell.toml",
    "hitgap voices",
    "hitgap voices --format json",
    "hitgap voices --format csv",
    "hitgap flam --delay 1ms",
    "hitgap flam --delay 1ms --format json",
    "hitgap flam --delay 1ms --format csv",
    "hitgap render patches/late-bell.toml --bars 1 --tempo 160",
    "hitgap compare patches/late-bell.toml --bars 1 --tempo 160",
];

#[test]
fn a_closed_pipe_ends_quietly() {
    let place = Place::new();
    for line in ALL {
        let (reader, writer) = std::io::pipe().expect("a pipe");
        drop(reader);
        let ran = Ran::new(line, place.command(line).stdout(writer)).exits(0);
        assert!(ran.stderr.lines().all(|l| l.starts_with("wrote ")), "{line}: {}", ran.stderr);
    }
}

#[test]
fn a_closed_pipe_in_the_middle_ends_quietly() {
    // More than any pipe holds: the program is still writing when the reader goes.
    let place = Place::new();
    let line = "hitgap hits patches/late-bell.toml --bars 5000";
    let mut child = place
        .command(line)
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .expect("it starts");
    let mut first = [0; 6];
    std::io::Read::read_exact(child.stdout.as_mut().expect("a pipe"), &mut first).expect("a line");
    assert_eq!(&first, b"time_s");
    drop(child.stdout.take());
    let output = child.wait_with_output().expect("an end");
    assert_eq!((output.status.code(), output.stderr.as_slice()), (Some(0), b"".as_slice()));
}

#[test]
fn nobody_need_listen_to_the_talk() {
    let place = Place::new();
    for (line, status) in [(ALL[11], 0), ("hitgap check nowhere.toml", 3), ("hitgap check", 2)] {
        let (reader, writer) = std::io::pipe().expect("a pipe");
        drop(reader);
        let ran = place.command(line).stderr(writer).output().expect("it starts");
        assert_eq!(ran.status.code(), Some(status), "{line}");
    }
}

#[cfg(target_os = "linux")]
#[test]
fn an_output_that_cannot_be_written_is_a_fault() {
    let place = Place::new();
    for line in &ALL[1..] {
        let full = std::fs::File::options().write(true).open("/dev/full").expect("the device");
        let ran = Ran::new(line, place.command(line).stdout(full)).exits(3);
        assert!(ran.stderr.contains("error: the output could not be written: "), "{line}: {}", ran.stderr);
    }
}

#[cfg(unix)]
#[test]
fn ctrl_c_ends_with_130_and_leaves_no_half_file() {
    use std::process::{Command, Stdio};
    use std::time::Duration;

    let place = Place::new();
    // Hours of sound, so that it cannot be done before it is stopped.
    let line = "hitgap render patches/late-bell.toml --tempo 50 --bars 2500";
    let mut child = place.command(line).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("it starts");
    // Once the folder is there, Ctrl-C is listened to.
    while !place.path("out").exists() {
        assert!(child.try_wait().expect("a state").is_none(), "it ended by itself");
        std::thread::sleep(Duration::from_millis(5));
    }
    let id = child.id().to_string();
    assert!(Command::new("kill").args(["-INT", &id]).status().expect("kill").success());
    let output = child.wait_with_output().expect("an end");
    let said = String::from_utf8(output.stderr).expect("text");
    assert_eq!(said, "interrupted; no half-written file is left under a final name\n");
    assert_eq!(output.status.code(), Some(130));
    assert_eq!(output.stdout, b"");
    let left: Vec<String> = place.names("out").into_iter().filter(|n| n != ".hitgap-lock").collect();
    assert!(left.is_empty(), "{left:?}");
    // The folder is as good as new.
    place.run("hitgap render patches/late-bell.toml --tempo 50 --bars 1").exits(0);
}

#[cfg(unix)]
#[test]
fn ctrl_c_stops_advice() {
    use std::io::BufRead;
    use std::process::{Command, Stdio};

    let place = Place::new().with("long.toml", super::absurd::many_meetings(100));
    let line = "hitgap advise long.toml --on sequencer.a.clock --setting 1%";
    let mut child = place.command(line).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("it starts");
    let mut talk = std::io::BufReader::new(child.stderr.take().expect("a pipe"));
    let mut said = String::new();
    // Once it has said how much there is to do, Ctrl-C is listened to.
    talk.read_line(&mut said).expect("a line");
    assert!(said.starts_with("trying ") && said.ends_with(" pulses in all\n"), "{said}");
    assert!(Command::new("kill").args(["-INT", &child.id().to_string()]).status().expect("kill").success());
    let mut rest = String::new();
    std::io::Read::read_to_string(&mut talk, &mut rest).expect("text");
    assert_eq!(rest, "interrupted; no half-written file is left under a final name\n");
    let output = child.wait_with_output().expect("an end");
    assert_eq!((output.status.code(), output.stdout.as_slice()), (Some(130), b"".as_slice()));
}
