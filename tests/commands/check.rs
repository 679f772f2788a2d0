use super::place::Place;
use serde_json::Value;

#[test]
fn the_verdict_for_people() {
    let place = Place::new();
    place.shows("check-late-bell", &["hitgap check patches/late-bell.toml"]);
    place.shows("check-thin-ice", &["hitgap check patches/thin-ice.toml"]);
    place.shows("check-moth", &["hitgap check patches/moth-wakes-on-seven.toml"]);
    place.shows(
        "check-options",
        &[
            "hitgap check patches/late-bell.toml --fix or-gate",
            "hitgap check patches/late-bell.toml --fix phase --tempo 60..160:50,97.5,60 --max-gap 12.4ms --bars 4",
            "hitgap check patches/late-bell.toml --fix phase --tempo 150 --max-gap 8ms",
            "hitgap check patches/late-bell.toml --fix phase --tempo 150 --max-gap 7999us",
        ],
    );
}

#[test]
fn a_sequencer_that_never_plays_or_pairs_fails_and_all_late_alike_passes() {
    // Wren sounds on the last step alone, which is due when Ox never plays.
    let apart = [
        ("steps = \"Xxxxxxxx\"", "steps = \".......X\""),
        ("steps = \"X...x...x...x...\"", "steps = \"X...............\""),
    ];
    // Both wake on step 7, and nothing ever puts them right.
    let sequencer = |name: &str| {
        format!("[sequencer.{name}]\nclock = \"c\"\nsteps = \"X..x..X.\"\nvoice = \"click\"\npower-up-step = 7\n")
    };
    let alike = format!("tempos = [120]\n[clock.c]\nrate = \"4 per beat\"\n{}{}", sequencer("ox"), sequencer("wren"));
    let (alone, _) = alike.split_once("[sequencer.wren]").expect("two");
    let place = Place::new()
        .with_changed("silent.toml", "late-bell.toml", &[("steps = \"Xxxxxxxx\"", "steps = \"........\"")])
        .with_changed("apart.toml", "late-bell.toml", &apart)
        .with("alone.toml", alone)
        .with("alike.toml", &alike);
    place.shows(
        "check-corners",
        &[
            "hitgap check silent.toml --fix or-gate --tempo 120",
            "hitgap check apart.toml --fix or-gate --tempo 120",
            "hitgap check alike.toml",
            "hitgap check alone.toml",
        ],
    );
}

#[test]
fn the_verdict_for_programs() {
    Place::new().shows(
        "check-formats",
        &[
            "hitgap check patches/late-bell.toml --tempo 50 --format json",
            "hitgap check patches/thin-ice.toml --tempo 75 --fix phase --format json",
            "hitgap check patches/moth-wakes-on-seven.toml --format csv",
        ],
    );
}

