use super::place::Place;

/// From a page over a session to a threshold that `check` and `advise` use.
#[test]
fn from_train_to_check_by_ear() {
    let place =
        Place::new().with_changed("patches/apart.toml", "late-bell.toml", &[("X...x...x...x...", "..X...x...x...x.")]);
    place.shows(
        "training",
        &[
            "hitgap train --voices kick,snare --tempo 90 --simulate 6ms",
            "hitgap results out/train.kick+snare.90bpm.json --save ear.toml",
            "hitgap check patches/late-bell.toml --ear ear.toml --fix or-gate",
            "hitgap check patches/late-bell.toml --ear ear.toml --fix or-gate --max-gap 1ms",
            "hitgap advise patches/late-bell.toml --on sequencer.wren.clock --tempo 60 --ear ear.toml",
            "hitgap results out/train.kick+snare.90bpm.json --verbose",
            "hitgap results out/train.kick+snare.90bpm.json --quiet",
            "hitgap train --patch patches/thin-ice.toml --simulate 3ms --seed 4",
            "hitgap results out/train.kick+snare.90bpm.json out/train.thin-ice.floor-drum+floor-drum.60bpm.json --save ear.toml",
        ],
    );
    let ear = place.read("ear.toml");
    assert!(String::from_utf8_lossy(&ear).matches("[[threshold]]").count() >= 1);
    // A patch in which the two are never due together, and one with a bar of its own.
    place.shows(
        "training-bar",
        &[
            "hitgap train --patch patches/late-bell.toml --tempo 90",
            "hitgap train --patch patches/apart.toml --tempo 90",
        ],
    );
    place.shows("training-json", &["hitgap results out/train.kick+snare.90bpm.json --format json"]);
}

/// The bar of tight or loose is the patch's own: Ox plays the one of each bar, Wren too, and what else there is stays.
#[test]
fn the_page_holds_the_patchs_own_bar() {
    let place = Place::new();
    place.run("hitgap train --patch patches/thin-ice.toml").exits(0);
    let page = String::from_utf8(place.read("out/train.thin-ice.floor-drum+floor-drum.60bpm.html")).expect("text");
    let data = page.split_once("id=\"data\">").expect("data").1.split_once("</script>").expect("an end").0;
    let data: serde_json::Value = serde_json::from_str(data).expect("JSON");
    let bar = &data["bar"];
    assert_eq!((&bar["name"], &bar["beats"]), (&"thin-ice".into(), &4.0.into()));
    let hits = bar["hits"].as_array().expect("hits");
    // Each has a beat within the bar, one of the two voices, and a factor up to 1; some are due with another.
    for hit in hits {
        let (beat, accent) = (hit[0].as_f64().expect("a beat"), hit[2].as_f64().expect("a factor"));
        assert!((0.0..4.0).contains(&beat) && accent > 0.0 && accent <= 1.0, "{hit}");
    }
    assert!(hits.iter().any(|h| hits.iter().filter(|other| other[0] == h[0]).count() == 2));
    assert!(page.contains("Which of two bars of thin-ice was loose?"));
    // Without a patch there is no bar.
    place.run("hitgap train").exits(0);
    let page = String::from_utf8(place.read("out/train.kick+snare.90bpm.html")).expect("text");
    assert!(page.contains("\"bar\":null"));
}

/// Pictures of sessions and of a class lie in a folder with a manifest, as those of other commands do.
#[test]
fn results_are_drawn() {
    let place = Place::new();
    place.run("hitgap train --simulate 6ms").exits(0);
    place.shows(
        "training-plot",
        &[
            "hitgap results patches/wren-listens.json --plot --out pictures",
            "hitgap results out/train.kick+snare.90bpm.json patches/wren-listens.json --plot --format json --out again",
            "hitgap results patches/wren-listens.json patches/wren-listens.json --plot",
            "hitgap results patches/wren-listens.json --out pictures",
        ],
    );
    assert_eq!(
        place.names("pictures"),
        [".hitgap-lock", "manifest.json", "wren-listens.curve.svg", "wren-listens.track.svg"]
    );
    let track = String::from_utf8(place.read("pictures/wren-listens.track.svg")).expect("text");
    assert!(track.contains("73 trials, 63 right") && track.contains("threshold 6.8 ms"));
    let curve = String::from_utf8(place.read("pictures/wren-listens.curve.svg")).expect("text");
    assert!(curve.contains("logistic") && curve.contains("Weibull") && curve.contains("guessing"));
    // The same session makes the same bytes.
    assert_eq!(place.read("again/wren-listens.curve.svg"), curve.as_bytes());
}

