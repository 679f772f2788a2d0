//! A patch alone on the command line.

use super::place::Place;

#[test]
fn a_patch_alone_is_checked_and_says_how_to_hear_its_fixes() {
    let place = Place::new().with_changed("my patch.toml", "thin-ice.toml", &[]);
    place.shows(
        "alone",
        &[
            "hitgap patches/late-bell.toml",
            "hitgap \"my patch.toml\" --tempo 60 --quiet",
            "hitgap \"my patch.toml\" --tempo 60",
            "hitgap patches/none.toml",
            "hitgap patches/late-bell",
        ],
    );
    let of = |line: &str| {
        let ran = place.run(line);
        (ran.status, ran.stdout, ran.stderr)
    };
    for options in ["", " --format json", " --format csv", " --quiet", " --verbose", " --tempo 60 --fix phase"] {
        let (alone, check) = (
            of(&format!("hitgap patches/late-bell.toml{options}")),
            of(&format!("hitgap check patches/late-bell.toml{options}")),
        );
        assert_eq!((alone.0, &alone.2), (check.0, &check.2), "{options}");
        let hear = "\nHear it: hitgap compare patches/late-bell.toml\n";
        // What programs read, and a verdict in one line, have no line more.
        let says = !options.contains("format") && !options.contains("quiet");
        assert_eq!(alone.1, check.1 + if says { hear } else { "" }, "{options}");
    }
    // The line can be pasted as it stands, and there is none where nothing is to be heard.
    let said = of("hitgap \"my patch.toml\" --tempo 60").1;
    assert_eq!(said.lines().last(), Some("Hear it: hitgap compare 'my patch.toml'"));
    let place = place.with("bare.toml", "tempos = [60]\nbars = 1\n[clock.c]\nrate = \"1 per beat\"\n[sequencer.ox]\nclock = \"c\"\nsteps = \"x\"\nvoice = \"kick\"\n");
    assert!(!place.run("hitgap bare.toml").stdout.contains("Hear it"));
}

/// A file that is called like a command does not hide it, and whoever meant the file is told how.
#[test]
fn a_command_is_a_command_whatever_files_are_called() {
    let text = std::fs::read(Place::new().path("patches/late-bell.toml")).expect("an example");
    let place = Place::new().with("render", &text).with("voices", &text).with("mine", &text);
    let ran = place.run("hitgap render").exits(2);
    assert!(ran.stderr.contains("note: to check the file render, write: hitgap check render\n"), "{}", ran.stderr);
    assert!(place.run("hitgap check render --quiet").exits(1).stdout.starts_with("The late bell"));
    assert!(place.run("hitgap voices").exits(0).stdout.contains("kick"));
    assert!(place.run("hitgap mine --quiet").exits(1).stdout.starts_with("The late bell"));
    // Nothing of that where there is no such file.
    assert!(!place.run("hitgap compare").exits(2).stderr.contains("note: to check"));
    assert!(place.run("hitgap chekc").exits(2).stderr.contains("unrecognized subcommand"));
}
