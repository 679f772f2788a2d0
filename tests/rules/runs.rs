//! Chance, from a patch's text to the figures of many runs, against closed forms.
//!
//! All draws are those of a seed, so that every figure is the same whenever this is run; how far it may lie from the
//! closed form is five standard errors, unless it says otherwise.

use hitgap::judge::judge;
use hitgap::judge::runs::{Chances, Figures, Trials, chances, left_to_chance};
use hitgap::patch::{Asked, Patch, Rig};
use hitgap::rig::{Run, play_run};
use hitgap::time::{Span, Tempo};

fn tempo() -> Tempo {
    Tempo::whole(120)
}

fn patch(text: &str) -> Patch {
    Patch::parse(text, &Asked::default()).unwrap_or_else(|f| panic!("{}", f.render("patch", text, false)))
}

fn looked_at(rig: &Rig, runs: u64) -> Chances {
    let trials = Trials { runs, seed: 1, max_gap: Span::from_ms(2), max_wobble: None };
    chances(rig, tempo(), trials, &|| {}).expect("a short piece")
}

fn runs_of(text: &str, runs: u64) -> Chances {
    looked_at(&patch(text).original.rig, runs)
}

fn only_gap(chances: &Chances) -> Figures {
    chances.gaps[0].1.expect("the two meet")
}

#[track_caller]
fn near(found: f64, expected: f64, room: f64) {
    assert!((found - expected).abs() <= room, "{found}, expected {expected} ± {room}");
}

const HEAD: &str = "tempos = [120]\nbars = 8\n[clock.sixteenths]\nrate = \"4 per beat\"\n[clock.beats]\nrate = \"1 per beat\"\n\
                    [clock.home]\nrate = \"1 per 16 beats\"\n";

/// A sequencer on these inputs, without a reset.
fn on(name: &str, rest: &str) -> String {
    format!("[sequencer.{name}]\nsteps = \"x\"\nvoice = \"click\"\n{rest}\n")
}

/// The example: a box that looks every 500 µs, its clock so many microseconds behind its reset.
fn blinking(delay_us: u64) -> Chances {
    let text = std::fs::read_to_string("patches/moth-blinks.toml").expect("the example");
    assert!(text.contains("delay = \"40 us\""));
    let patch = patch(&text.replace("delay = \"40 us\"", &format!("delay = \"{delay_us} us\"")));
    looked_at(&patch.variant("or-gate").expect("a fix").rig, 1500)
}

/// Two edges *d* apart are seen by different looks of a loop of period *P* and random phase with probability
/// min(1, *d*/*P*) (closed form): 8 % for 40 µs of 500, and always from a period on.
#[test]
fn a_cure_shorter_than_the_blink_works_for_its_share_of_resets() {
    for (delay_us, works) in [(40, 0.08), (125, 0.25), (400, 0.8), (500, 1.0), (600, 1.0)] {
        let chances = blinking(delay_us);
        let moth = &chances.sequencers[1];
        assert_eq!((moth.runs.trials(), moth.resets.trials()), (1500, 3000), "two resets a run");
        let off = moth.resets.share().expect("resets");
        // The two resets of a run may go together, so that the runs count: √(p(1 − p)/1500), five times.
        near(1.0 - off, works, 5.0 * (works * (1.0 - works) / 1500.0_f64).sqrt());
        let [low, high] = moth.resets.interval().expect("resets");
        assert!(low <= off && off <= high && high - low < 0.05);
        assert_eq!(chances.sequencers[0].runs.seen(), 0, "Ox does not blink");
        assert_eq!(chances.passes(), works == 1.0);
    }
}

/// Without drift the phase never moves against the beat, and what goes wrong once in a run goes wrong at every reset: at
/// 120 a reset comes every 8 s, which is whole periods.
#[test]
fn without_drift_resets_of_a_run_go_together() {
    let text = std::fs::read_to_string("patches/moth-blinks.toml").expect("the example");
    let still = text.replace("period = \"500 us\"", "period = \"500 us\"\ndrift = \"0 ppm\"");
    let moth = looked_at(&patch(&still).variant("or-gate").expect("a fix").rig, 1000).sequencers[1];
    assert_eq!(2 * moth.runs.seen(), moth.resets.seen());
    let ([a, b], [c, d]) = (moth.runs.interval().expect("runs"), moth.resets.interval().expect("resets"));
    // Two resets that are one trial: as wide as the interval of the runs, up to n/(n − 1).
    near(a, c, 1e-4);
    near(b, d, 1e-4);
}

