//! Products: what is little for itself and too much together is refused with the figure and the bound, or never made.

use super::absurd::{refused, run};
use super::place::Place;

/// What one part of a request asks for is little; what all of them make together is not.
#[test]
fn products_without_end_are_refused() {
    let box_of = |name: usize| format!("[sequencer.s{name}]\nclock = \"c\"\nsteps = \"x\"\nvoice = \"kick\"\n");
    let fix = |name: usize| format!("[fix.f{name}]\nset.\"clock.c.phase\" = \"{}.{:03} %\"\n", name / 100, name % 100);
    let clock = "bars = 1\n[clock.c]\nrate = \"1 per beat\"\n";
    let many = |boxes: usize, fixes: usize| -> String {
        let boxes = (0..boxes).map(box_of);
        std::iter::once(clock.to_owned()).chain(boxes).chain((0..fixes).map(fix)).collect()
    };
    let delays: Vec<String> = (0..9_000).map(|n| format!("{n}us")).collect();
    let fast = clock.replace("1 per beat", "10000 per beat").replace("bars = 1", "bars = 250");
    let place = Place::new()
        .with("boxes.toml", many(256, 256))
        .with("fixes.toml", many(2, 256))
        .with("crowd.toml", many(4, 256))
        .with("fast.toml", format!("{fast}{}", box_of(0)))
        .with("long.toml", format!("{}{}", fast.replace("250", "20"), many(2, 30).replace(clock, "")));
    // 257 variants of 256 boxes and 256·255/2 pairs: 32,896 figures each.
    for format in ["table", "json", "csv"] {
        let line = format!("hitgap check boxes.toml --tempo 60 --format {format}");
        refused(&place, &line, 2, &["8454272 figures of 257 variants", "4228 MB", "at most 1500 MB"]);
    }
    refused(&place, "hitgap check crowd.toml --tempo 1..1000:1 --plot", 2, &["figures", "at most 1500 MB"]);
    // 1 + 2·256 files a tempo, and a page; 257 mixes.
    let compare = "hitgap compare fixes.toml --tempo 1..1000:1";
    refused(&place, compare, 2, &["513001 files, and at most 10000"]);
    refused(&place, &format!("{compare} --no-page"), 2, &["513000 files, and at most 10000"]);
    let every: String = (0..256).map(|n| format!(" --fix f{n}")).collect();
    refused(&place, &format!("hitgap render fixes.toml --tempo 1..1000:1{every}"), 2, &["256000 files"]);
    refused(&place, &format!("hitgap flam --delay {} --tempo 1..1000:1", delays.join(",")), 2, &["9000000 files"]);
    refused(
        &place,
        &format!("hitgap flam --delay {} --page", delays[..51].join(",")),
        2,
        &["51 settings", "at most 50"],
    );
    let sweep = "hitgap sweep boxes.toml --on sequencer.s0.clock --delay 0ms..999ms:1ms --tempo";
    refused(&place, &format!("{sweep} 1..1000:1"), 2, &["1000000 files, and at most 10000"]);
    refused(&place, &format!("{sweep} 60"), 2, &["32896000 figures of 1000 variants", "at most 1500 MB"]);
    // Ten million pulses: some 3 GB as a MIDI file in the making.
    refused(&place, "hitgap hits fast.toml --format midi --out hits.mid", 2, &["10000000 hits", "3200 MB", "1500 MB"]);
    refused(&place, "hitgap hits fast.toml", 2, &["10000000 hits", "at most 1500 MB"]);
    assert!(!place.path("hits.mid").exists());
    refused(&place, "hitgap compare long.toml", 2, &["49600000 hits", "at most 1500 MB"]);
    let lesson = "title = \"t\"\n[[chapter]]\nheading = \"a\"\ntext = \"b\"\npatch = \"long.toml\"\n";
    let place = place.with("long.lesson.toml", lesson);
    let ran = run(&place, "hitgap lesson long.lesson.toml").exits(2);
    assert!(ran.stderr.contains("49600000 hits") && ran.stderr.contains("at most 1500 MB"), "{}", ran.stderr);
}

/// Gaps of two boxes of which one plays 2000 and the other 1999 hits that are due on one beat: four million a beat.
#[test]
fn hits_that_share_a_due_beat_are_not_multiplied() {
    let clock = |name: &str, rate: usize| format!("[clock.{name}]\nrate = \"{rate} per beat\"\n");
    let sequencer = |name: &str| {
        format!(
            "[sequencer.{name}]\nclock = \"c\"\nreset = \"{name}\"\nreset-mode = \"immediate\"\nholdoff = \"0 us\"\n\
             steps = \"x\"\nvoice = \"kick\"\n"
        )
    };
    let reset =
        [clock("c", 1), clock("x", 2000), clock("y", 1999), sequencer("x"), sequencer("y"), "bars = 64\n".to_owned()];
    let [head @ .., bars] = reset;
    // Hits a microsecond apart from the start on, all due on beat 0.
    let take = |n: usize| {
        let rows = (0..n).map(|i| format!("0.{:06},0\n", 2 * i));
        std::iter::once("time_s,due_beat\n".to_owned()).chain(rows).collect::<String>()
    };
    let takes = ["x", "y"].map(|name| format!("[hits.{name}]\nfile = \"{name}.csv\"\nvoice = \"kick\"\n")).concat();
    let place = Place::new()
        .with("reset.toml", format!("{bars}{}", head.concat()))
        .with("takes.toml", format!("bars = 1\n{takes}"))
        .with("x.csv", take(30_000))
        .with("y.csv", take(29_999));
    let ran = run(&place, "hitgap check reset.toml --tempo 120 --format json").exits(1);
    let report: serde_json::Value = serde_json::from_str(&ran.stdout).expect("JSON");
    let paired = report["results"][0]["gaps"][0]["paired"].as_u64();
    assert!(paired.is_some_and(|n| n > 200 * 2000 * 1999), "{paired:?}");
    let ran = run(&place, "hitgap check takes.toml --tempo 120 --format json").exits(1);
    let report: serde_json::Value = serde_json::from_str(&ran.stdout).expect("JSON");
    let gap = &report["results"][0]["gaps"][0];
    assert_eq!(gap["paired"], 30_000_u64 * 29_999);
    // Rows with steps of 2 µs, the second one hit shorter: the ends are the last of one against the first of the other, and
    // half of all differences lie on either side of −1 µs (closed form).
    assert_eq!(
        [&gap["min_ms"], &gap["median_ms"], &gap["max_ms"]].map(|v| v.as_f64()),
        [-59.998, -0.001, 59.996].map(Some)
    );
    // Where nothing is drawn all runs are one. With a box whose wire is drawn, which meets both rows on beat 0 (closed form):
    // (30000·29999 + 30000 + 29999) gaps a run.
    let drawn = "[clock.c]\nrate = \"1 per 4 beats\"\n[stage.wire]\nkind = \"delay\"\ndelay = { typ = \"1 us\", max = \"2 us\" }\n\
                 [sequencer.z]\nclock = [\"c\", \"wire\"]\nsteps = \"x\"\nvoice = \"kick\"\n";
    let place = place.with("drawn.toml", format!("bars = 1\n{takes}{drawn}"));
    let runs = "hitgap check drawn.toml --tempo 120 --runs 10000000";
    refused(&place, runs, 2, &["9000299990000000 gaps", "at most 1000000000000"]);
}
