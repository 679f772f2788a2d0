use super::place::Place;
use super::wav::Wav;
use serde_json::Value;

/// Two boxes on one clock, each behind a channel of one loose cable.
const LOOSE: &str = "tempos = [120]\nbars = 4\nmax-gap = \"12 ms\"\nmax-wobble = \"1 ms\"\n\
    [clock.sixteenths]\nrate = \"4 per beat\"\n\
    [stage.loose]\nkind = \"jitter\"\neach = { sd = \"1 ms\" }\n\
    [sequencer.ox]\nclock = [\"sixteenths\", \"loose\"]\nsteps = \"x...\"\nvoice = \"kick\"\n\
    [sequencer.moth]\nclock = [\"sixteenths\", \"loose\"]\nsteps = \"x.x.\"\nvoice = \"hat\"\n\
    [fix.shared]\nset.\"wire.point\" = { path = [\"sixteenths\", \"loose\"] }\n\
    set.\"sequencer.ox.clock\" = \"wire.point\"\nset.\"sequencer.moth.clock\" = \"wire.point\"\n";

#[test]
fn chance_for_people() {
    let place = Place::new().with("loose.toml", LOOSE);
    place.shows(
        "runs",
        &[
            "hitgap check patches/moth-blinks.toml --tempo 120",
            "hitgap check patches/moth-blinks.toml --tempo 120 --runs 500",
            "hitgap check patches/late-bell.toml --tempo 120 --fix or-gate --runs 10",
            "hitgap check loose.toml",
            "hitgap check loose.toml --runs 200 --seed 7",
            "hitgap check loose.toml --runs 200 --max-wobble 1.5ms --fix original",
        ],
    );
}

#[test]
fn chance_for_programs() {
    let place = Place::new().with("loose.toml", LOOSE);
    place.shows(
        "runs-formats",
        &[
            "hitgap check patches/moth-blinks.toml --tempo 120 --fix or-gate --runs 300 --format json",
            "hitgap check loose.toml --runs 20 --format csv",
        ],
    );
}

#[test]
fn runs_that_make_no_sense_are_refused() {
    let place = Place::new();
    place.shows(
        "runs-usage",
        &[
            "hitgap check patches/moth-blinks.toml --runs 0",
            "hitgap check patches/moth-blinks.toml --runs 10000001",
            "hitgap check patches/moth-blinks.toml --runs -5",
            "hitgap check patches/moth-blinks.toml --seed 3",
            "hitgap check patches/moth-blinks.toml --max-wobble 1ms",
            "hitgap hits patches/moth-blinks.toml --run 0",
            "hitgap hits patches/moth-blinks.toml --seed 3",
        ],
    );
}

/// Where nothing is left to chance, all that is said of runs but their number is the same however many there are.
#[test]
fn runs_that_are_all_alike_are_told_alike_whatever_their_number() {
    /// All but what tells how many runs there were: the figure, the ends of intervals, which narrow, what is said of both, and the
    /// spread, whose denominator is one less than the number.
    const OF_NUMBER: [&str; 7] = ["runs", "of", "low", "high", "count", "reasons", "sd_ms"];
    fn without(value: &Value) -> Value {
        match value {
            Value::Object(map) => {
                let kept = map.iter().filter(|(key, value)| !OF_NUMBER.contains(&key.as_str()) || value.is_object());
                kept.map(|(key, value)| (key.clone(), without(value))).collect::<serde_json::Map<_, _>>().into()
            }
            Value::Array(all) => all.iter().map(without).collect(),
            other => other.clone(),
        }
    }
    let place = Place::new();
    let of = |runs: u64| -> Value {
        let line = format!("hitgap check patches/late-bell.toml --runs {runs} --format json");
        serde_json::from_str(&place.run(&line).exits(1).stdout).expect("JSON")
    };
    let (few, many) = (of(3), of(10_000_000));
    assert_eq!(without(&few), without(&many));
    let failing = |report: &Value| report["results"][0]["runs"]["failing"]["of"].as_u64();
    assert_eq!((failing(&few), failing(&many)), (Some(3), Some(10_000_000)));
}

