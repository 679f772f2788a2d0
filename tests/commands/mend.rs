use super::place::Place;
use std::fmt::Write;

#[test]
fn the_least_that_must_be_done() {
    let place = Place::new();
    place.shows(
        "mend",
        &[
            "hitgap mend patches/late-bell.toml",
            "hitgap mend patches/five-teachers.toml --show 2",
            "hitgap mend patches/taken-by-hand.toml",
            "hitgap mend patches/soft-attack.toml",
            "hitgap mend patches/through-the-laptop.toml --budget 1",
        ],
    );
    place.shows(
        "mend-wishes",
        &[
            "hitgap mend patches/five-teachers.toml --keep dial --budget 1",
            "hitgap mend patches/three-in-the-basket.toml --price component.envelope=3 --keep clock --keep cable",
            "hitgap mend patches/hand-in-hand.toml --may sequencer.wren.reset-mode=this-clock,immediate --budget 2 --show 2",
            "hitgap mend patches/late-bell.toml --keep sequencer.heron",
            "hitgap mend patches/late-bell.toml --nudge heron",
            "hitgap mend patches/late-bell.toml --price part",
            "hitgap mend patches/late-bell.toml --may sequencer.wren.clock=home",
            "hitgap mend patches/late-bell.toml --may wren=home",
            "hitgap mend patches/late-bell.toml --budget 5",
        ],
    );
    place.shows(
        "mend-formats",
        &[
            "hitgap mend patches/three-in-the-basket.toml --tempo 60,75 --budget 1 --format json",
            "hitgap mend patches/three-in-the-basket.toml --tempo 60,75 --budget 1 --format csv",
        ],
    );
}

/// What is written stands in the patch as any fix: everything else is as it was, and it can be checked and heard.
#[test]
fn what_is_found_can_be_kept_checked_and_heard() {
    let place = Place::new();
    let before = String::from_utf8(place.read("patches/late-bell.toml")).expect("text");
    let ran = place.run("hitgap mend patches/late-bell.toml --write").exits(0);
    assert!(ran.stderr.contains("wrote [fix.or-gate-wren] to patches/late-bell.toml"), "{}", ran.stderr);
    let after = String::from_utf8(place.read("patches/late-bell.toml")).expect("text");
    let about = "about = \"put or-gate into the way to wren's clock\"\n";
    let added = format!("\n[fix.or-gate-wren]\n{about}set.\"sequencer.wren.clock\" = [\"slow\", \"or-gate\"]\n");
    assert_eq!(after.replacen(&added, "", 1), before);
    place.run("hitgap check patches/late-bell.toml --fix or-gate-wren").exits(0);
    place.run("hitgap compare patches/late-bell.toml --fix or-gate-wren --tempo 120 --bars 8").exits(0);
    // A name that is taken gets a number.
    let ran = place.run("hitgap mend patches/late-bell.toml --write").exits(0);
    assert!(ran.stderr.contains("wrote [fix.or-gate-wren-2] to "), "{}", ran.stderr);
    // Where nothing does, nothing is written.
    let before = place.read("patches/wren-slips.toml");
    let ran = place.run("hitgap mend patches/wren-slips.toml --budget 1 --write").exits(0);
    assert!(ran.stderr.contains("no fix to write"), "{}", ran.stderr);
    assert_eq!(place.read("patches/wren-slips.toml"), before);
}

/// Every proposal for every example that can be mended is rendered, and passes its check.
#[test]
fn what_is_proposed_for_the_examples_passes_and_sounds() {
    for name in ["thin-ice", "five-teachers", "across-the-room", "serial-beside-pulses", "moth-blinks", "lantern-rests"]
    {
        let place = Place::new();
        let ran = place.run(&format!("hitgap mend patches/{name}.toml --write=3")).exits(0);
        let fixes: Vec<&str> = ran.stderr.split("[fix.").skip(1).filter_map(|rest| rest.split(']').next()).collect();
        assert!(!fixes.is_empty(), "{name}: {}", ran.stderr);
        for fix in fixes {
            place.run(&format!("hitgap check patches/{name}.toml --fix {fix}")).exits(0);
            place.run(&format!("hitgap render patches/{name}.toml --fix {fix} --bars 2 --sample-rate 8000")).exits(0);
        }
    }
}

/// Songs bring the tempos; a list of components what may be put in.
#[test]
fn an_evening_of_songs_and_a_list_of_parts() {
    let place = Place::new().with("evening.csv", "song,tempo\nA,50\nB,97.5\nC,50\n");
    let line =
        "hitgap mend patches/late-bell.toml --songs evening.csv --components patches/components.toml --format csv";
    let ran = place.run(line).exits(0);
    assert!(ran.stdout.contains(",50,") && ran.stdout.contains(",97.5,"), "{}", ran.stdout);
    assert!(ran.stdout.contains("fast-envelope"), "{}", ran.stdout);
    place.run("hitgap mend patches/late-bell.toml --songs evening.csv --tempo 60").exits(2);
}

/// A rig that takes long: eight boxes and twenty parts, and nothing that does.
fn long() -> String {
    let mut text = String::from(
        "tempos = [60, 90, 120, 160]\nbars = 32\n[clock.sixteenths]\nrate = \"4 per beat\"\n[clock.home]\nrate = \"1 per 16 beats\"\n",
    );
    for n in 0..8 {
        let mode = if n < 2 { "next-clock" } else { "this-clock" };
        let more = if n == 7 { "latency = \"8 ms\"\n" } else { "" };
        let _ = write!(
            text,
            "[sequencer.s{n}]\nclock = \"sixteenths\"\nreset = \"home\"\nreset-mode = \"{mode}\"\nsteps = \"X...x...\"\nvoice = \"click\"\n{more}"
        );
    }
    for n in 0..20 {
        let _ = write!(text, "[component.gate-{n}]\nkind = \"delay\"\ndelay = \"{} us\"\n", 100 * n + 20);
    }
    text
}

#[cfg(unix)]
#[test]
fn ctrl_c_prints_what_was_found_so_far() {
    use std::io::BufRead;
    use std::process::{Command, Stdio};

    let place = Place::new().with("long.toml", long());
    let line = "hitgap mend long.toml --budget 4";
    let mut child = place.command(line).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("it starts");
    let mut talk = std::io::BufReader::new(child.stderr.take().expect("a pipe"));
    let mut said = String::new();
    // Once it has said how much there is to do, Ctrl-C is listened to.
    talk.read_line(&mut said).expect("a line");
    assert!(said.starts_with("searching ") && said.ends_with(" changes\n"), "{said}");
    assert!(Command::new("kill").args(["-INT", &child.id().to_string()]).status().expect("kill").success());
    let output = child.wait_with_output().expect("an end");
    let out = String::from_utf8(output.stdout).expect("text");
    assert!(out.contains("Stopped before it was done") && out.contains("As it is, s0 misses the one"), "{out}");
    assert_eq!(output.status.code(), Some(130));
}