/// Many runs that add to one ear file at the same time: each threshold is there in the end, and the file is whole.
#[test]
fn runs_at_once_lose_no_threshold() {
    const RUNS: usize = 6;
    let place = Place::new();
    for seed in 1..=RUNS {
        place.run(&format!("hitgap train --simulate 6ms --seed {seed} --out s{seed}")).exits(0);
    }
    for round in 0..2 {
        let ear = format!("ear{round}.toml");
        let save = |seed| format!("hitgap results s{seed}/train.kick+snare.90bpm.json --save {ear}");
        let quiet = std::process::Stdio::null;
        let runs: Vec<std::process::Child> = (1..=RUNS)
            .map(|seed| place.command(&save(seed)).stdout(quiet()).stderr(quiet()).spawn().expect("starts"))
            .collect();
        for mut run in runs {
            assert!(run.wait().expect("ends").success());
        }
        let text = String::from_utf8(place.read(&ear)).expect("text");
        let ear = hitgap::ear::EarFile::parse(&text).expect("a whole file");
        let mut saved: Vec<&str> = ear.thresholds.iter().map(|e| e.saved.as_str()).collect();
        saved.sort_unstable();
        let wanted: Vec<String> = (1..=RUNS).map(|seed| format!("simulated, seed {seed}")).collect();
        assert_eq!(saved, wanted);
        // Nothing unfinished is left beside it.
        assert!(place.names(".").iter().all(|n| !n.starts_with(".tmp")), "{:?}", place.names("."));
    }
}

/// Who comes while another run is at the ear file's folder waits, and adds afterwards.
#[test]
fn a_run_waits_for_who_is_at_the_ear_file() {
    let place = Place::new();
    let lock = hitgap::store::Lock::take(&place.path(".")).expect("a lock");
    let mut run = place.command("hitgap results patches/wren-listens.json --save ear.toml");
    let mut run = run.stdout(std::process::Stdio::null()).stderr(std::process::Stdio::null()).spawn().expect("starts");
    // Much longer than it takes alone.
    for _ in 0..100 {
        std::thread::sleep(std::time::Duration::from_millis(50));
        assert!(run.try_wait().expect("asked").is_none(), "it did not wait");
    }
    assert!(!place.path("ear.toml").exists());
    drop(lock);
    assert!(run.wait().expect("ends").success());
    assert!(place.path("ear.toml").exists());
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
    // Nothing about a file but its sound tells the answer: all are equally long, but for the digits of the number that each says.
    let sounds = place.sounds("out");
    let mut lengths: Vec<usize> = sounds.iter().filter(|(n, _)| n.ends_with(".wav")).map(|(_, b)| b.len()).collect();
    lengths.dedup();
    assert_eq!(lengths.len(), 2, "those up to 9 and those from 10 on: {lengths:?}");
    let mut frames: Vec<u32> =
        sounds.values().map(|b| hound::WavReader::new(b.as_slice()).expect("a WAV file").duration()).collect();
    frames.dedup();
    assert_eq!(frames.len(), 1, "{frames:?}");
    let sheet = String::from_utf8(place.read("out/train.kick+snare.90bpm.sheet.html")).expect("text");
    assert!(sheet.contains("<th scope=\"row\">20</th>") && !sheet.contains("<script"));
    for head in [
        "Name: ",
        "Date: ",
        "<th scope=\"col\">First</th>",
        "<th scope=\"col\">Second</th>",
        "<th scope=\"col\">Third</th>",
    ] {
        assert!(sheet.contains(head), "{head}");
    }
    let key = String::from_utf8(place.read("out/train.kick+snare.90bpm.key.json")).expect("text");
    let key = hitgap::ear::Key::parse(&key).expect("a key");
    // The key as a sheet says of each file what the key says, and the sheet to answer on says nothing of it.
    let answers = String::from_utf8(place.read("out/train.kick+snare.90bpm.key.html")).expect("text");
    for (n, q) in key.questions.iter().enumerate() {
        let ordinal = ["first", "second", "third"][q.asked as usize - 1];
        let row = format!(
            "<th scope=\"row\">{}</th><td>{}</td><td>{ordinal}</td><td>{:.0} ms</td>",
            n + 1,
            q.asked,
            q.level.ms()
        );
        assert!(answers.contains(&row), "{row}");
    }
    assert!(!sheet.contains(" ms</td>"));
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
        format!("{results} answers.csv --verbose"),
        format!("{results} answers.csv --quiet"),
        format!("{results} answers.csv --format json --plot"),
        format!("{results} twice.csv"),
        format!("{results} four.csv"),
        results.to_owned(),
        format!("{results} answers.csv --save ear.toml"),
        "hitgap train --pack 4".to_owned(),
    ];
    let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
    place.shows("class", &lines);
    let curve = String::from_utf8(place.read("out/train.kick+snare.90bpm.key.curve.svg")).expect("text");
    assert!(curve.contains("A class of 3 listeners: kick and snare at 90"));
}