/// The run that the report names, played: its widest gap is the report's.
#[test]
fn the_run_that_is_named_is_the_run_that_is_played() {
    let place = Place::new().with("loose.toml", LOOSE);
    let line = "hitgap check loose.toml --fix original --runs 50 --seed 9 --format json";
    let report: Value = serde_json::from_str(&place.run(line).exits(1).stdout).expect("JSON");
    let runs = &report["results"][0]["runs"];
    let (worst, run) = (runs["gaps"][0]["figures"]["worst_ms"].as_f64(), runs["worst_run"].as_u64());
    let (worst, run) = (worst.expect("a gap"), run.expect("a run"));
    let list = |more: &str| place.run(&format!("hitgap hits loose.toml{more}")).exits(0).stdout;
    let hits = list(&format!(" --run {run} --seed 9"));
    let rows: Vec<Vec<&str>> = hits.lines().skip(1).map(|l| l.split(',').collect()).collect();
    let of = |name: &str| -> Vec<(&str, f64)> {
        rows.iter().filter(|r| r[3] == name).map(|r| (r[2], r[0].parse().expect("seconds"))).collect()
    };
    let moth = of("moth");
    let gaps = of("ox").into_iter().filter_map(|(due, ox)| Some((moth.iter().find(|m| m.0 == due)?.1 - ox).abs()));
    // Seconds have twelve decimals: half a picosecond each, in milliseconds.
    assert!((gaps.fold(0.0, f64::max) * 1000.0 - worst).abs() < 1e-9);
    assert_ne!(hits, list(""));
    assert_ne!(hits, list(&format!(" --run {run}")), "another seed, other draws");
    assert_eq!(list(""), list(""));
}

#[test]
fn a_drawn_run_is_written_beside_the_typical_one() {
    let place = Place::new().with("loose.toml", LOOSE);
    place.run("hitgap render loose.toml --bars 1 --out out").exits(0);
    place.run("hitgap render loose.toml --bars 1 --out out --run 5 --stems").exits(0);
    place.run("hitgap compare loose.toml --bars 1 --out out --run 5").exits(0);
    let names = [
        "loose.original+shared.120bpm-run5.wav",
        "loose.original.120bpm-run5.matched.wav",
        "loose.original.120bpm-run5.moth.wav",
        "loose.original.120bpm-run5.ox.wav",
        "loose.original.120bpm-run5.wav",
        "loose.original.120bpm.wav",
        "loose.shared.120bpm-run5.matched.wav",
    ];
    let sounds = place.sounds("out");
    assert_eq!(sounds.keys().map(String::as_str).collect::<Vec<_>>(), names);
    // A file says its run: what is heard is asked here.
    let heard = |name: &str| Wav::read(&sounds[name]).channels;
    assert!(heard("loose.original.120bpm.wav") != heard("loose.original.120bpm-run5.wav"));
    let manifest: Value = serde_json::from_slice(&place.read("out/manifest.json")).expect("JSON");
    for file in manifest["files"].as_array().expect("files") {
        let drawn = file["file"].as_str().expect("a name").contains("-run5");
        assert_eq!(file.get("run").and_then(Value::as_u64), drawn.then_some(5), "{file}");
    }
}

/// Takes count too: 2 ms on beats 0 and 2, 7 on beat 1, where Wren's take joins Ox; on beat 3 Ox is alone.
#[test]
fn a_take_is_part_of_the_spread_of_a_beat() {
    let patch = "tempos = [120]\nbars = 1\nmax-gap = \"10 ms\"\n[clock.beats]\nrate = \"1 per beat\"\n\
        [sequencer.ox]\nclock = \"beats\"\nsteps = \"x\"\nvoice = \"kick\"\n\
        [sequencer.moth]\nclock = \"beats\"\nsteps = \"x.\"\nvoice = \"hat\"\nlatency = \"2 ms\"\n\
        [hits.wren]\nfile = \"take.csv\"\nvoice = \"snare\"\ngrid = \"1 per beat\"\n";
    let place = Place::new().with("take.toml", patch).with("take.csv", "time_s\n0.507\n");
    let ran = place.run("hitgap check take.toml --runs 2 --format json");
    let report: Value = serde_json::from_str(&ran.stdout).unwrap_or_else(|e| panic!("{e}: {}", ran.stderr));
    let spread = &report["results"][0]["runs"]["spread"];
    assert_eq!((spread["count"].as_u64(), spread["worst_ms"].as_f64()), (Some(6), Some(7.0)), "{spread}");
    assert_eq!((spread["mean_ms"].as_f64(), spread["p50_ms"].as_f64()), (Some(3.666_666_667), Some(2.0)));
}