/// Both boxes are looked after by one loop, one of them 40 µs late: they sound together or a period apart, on average
/// as far as before, with SD √(d(P − d)) = 135.65 µs (closed forms).
#[test]
fn a_poll_makes_a_small_difference_rare_and_large() {
    let text = [
        HEAD,
        "[stage.loop]\nkind = \"poll\"\nperiod = \"500 us\"\n[stage.gate]\nkind = \"delay\"\ndelay = \"40 us\"\n",
        &on("ox", "clock = \"sixteenths\"\npoll = \"loop\""),
        &on("moth", "clock = [\"sixteenths\", \"gate\"]\npoll = \"loop\""),
    ];
    let gap = only_gap(&runs_of(&text.concat(), 400));
    assert_eq!(gap.count, 400 * 128);
    // Hits of a run go together: at worst 400 trials count.
    let se = 135.65 / 20.0;
    near(gap.mean.ms() * 1000.0, 40.0, 5.0 * se);
    // The SD of a share p = 0.08 changes by (1 − 2p)/(2√(p(1 − p))) = 1.55 for each of p; that of p is 0.0136.
    near(gap.sd.ms() * 1000.0, 135.65, 5.0 * 1.55 * 0.0136 * 500.0);
    let [p5, p50, p95, p99] = gap.percentiles.map(|p| p.ms());
    assert_eq!((p5, p50), (0.0, 0.0));
    // A period, give or take 30 ppm.
    near(p95, 0.5, 2e-5);
    near(p99, 0.5, 2e-5);
}

/// The loops run free: SD P/√6 = 0.408248 P (closed form).
#[test]
fn two_free_polls() {
    let text = [
        HEAD,
        "[stage.a]\nkind = \"poll\"\nperiod = \"1 ms\"\n[stage.b]\nkind = \"poll\"\nperiod = \"1 ms\"\n",
        &on("ox", "clock = \"beats\"\npoll = \"a\""),
        &on("moth", "clock = \"beats\"\npoll = \"b\""),
    ];
    let gap = only_gap(&runs_of(&text.concat(), 2500));
    // The kurtosis of a triangle is 2.4: the SD of an SD is 0.408·√(1.4/4n), at worst with n the runs.
    near(gap.sd.ms(), 1.0 / 6.0_f64.sqrt(), 5.0 * 0.408 * (1.4_f64 / 10_000.0).sqrt());
    near(gap.mean.ms(), 0.0, 5.0 * 0.408 / 50.0);
    assert!(gap.worst.abs() < Span::from_ms(1));
}

/// Spread of k polls: (k − 1)/(k + 1)·P, SD √(2(k − 1)/((k + 1)²(k + 2)))·P (closed forms).
#[test]
fn the_spread_of_several_polls() {
    for k in [3_u32, 4, 8] {
        let voice = |n| {
            let clock = format!("clock = \"beats\"\npoll = \"loop-{n}\"");
            format!("[stage.loop-{n}]\nkind = \"poll\"\nperiod = \"1 ms\"\n{}", on(&format!("s{n}"), &clock))
        };
        let text = format!("{HEAD}{}", (0..k).map(voice).collect::<String>());
        let runs = 500;
        let spread = runs_of(&text, runs).spread.expect("three or more");
        assert_eq!(spread.count, runs * 32, "a spread a beat");
        let k = f64::from(k);
        let sd = (2.0 * (k - 1.0) / ((k + 1.0).powi(2) * (k + 2.0))).sqrt();
        near(spread.mean.ms(), (k - 1.0) / (k + 1.0), 5.0 * sd / (runs as f64).sqrt());
        // The SD of an SD of something with a kurtosis of at most 3.
        near(spread.sd.ms(), sd, 5.0 * sd / (2.0 * runs as f64).sqrt());
    }
}

