use super::place::Place;

/// From a page over a session to a threshold that `check` and `advise` use.
#[test]
fn from_train_to_check_by_ear() {
    let place = Place::new();
    place.shows(
        "training",
        &[
            "hitgap train --voices kick,snare --tempo 90 --simulate 6ms",
            "hitgap results out/train.kick+snare.90bpm.json --save ear.toml",
            "hitgap check patches/late-bell.toml --ear ear.toml --fix or-gate",
            "hitgap check patches/late-bell.toml --ear ear.toml --fix or-gate --max-gap 1ms",
            "hitgap advise patches/late-bell.toml --on sequencer.wren.clock --tempo 60 --ear ear.toml",
            "hitgap train --patch patches/thin-ice.toml --simulate 3ms --seed 4",
            "hitgap results out/train.kick+snare.90bpm.json out/train.floor-drum+floor-drum.60bpm.json --save ear.toml",
        ],
    );
    let ear = place.read("ear.toml");
    assert!(String::from_utf8_lossy(&ear).matches("[[threshold]]").count() >= 1);
    place.shows("training-json", &["hitgap results out/train.kick+snare.90bpm.json --format json"]);
}

/// What is no session is told with its place, and an ear file that is none stays as it is.
#[test]
fn what_is_no_session_is_refused() {
    let place = Place::new()
        .with("cut.json", "{\n  \"hitgap\": \"training\",\n  \"format\": 1,\n  \"ta")
        .with("foreign.json", "{ \"name\": \"something else\" }\n")
        .with("notes.toml", "shopping = [\"cables\"]\n");
    place.shows(
        "bad-training",
        &[
            "hitgap train --simulate 6ms",
            "hitgap results cut.json",
            "hitgap results foreign.json",
            "hitgap results missing.json",
            "hitgap results out/train.kick+snare.90bpm.json foreign.json --save ear.toml",
            "hitgap results out/train.kick+snare.90bpm.json --save notes.toml",
            "hitgap results out/train.kick+snare.90bpm.json --format csv",
            "hitgap check patches/late-bell.toml --ear notes.toml",
            "hitgap check patches/late-bell.toml --ear ear.toml",
            "hitgap train --voices kick",
            "hitgap train --tempo 60,90",
        ],
    );
    assert_eq!(place.read("notes.toml"), b"shopping = [\"cables\"]\n");
    assert!(!place.path("ear.toml").exists());
}
