use super::place::Place;
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
    assert_ne!(sounds["loose.original.120bpm.wav"], sounds["loose.original.120bpm-run5.wav"]);
    let manifest: Value = serde_json::from_slice(&place.read("out/manifest.json")).expect("JSON");
    for file in manifest["files"].as_array().expect("files") {
        let drawn = file["file"].as_str().expect("a name").contains("-run5");
        assert_eq!(file.get("run").and_then(Value::as_u64), drawn.then_some(5), "{file}");
    }
}