/// Two or one: no spread is told that is not the gap itself.
#[test]
fn two_sequencers_have_no_spread() {
    let text = [HEAD, &on("ox", "clock = \"beats\""), &on("moth", "clock = \"beats\"")].concat();
    assert_eq!(runs_of(&text, 3).spread, None);
    let alone = runs_of(&[HEAD, &on("ox", "clock = \"beats\"")].concat(), 3);
    assert_eq!((alone.gaps.len(), alone.spread), (0, None));
}

fn jittery(shared: bool) -> String {
    let stage = "[stage.loose]\nkind = \"jitter\"\neach = { sd = \"1 ms\" }\n";
    let point = "[wire.point]\npath = [\"sixteenths\", \"loose\"]\n";
    let clock = if shared { "clock = \"wire.point\"" } else { "clock = [\"sixteenths\", \"loose\"]" };
    [HEAD, stage, if shared { point } else { "" }, &on("ox", clock), &on("moth", clock)].concat()
}

/// σ√2, or 1.413456 σ with both cut at 4 σ (closed forms); and nothing where the draws are shared.
#[test]
fn jitter_counts_twice_apart_and_not_at_all_shared() {
    let gap = only_gap(&runs_of(&jittery(false), 500));
    assert_eq!(gap.count, 64_000);
    near(gap.sd.ms(), 1.413_456, 5.0 * 1.4135 / (128_000.0_f64).sqrt());
    near(gap.mean.ms(), 0.0, 5.0 * 1.4135 / 64_000.0_f64.sqrt());
    // 5 and 95 % at ∓1.644854 SD, 99 % at 2.326348 (normal distribution). The SD of a percentile is √(p(1 − p)/n)/density.
    let [p5, p50, p95, p99] = gap.percentiles.map(|p| p.ms() / 1.413_456);
    near(p5, -1.644_854, 5.0 * (0.0475_f64 / 64_000.0).sqrt() / 0.1031);
    near(p95, 1.644_854, 5.0 * (0.0475_f64 / 64_000.0).sqrt() / 0.1031);
    near(p50, 0.0, 5.0 * (0.25_f64 / 64_000.0).sqrt() / 0.3989);
    near(p99, 2.326_348, 5.0 * (0.0099_f64 / 64_000.0).sqrt() / 0.0267);
    assert!(gap.worst.abs() <= Span::from_ms(8), "twice the cut");

    let shared = only_gap(&runs_of(&jittery(true), 20));
    assert_eq!((shared.count, shared.sd, shared.worst), (20 * 128, Span::ZERO, Span::ZERO));
}

/// A limit is itself still acceptable, and judged to the picosecond.
#[test]
fn a_wobble_over_the_limit_fails_though_every_run_passes() {
    let rig = patch(&jittery(false)).original.rig;
    let trials = Trials { runs: 20, seed: 3, max_gap: Span::from_ms(10), max_wobble: None };
    let wobble = |max_wobble| chances(&rig, tempo(), Trials { max_wobble, ..trials }, &|| {}).expect("short");
    let free = wobble(None);
    assert!(free.passes());
    let sd = only_gap(&free).sd;
    assert!(wobble(Some(sd)).passes());
    let over = wobble(Some(Span(sd.0 - 1)));
    assert!(!over.passes());
    assert_eq!(over.wobbling().collect::<Vec<_>>(), [([0, 1], sd)]);
    assert_eq!(over.failing.seen(), 0);
}

/// The same figures, whoever makes which run.
#[test]
fn threads_change_nothing() {
    let text = std::fs::read_to_string("patches/moth-blinks.toml").expect("the example");
    let rig = patch(&text).variant("or-gate").expect("a fix").rig;
    let by = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("threads");
        pool.install(|| looked_at(&rig, 300))
    };
    let one = by(1);
    assert_eq!(one, by(2));
    assert_eq!(one, by(5));
    assert!(one.failing.seen() > 0);
}

/// What the report calls the worst is what that run plays, and it is worse than any other: run by run, by hand.
#[test]
fn the_worst_run_can_be_played_again() {
    let rig = patch(&jittery(false)).original.rig;
    let found = looked_at(&rig, 40);
    let worst_of = |number| {
        let performance = play_run(&rig, tempo(), Run::Drawn { seed: 1, number }).expect("short");
        judge(&rig, &performance, Span::from_ms(2)).expect("short")
    };
    let mut all: Vec<(Span, u64)> = (1..=40).map(|n| (worst_of(n).gaps[0].worst().expect("they meet"), n)).collect();
    let fails = all.iter().filter(|(gap, _)| *gap > Span::from_ms(2)).count() as u64;
    assert_eq!(found.failing.seen(), fails);
    assert_eq!(found.first_failing, all.iter().find(|(gap, _)| *gap > Span::from_ms(2)).map(|w| w.1));
    all.sort_unstable();
    let (gap, number) = all[39];
    assert_eq!((found.worst_run, only_gap(&found).worst_run, only_gap(&found).worst.abs()), (number, number, gap));
}

