//! Paths may be short where only one can be meant; else whole commands are listed, to paste.

use super::place::{Place, Ran};

/// Heron has no reset, Ox has one that it obeys, Moth one that it ignores.
const RIG: &str = "tempos = [120]\nbars = 2\n[clock.sixteenths]\nrate = \"4 per beat\"\n[clock.home]\nrate = \"1 per 4 beats\"\n\
    [clock.later]\nrate = \"1 per 4 beats\"\n\
    [sequencer.heron]\nclock = \"sixteenths\"\nsteps = \"x...\"\nvoice = \"kick\"\n\
    [sequencer.ox]\nclock = \"sixteenths\"\nreset = \"home\"\nreset-mode = \"this-clock\"\nsteps = \"x...\"\nvoice = \"kick\"\n\
    [sequencer.moth]\nclock = \"sixteenths\"\nreset = \"sixteenths\"\nreset-mode = \"ignored\"\nsteps = \"x...\"\nvoice = \"hat\"\n";

fn seen(ran: Ran) -> (Option<i32>, String, String) {
    (ran.status, ran.stdout, ran.stderr)
}

#[test]
fn a_short_path_is_the_whole_one_where_only_one_can_be_meant() {
    let place = Place::new().with("rig.toml", RIG);
    for (short, whole) in [
        ("heron", "sequencer.heron.clock"),
        ("heron.clock", "sequencer.heron.clock"),
        ("sequencer.heron", "sequencer.heron.clock"),
        ("moth", "sequencer.moth.clock"),
        ("reset", "sequencer.ox.reset"),
        ("ox.reset", "sequencer.ox.reset"),
    ] {
        let advise = |on: &str| seen(place.run(&format!("hitgap advise rig.toml --on {on} --format json")));
        let (said, wanted) = (advise(short), advise(whole));
        assert_eq!((said.0, &said), (Some(0), &wanted), "{short}");
        let sweep = |on: &str| {
            let line = format!("hitgap sweep rig.toml --on {on} --delay 0ms,1ms --out out --format json");
            seen(place.run(&line))
        };
        assert_eq!(sweep(short), sweep(whole), "{short}");
    }
    // An output too, for what can turn one; and what names one thing alone stands for it though others have its parts.
    let sweep =
        |on: &str| place.run(&format!("hitgap sweep rig.toml --on {on} --phase 0%,1% --out out")).exits(0).stdout;
    assert_eq!(sweep("later"), sweep("clock.later"));
    assert_eq!(sweep("clock.home"), sweep("home"));
}

/// Every command that is listed is the one that was typed but for the path, and does what it says.
#[test]
fn where_several_could_be_meant_each_is_a_command_to_paste() {
    let place = Place::new().with("my rig.toml", RIG);
    place.shows(
        "short",
        &[
            "hitgap advise \"my rig.toml\" --on ox --tempo 90",
            "hitgap advise \"my rig.toml\" --on=clock",
            "hitgap advise \"my rig.toml\" --on wern",
            "hitgap advise \"my rig.toml\" --on moth.reset",
            "hitgap advise \"my rig.toml\" --card",
            "hitgap sweep --on sixteenth \"my rig.toml\" --delay 0ms",
            "hitgap sweep --on clock \"my rig.toml\" --delay 0ms",
            "hitgap identify patches/late-bell.toml",
            "hitgap identify patches/late-bell.toml --sequencer wern",
        ],
    );
    for line in [
        "hitgap advise \"my rig.toml\" --on ox --tempo 90",
        "hitgap sweep --on ox \"my rig.toml\" --delay 0ms --tempo 120",
        "hitgap identify patches/late-bell.toml",
    ] {
        let refused = place.run(line).exits(2).stderr;
        let listed: Vec<&str> = refused.lines().filter_map(|l| l.strip_prefix("    ")).collect();
        assert!(listed.len() > 1, "{refused}");
        for command in listed {
            // As a shell would take it: single quotes do here what double ones do.
            place.run(&command.replace('\'', "\"")).exits(0);
        }
    }
}

#[test]
fn a_box_need_not_be_named_where_only_one_can_be_tried() {
    let place = Place::new().with("rig.toml", RIG);
    let one = seen(place.run("hitgap identify rig.toml --format json"));
    assert_eq!((one.0, &one), (Some(0), &seen(place.run("hitgap identify rig.toml --sequencer ox --format json"))));
    assert_eq!(one, seen(place.run("hitgap identify rig.toml --sequencer sequencer.ox --format json")));
}
