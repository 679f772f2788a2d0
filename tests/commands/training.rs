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

/// A pack for a class, and its marks.
#[test]
fn a_class_is_played_to_and_marked() {
    let place = Place::new();
    place.run("hitgap train --pack 20 --seed 7 --bits 16").exits(0);
    let names = place.names("out");
    assert_eq!(names.iter().filter(|n| n.ends_with(".wav")).count(), 20);
    // Nothing about a file but its sound tells the answer: all are equally long.
    let sounds = place.sounds("out");
    let mut lengths: Vec<usize> = sounds.iter().filter(|(n, _)| n.ends_with(".wav")).map(|(_, b)| b.len()).collect();
    lengths.dedup();
    assert_eq!(lengths.len(), 1, "{lengths:?}");
    let sheet = String::from_utf8(place.read("out/train.kick+snare.90bpm.sheet.html")).expect("text");
    assert!(sheet.contains("<th>20</th>") && !sheet.contains("<script"));
    let key = String::from_utf8(place.read("out/train.kick+snare.90bpm.key.json")).expect("text");
    let key = hitgap::ear::Key::parse(&key).expect("a key");
    // Ox hears everything from 8 ms on and guesses the rest as 1; Wren says 2 throughout; Moth left early.
    let mut csv = String::from("trial,ox,wren,moth\n");
    for (n, q) in key.questions.iter().enumerate() {
        let ox = if q.level.0 >= 3_000_000 { q.asked } else { 1 };
        let moth = if n < 6 { q.asked.to_string() } else { String::new() };
        csv.push_str(&format!("{},{ox},2,{moth}\n", n + 1));
    }
    let place =
        place.with("answers.csv", &csv).with("twice.csv", "trial,ox\n1,1\n1,2\n").with("four.csv", "trial,ox\n1,4\n");
    let results = "hitgap results out/train.kick+snare.90bpm.key.json";
    let lines = [
        "hitgap train --pack 20 --seed 7 --bits 16".to_owned(),
        format!("{results} answers.csv"),
        format!("{results} answers.csv --format json"),
        format!("{results} twice.csv"),
        format!("{results} four.csv"),
        results.to_owned(),
        format!("{results} answers.csv --save ear.toml"),
        "hitgap train --pack 4".to_owned(),
    ];
    let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
    place.shows("class", &lines);
}
