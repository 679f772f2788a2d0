use super::place::Place;

/// The words are the system's.
#[cfg(unix)]
#[test]
fn a_patch_that_cannot_be_read_is_said_to_be_so() {
    Place::new()
        .shows("unreadable", &["hitgap check nowhere.toml", "hitgap check patches", "hitgap compare nowhere.toml"]);
}

#[test]
fn what_is_no_patch_is_refused() {
    let place = Place::new()
        .with("binary.toml", b"title = \"\xff\xfe\"\n")
        .with("large.toml", vec![b'#'; (1 << 20) + 1])
        .with("empty.toml", "")
        .with("verse.toml", "The late bell\nrings late\n");
    let files = ["binary.toml", "large.toml", "empty.toml", "verse.toml"];
    let lines: Vec<String> = files.iter().map(|f| format!("hitgap check {f}")).collect();
    place.shows("no-patch", &lines.iter().map(String::as_str).collect::<Vec<_>>());
    // The largest that is taken: a patch and a remark.
    let mut largest = place.read("patches/late-bell.toml");
    largest.push(b'#');
    largest.resize(1 << 20, b'-');
    let place = place.with("largest.toml", largest);
    place.run("hitgap check largest.toml --fix or-gate").exits(0);
}

#[test]
fn every_fault_is_shown_where_it_stands() {
    let changes = [
        ("rate  = \"1 per 16 beats\"", "rate  = \"1 per 16 beats\"\nwidht = \"5\""),
        ("clock = \"slow\"", "clock = \"slwo\""),
        ("reset-mode = \"next-clock\"\n", ""),
        ("\"40 us\"", "40"),
    ];
    let place = Place::new().with_changed("mine.toml", "late-bell.toml", &changes);
    place.shows("faults", &["hitgap check mine.toml", "hitgap render mine.toml --out there"]);
    assert!(place.names("there").is_empty(), "nothing is made of a bad patch");
}

#[test]
fn warnings_are_said_and_do_not_stop() {
    let changes = [("reset-mode = \"this-clock\"", "reset-mode = \"this-clock\"\nsetup-time = \"1 ms\"")];
    let place = Place::new().with_changed("mine.toml", "late-bell.toml", &changes);
    place.shows("warnings", &["hitgap check mine.toml --fix or-gate --tempo 120"]);
}

#[test]
fn fixes_are_asked_for_by_name() {
    // Each of the last two is good alone.
    let fixes = "\n[fix.half]\nset.\"clock.slow.phase\" = \"0.5 %\"\n\n[fix.wide]\nset.\"clock.slow.width\" = \"100 ms\"\n\n\
                 [fix.quick]\nset.\"clock.slow.rate\" = \"20 per beat\"\n";
    let place = Place::new();
    let text = String::from_utf8(place.read("patches/late-bell.toml")).expect("text") + fixes;
    let place = place.with("mine.toml", text);
    place.shows(
        "fixes",
        &[
            "hitgap check mine.toml --tempo 120 --fix phase+or-gate --fix or-gate+phase --fix original --fix original",
            "hitgap check mine.toml --fix phsae",
            "hitgap check mine.toml --fix \"\"",
            "hitgap check mine.toml --fix phase+",
            "hitgap check mine.toml --fix phase+phase",
            "hitgap check mine.toml --fix original+phase",
            "hitgap check mine.toml --fix phase+half",
            "hitgap check mine.toml --fix wide+quick",
            "hitgap hits mine.toml --fix phase,or-gate",
            "hitgap compare mine.toml --fix original",
            "hitgap compare mine.toml --fix late",
        ],
    );
}