fn json(place: &Place, line: &str, status: i32) -> Value {
    serde_json::from_str(&place.run(&format!("hitgap {line} --format json")).exits(status).stdout).expect("JSON")
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// The keys of the contract's sample object; more may be there.
#[test]
fn every_field_of_the_contract_is_there() {
    let place = Place::new();
    let report = json(&place, "check patches/late-bell.toml", 1);
    let has = |value: &Value, keys: &[&str]| {
        for key in keys {
            assert!(value.get(key).is_some(), "no {key} in {value}");
        }
    };
    has(&report, &["format", "patch", "title", "max_gap_ms", "passes", "results"]);
    assert_eq!((report["format"].as_u64(), report["patch"].as_str()), (Some(1), Some("patches/late-bell.toml")));
    assert_eq!((report["title"].as_str(), report["max_gap_ms"].as_f64()), (Some("The late bell"), Some(2.0)));
    assert_eq!(report["passes"], false);
    let results = report["results"].as_array().expect("a list");
    assert_eq!(results.len(), 12, "three variants at four tempos");
    for result in results {
        has(result, &["variant", "tempo_bpm", "passes", "reasons", "sequencers", "gaps"]);
        assert_eq!(result["passes"] == true, result["reasons"].as_array().expect("a list").is_empty());
        for sequencer in result["sequencers"].as_array().expect("a list") {
            has(
                sequencer,
                &[
                    "name",
                    "pulses",
                    "hits",
                    "pulses_late_worst",
                    "pulses_late_last",
                    "agrees",
                    "off_by_ms",
                    "lateness_ms",
                ],
            );
            has(&sequencer["lateness_ms"], &["min", "median", "max"]);
        }
        for gap in result["gaps"].as_array().expect("a list") {
            has(
                gap,
                &[
                    "between",
                    "paired",
                    "unpaired",
                    "min_ms",
                    "median_ms",
                    "max_ms",
                    "worst_ms",
                    "band",
                    "order_heard",
                    "like",
                    "first_notch_hz",
                ],
            );
        }
    }
}

/// The figures of the contract: two beats late, which is 2.4 s at 50; 24, 15, 10, 7.5 ms; 0.04 ms.
#[test]
fn late_bell_reads_as_the_story_says() {
    let place = Place::new();
    let report = json(&place, "check patches/late-bell.toml", 1);
    let expected = [
        ("original", 1, [2400.0, 1500.0, 1000.0, 750.0], ["two-hits"; 4], false),
        ("phase", 0, [24.0, 15.0, 10.0, 7.5], ["flam", "flam", "flam", "split"], false),
        ("or-gate", 0, [0.04; 4], ["one-hit"; 4], true),
    ];
    let mut results = report["results"].as_array().expect("a list").iter();
    for (variant, late, gaps, bands, passes) in expected {
        for ((tempo, gap), band) in [50.0, 80.0, 120.0, 160.0].into_iter().zip(gaps).zip(bands) {
            let result = results.next().expect("a result");
            let at = format!("{variant} at {tempo}");
            assert_eq!((result["variant"].as_str(), number(&result["tempo_bpm"])), (Some(variant), tempo));
            assert_eq!(result["passes"], passes, "{at}");
            let [ox, wren] = result["sequencers"].as_array().expect("two").as_slice() else { panic!("two") };
            assert_eq!((&ox["name"], &wren["name"]), (&"ox".into(), &"wren".into()));
            // 32 beats: four pulses each for Ox, one in two for Wren.
            assert_eq!((ox["pulses"].as_u64(), wren["pulses"].as_u64()), (Some(128), Some(16)), "{at}");
            assert_eq!((ox["agrees"] == true, wren["agrees"] == true), (true, late == 0), "{at}");
            for key in ["pulses_late_worst", "pulses_late_last"] {
                assert_eq!((ox[key].as_i64(), wren[key].as_i64()), (Some(0), Some(late)), "{at}");
            }
            assert_eq!(number(&wren["off_by_ms"]), late as f64 * 2.0 * 60_000.0 / tempo, "{at}");
            // Against the ideal time of the due beat: two beats and what the path adds.
            assert_eq!(number(&wren["lateness_ms"]["max"]), gap, "{at}");
            let [only] = result["gaps"].as_array().expect("one").as_slice() else { panic!("one pair") };
            assert_eq!(only["between"], serde_json::json!(["ox", "wren"]));
            assert_eq!((number(&only["worst_ms"]), only["band"].as_str()), (gap, Some(band)), "{at}");
            assert_eq!(only["order_heard"] == true, gap >= 20.0, "{at}");
            assert_eq!((&only["like"], &only["first_notch_hz"]), (&false.into(), &Value::Null), "{at}");
            if late > 0 {
                // Two hits meet: the very first, and the wrong one at the first reset; all the others are two beats apart.
                assert_eq!((number(&only["min_ms"]), number(&only["median_ms"])), (0.0, gap), "{at}");
            }
        }
    }
    assert!(results.next().is_none());
}

/// 2.5, 2, 1.25, 0.9375 ms: a hundredth of a sixteenth. Notches at 1/(2·gap).
#[test]
fn thin_ice_reads_as_the_story_says() {
    let place = Place::new();
    let report = json(&place, "check patches/thin-ice.toml --fix phase", 1);
    let expected = [
        (60.0, 2.5, 200.0, "thicker", false),
        (75.0, 2.0, 250.0, "thicker", true),
        (120.0, 1.25, 400.0, "thicker", true),
        (160.0, 0.9375, 1600.0 / 3.0, "one-hit", true),
    ];
    for (result, (tempo, gap, notch, band, passes)) in
        report["results"].as_array().expect("a list").iter().zip(expected)
    {
        assert_eq!((number(&result["tempo_bpm"]), &result["passes"]), (tempo, &passes.into()));
        let only = &result["gaps"][0];
        assert_eq!((number(&only["worst_ms"]), number(&only["min_ms"])), (gap, gap), "{tempo}");
        assert!((number(&only["first_notch_hz"]) - notch).abs() < 1e-9, "{tempo}");
        assert_eq!((only["band"].as_str(), &only["like"]), (Some(band), &true.into()), "{tempo}");
        // Measured on synthesised kicks by the contract: about 0.3, 1.7, 5.7 dB at 1, 2.5, 5 ms. Other kicks, other
        // figures: within half of them.
        let body = number(&only["body_db"]);
        let like = -1.7 * (gap / 2.5) * (gap / 2.5);
        assert!((0.5 * like > body) && (body > 1.5 * like), "{tempo}: {body} dB");
    }
    let original = json(&place, "check patches/thin-ice.toml --fix original", 1);
    for (result, off) in original["results"].as_array().expect("a list").iter().zip([250.0, 200.0, 125.0, 93.75]) {
        assert_eq!(number(&result["sequencers"][1]["off_by_ms"]), off, "a sixteenth");
    }
}

#[test]
fn moth_reads_as_the_story_says() {
    let place = Place::new();
    let report = json(&place, "check patches/moth-wakes-on-seven.toml", 1);
    for result in report["results"].as_array().expect("a list") {
        let mended = result["variant"] == "run-wire";
        let late: Vec<_> = result["sequencers"].as_array().expect("three").iter().collect();
        let late: Vec<Option<i64>> = late.iter().map(|s| s["pulses_late_worst"].as_i64()).collect();
        // Pulse 0 plays step 7: its step 1 stands six pulses early, of sixteen.
        assert_eq!(late, [Some(0), Some(0), Some(if mended { 0 } else { -6 })]);
        assert_eq!(result["passes"], mended);
        let tempo = number(&result["tempo_bpm"]);
        let off = if mended { 0.0 } else { -1.5 * 60_000.0 / tempo };
        // Whole picoseconds, and a rounding of the instant.
        assert!((number(&result["sequencers"][2]["off_by_ms"]) - off).abs() < 1e-8, "{result}");
        let worst = result["gaps"].as_array().expect("three").iter().map(|g| number(&g["worst_ms"]));
        let worst = worst.fold(0.0, f64::max);
        assert!((worst - off.abs()).abs() < 1e-8, "{worst}");
    }
}

#[test]
fn the_formats_agree() {
    let place = Place::new();
    for patch in ["late-bell", "thin-ice", "moth-wakes-on-seven"] {
        let report = json(&place, &format!("check patches/{patch}.toml"), 1);
        let csv = place.run(&format!("hitgap check patches/{patch}.toml --format csv")).exits(1).stdout;
        let mut rows = csv::Reader::from_reader(csv.as_bytes());
        let head = rows.headers().expect("headings").clone();
        let mut rows = rows.records();
        for result in report["results"].as_array().expect("a list") {
            // A row for the verdict, one for each sequencer, one for each pair.
            let mut next = || {
                let row = rows.next().expect("a row").expect("a sound row");
                let cell = |name: &str| row[head.iter().position(|h| h == name).expect("a column")].to_owned();
                assert_eq!(result["variant"], cell("variant"));
                assert_eq!(result["passes"].to_string(), cell("passes"));
                assert_eq!(number(&result["tempo_bpm"]), cell("tempo_bpm").parse::<f64>().expect("a number"));
                let head = head.clone();
                move |name: &str| row[head.iter().position(|h| h == name).expect("a column")].to_owned()
            };
            let same = |value: &Value, cell: &dyn Fn(&str) -> String, name: &str| {
                assert_eq!(number(value), cell(name).parse::<f64>().expect("a number"), "{name}");
            };
            let all = next();
            assert_eq!(all("row"), "all");
            let reasons: Vec<&str> =
                result["reasons"].as_array().expect("a list").iter().filter_map(Value::as_str).collect();
            assert_eq!(all("reasons"), reasons.join("; "));
            for sequencer in result["sequencers"].as_array().expect("a list") {
                let cell = next();
                assert_eq!((cell("row").as_str(), &sequencer["name"]), ("sequencer", &Value::from(cell("first"))));
                for key in ["pulses", "hits", "pulses_late_worst", "off_by_ms"] {
                    same(&sequencer[key], &cell, key);
                }
            }
            for gap in result["gaps"].as_array().expect("a list") {
                let cell = next();
                assert_eq!(cell("row"), "gap");
                assert_eq!(gap["between"], serde_json::json!([cell("first"), cell("second")]));
                assert_eq!(gap["band"], cell("band"));
                same(&gap["paired"], &cell, "paired");
                same(&gap["unpaired"][0], &cell, "first_unpaired");
                same(&gap["unpaired"][1], &cell, "second_unpaired");
                for key in ["min_ms", "median_ms", "max_ms", "worst_ms"] {
                    same(&gap[key], &cell, key);
                }
            }
        }
        assert!(rows.next().is_none());
    }
}

/// Every hit's contributions, as JSON has them, against the lateness that the same report says of it.
#[test]
fn where_the_time_goes_is_shown() {
    let place = Place::new();
    place.shows(
        "breakdown",
        &[
            "hitgap check patches/late-bell.toml --breakdown --tempo 50,120 --fix phase --fix or-gate",
            "hitgap check patches/across-the-room.toml --breakdown --tempo 120 --fix original",
            "hitgap check patches/hand-in-hand.toml --breakdown --tempo 120 --fix original",
            "hitgap check patches/wren-slips.toml --breakdown --tempo 120 --fix original",
        ],
    );
}