/// What is said to be left to chance is what differs from run to run, in every example.
#[test]
fn only_what_is_left_to_chance_differs_between_runs() {
    let (mut drawn, mut fixed) = (0, 0);
    for entry in std::fs::read_dir("patches").expect("the examples") {
        let path = entry.expect("an entry").path();
        // What a take plays lies in a file of its own, and nothing of it is drawn.
        let text = match path.extension() {
            // A list of components is no patch.
            _ if path.file_name().is_some_and(|name| name == "components.toml") => continue,
            // Nor is a lesson.
            _ if path.to_string_lossy().ends_with(".lesson.toml") => continue,
            Some(ext) if ext == "toml" => std::fs::read_to_string(&path).expect("text"),
            _ => continue,
        };
        if text.contains("[hits.") {
            continue;
        }
        let patch = patch(&text);
        for variant in std::iter::once(&patch.original).chain(&patch.fixes) {
            let play = |run| play_run(&variant.rig, patch.tempos[0], run).expect("short").tracks;
            let typical = play(Run::Typical);
            let differ = (1..=4).any(|number| play(Run::Drawn { seed: 1, number }) != typical);
            let left = left_to_chance(&variant.rig);
            assert_eq!(differ, !left.is_empty(), "{} {}: {left:?}", path.display(), variant.name);
            if differ { drawn += 1 } else { fixed += 1 }
        }
    }
    assert!(drawn > 0 && fixed > 0);
}

#[test]
fn every_kind_of_chance_is_named_and_nothing_else() {
    let stages = [
        ("sheet", "kind = \"delay\"\ndelay = { min = \"1 us\", typ = \"2 us\", max = \"3 us\" }", true),
        ("sure", "kind = \"delay\"\ndelay = \"2 us\"", false),
        ("free", "kind = \"poll\"\nperiod = \"1 ms\"", true),
        ("given", "kind = \"poll\"\nperiod = \"1 ms\"\nphase = \"0 ms\"\ndrift = \"0 ppm\"", false),
        ("drifts", "kind = \"poll\"\nperiod = \"1 ms\"\nphase = \"0 ms\"", true),
        ("loose", "kind = \"jitter\"\neach = { range = \"1 us\" }", true),
        ("divider", "kind = \"divide\"\nby = 2", false),
    ];
    let used: String = stages.iter().map(|(name, _, _)| format!(", \"{name}\"")).collect();
    let tables: String = stages.iter().map(|(name, text, _)| format!("[stage.{name}]\n{text}\n")).collect();
    let aside = "[stage.aside]\nkind = \"jitter\"\neach = { sd = \"1 us\" }\n";
    let text = format!("{HEAD}{tables}{aside}{}", on("ox", &format!("clock = [\"sixteenths\"{used}]")));
    let expected: Vec<&str> = stages.iter().filter(|s| s.2).map(|s| s.0).collect();
    assert_eq!(left_to_chance(&patch(&text).original.rig), expected);
}

/// The two ways to ask must agree: a reset that the bounds call always right is never wrong in any run, one that they call
/// always wrong never right, and where runs differ it is at risk.
#[test]
fn bounds_and_runs_agree() {
    let mut seen = [0; 3];
    for mode in ["next-clock", "this-clock", "immediate", "sampled"] {
        for (clock, reset) in [
            ("0 us", "0 us"),
            ("40 us", "0 us"),
            ("0 us", "40 us"),
            ("{ min = \"20 us\", typ = \"40 us\", max = \"60 us\" }", "0 us"),
            ("{ min = \"0 us\", typ = \"40 us\", max = \"90 us\" }", "30 us"),
            ("{ min = \"0 us\", typ = \"40 us\", max = \"90 us\" }", "100 us"),
            ("{ min = \"90 us\", typ = \"100 us\", max = \"215 us\" }", "0 us"),
            ("110 us", "{ min = \"0 us\", typ = \"100 us\", max = \"105 us\" }"),
            (
                "{ min = \"20 us\", typ = \"40 us\", max = \"60 us\" }",
                "{ min = \"30 us\", typ = \"35 us\", max = \"70 us\" }",
            ),
            ("0 us", "{ min = \"1 ms\", typ = \"2 ms\", max = \"6 ms\" }"),
            ("0 us", "{ min = \"1 ms\", typ = \"2 ms\", max = \"3 ms\" }"),
        ] {
            let stages = format!(
                "[stage.c]\nkind = \"delay\"\ndelay = {}\n[stage.r]\nkind = \"delay\"\ndelay = {}\n",
                quoted(clock),
                quoted(reset)
            );
            let inputs = "clock = [\"sixteenths\", \"c\"]\nreset = [\"home\", \"r\"]\nreset-mode = ";
            let steps = "[sequencer.ox]\nsteps = \"x...x...x...x...\"\nvoice = \"click\"\n";
            let rig = patch(&format!("{HEAD}{stages}{steps}{inputs}\"{mode}\"\n")).original.rig;
            let at = format!("{mode}, clock {clock}, reset {reset}");
            let performance = play_run(&rig, tempo(), Run::Typical).expect("short");
            // Nothing is at risk for being near: only tolerances count here.
            let sure = hitgap::judge::sure(&rig, &performance, Span::ZERO)[0].expect("a reset that is obeyed");
            let resets = looked_at(&rig, 200).sequencers[0].resets;
            if sure.at_risk == 0 {
                let all = 200 * sure.always_wrong as u64;
                assert_eq!(resets.seen(), all, "{at}: {sure:?}");
                seen[usize::from(all > 0)] += 1;
            } else {
                seen[2] += 1;
            }
        }
    }
    assert!(seen.iter().all(|n| *n > 2), "all three kinds must come: {seen:?}");
}

/// By hand, of a box that takes the pulse after its reset. Where its clock comes 100 us after the reset, only coming earlier loses that:
/// 10 of 100 us leave 90, however late it may come. Where the reset comes 10 us before the clock, only coming later does: 5 us leave 5,
/// however early it may come; and the same where it is the clock that may come earlier. What is off the wrong way leaves less than
/// nothing.
#[test]
fn tolerances_count_on_the_side_on_which_they_are() {
    let sheet = |[min, typ, max]: [u32; 3]| format!("{{ min = \"{min} us\", typ = \"{typ} us\", max = \"{max} us\" }}");
    for (clock, reset, left) in [
        ([90, 100, 195], [0; 3], 90),
        ([90, 100, 215], [0; 3], 90),
        ([5, 100, 101], [0; 3], 5),
        ([110; 3], [0, 100, 105], 5),
        ([110; 3], [99, 100, 125], -15),
        ([105, 110, 200], [100; 3], 5),
        // Both at once, each on its side.
        ([108, 110, 300], [0, 100, 103], 5),
    ] {
        let stages = format!(
            "[stage.c]\nkind = \"delay\"\ndelay = {}\n[stage.r]\nkind = \"delay\"\ndelay = {}\n",
            sheet(clock),
            sheet(reset)
        );
        let inputs = "clock = [\"sixteenths\", \"c\"]\nreset = [\"home\", \"r\"]\nreset-mode = \"next-clock\"\n";
        let steps = "[sequencer.ox]\nsteps = \"x...x...x...x...\"\nvoice = \"click\"\n";
        let rig = patch(&format!("{HEAD}{stages}{steps}{inputs}")).original.rig;
        let performance = play_run(&rig, tempo(), Run::Typical).expect("short");
        let sure = hitgap::judge::sure(&rig, &performance, Span::ZERO)[0].expect("a reset that is obeyed");
        assert_eq!(sure.margin, Some(Span(left * 1_000_000)), "{clock:?}, {reset:?}");
        assert_eq!(sure.at_risk > 0, left < 0, "{clock:?}, {reset:?}");
    }
}

fn quoted(time: &str) -> String {
    if time.starts_with('{') { time.to_owned() } else { format!("\"{time}\"") }
}
