//! Tempo maps in a patch: what is heard when, held against closed forms and against sums made by hand.

use hitgap::hits::list;
use hitgap::patch::{Asked, Meter, Patch, Rig};
use hitgap::rig::{play, play_by_edges};
use hitgap::sound::score::{Bars, Version, segments};
use hitgap::time::{Beat, Instant, Span, Tempo};

/// A patch with one output, one sequencer that plays on every pulse, and some lines at the top and at the output.
fn patch(top: &str, output: &str) -> Patch {
    let source =
        format!("{top}\n[clock.pulse]\n{output}\n[sequencer.ox]\nclock = \"pulse\"\nsteps = \"x\"\nvoice = \"kick\"\n");
    Patch::parse(&source, &Asked::default()).unwrap_or_else(|f| panic!("{}", f.render("test", &source, false)))
}

fn times(rig: &Rig, bpm: u64) -> Vec<i64> {
    let tempo = Tempo::whole(bpm);
    let performance = play(rig, tempo).expect("short");
    let edges = play_by_edges(rig, tempo).expect("short");
    assert_eq!(performance.tracks, edges.tracks, "both ways of playing agree");
    list(rig, &performance).iter().map(|h| h.at.0).collect()
}

const MS: i64 = 1_000_000_000;

/// Closed forms for 120 → 150 over 16 beats and 60 → 120 over 4; the four readings are told apart by F. Adriaensen
/// (linux-audio-dev). 2 ps is what the program promises for a ramp of up to an hour.
#[test]
fn four_readings_of_a_ramp() {
    let cases = [
        (120, 150, 16, [7_111_111_111_111_i64, 7_140_593_642_055, 7_170_272_188_359, 7_200_000_000_000]),
        (60, 120, 4, [2_666_666_666_667, 2_772_588_722_240, 2_885_390_081_778, 3_000_000_000_000]),
    ];
    let shapes = ["linear-in-time", "linear-in-beats", "exponential-in-beats", "linear-period"];
    for (from, to, over, ends) in cases {
        for (shape, end) in shapes.iter().zip(ends) {
            let map = format!("{{ at = \"0 beats\", tempo = {to}, over = \"{over} beats\", shape = \"{shape}\" }}");
            let patch = patch(&format!("bars = 5\ntempo-map = [{map}]"), "rate = \"1 per beat\"");
            let times = times(&patch.original.rig, from);
            assert_eq!(times.len(), 20);
            assert!((times[over] - end).abs() <= 2, "{shape} to {to}: {} for {end}", times[over]);
            // From there on the tempo stands still: exactly even to the rounding of each.
            let beat = 60_000 * MS as i128;
            for n in over..20 {
                let even = i128::from(times[over]) + (n - over) as i128 * beat / to;
                assert!((i128::from(times[n]) - even).abs() <= 1);
            }
        }
    }
}

/// By hand: 120, from beat 4 on twice as fast, so that beats last 500 and then 250 ms. Phase and swing act in beats,
/// shift and a width in time; a share of the period is a share of the beats.
#[test]
fn phase_and_swing_follow_the_map_and_shift_does_not() {
    let map = "bars = 2\ntempo-map = [{ at = \"4 beats\", tempo = \"200 %\" }]";
    let of = |output: &str| times(&patch(map, output).original.rig, 120);
    let ms = |list: &[i64]| list.iter().map(|ms| ms * MS).collect::<Vec<_>>();
    assert_eq!(of("rate = \"1 per 2 beats\""), ms(&[0, 1000, 2000, 2500]));
    // A tenth of two beats.
    assert_eq!(of("rate = \"1 per 2 beats\"\nphase = \"10 %\""), ms(&[100, 1100, 2050, 2550]));
    assert_eq!(of("rate = \"1 per 2 beats\"\nphase = \"-10 %\""), ms(&[900, 1900, 2450]));
    assert_eq!(of("rate = \"1 per 2 beats\"\nshift = \"10 ms\""), ms(&[10, 1010, 2010, 2510]));
    // Odd pulses are meant for beats 3 and 7 instead of 2 and 6.
    assert_eq!(of("rate = \"1 per 2 beats\"\nswing = \"75 %\""), ms(&[0, 1500, 2000, 2750]));
    let falls = |output: &str| -> Vec<i64> {
        let rig = patch(map, output).original.rig;
        play(&rig, Tempo::whole(120)).expect("short").timelines[0].pulses(rig.end).map(|p| p.fall.0).collect()
    };
    assert_eq!(falls("rate = \"1 per 2 beats\"\nwidth = \"7 ms\""), ms(&[7, 1007, 2007, 2507]));
    assert_eq!(falls("rate = \"1 per 2 beats\"\nwidth = \"50 %\""), ms(&[500, 1500, 2250, 2750]));
    // A pulse from before the change to after it.
    assert_eq!(falls("rate = \"1 per 3 beats\"\nwidth = \"50 %\"")[1], 2125 * MS);
    assert_eq!(falls("rate = \"1 per 2 beats\""), ms(&[5, 1005, 2005, 2505]));
}

/// A share keeps its meaning at every tempo with which the piece begins; a number does not.
#[test]
fn a_share_is_of_the_tempo_that_is_asked_for() {
    let of = |tempo: &str, bpm| {
        let patch =
            patch(&format!("bars = 2\ntempo-map = [{{ at = \"4 beats\", tempo = {tempo} }}]"), "rate = \"1 per beat\"");
        let times = times(&patch.original.rig, bpm);
        (times[5] - times[4]) / MS
    };
    assert_eq!([of("\"150 %\"", 100), of("\"150 %\"", 50)], [400, 800]);
    assert_eq!([of("150", 100), of("150", 50)], [400, 400]);
}

/// A map that changes nothing moves no picosecond, whatever the output.
#[test]
fn a_map_that_changes_nothing_changes_nothing() {
    for output in [
        "rate = \"7 per 3 beats\"\nphase = \"-3.7 %\"\nshift = \"-1.25 ms\"",
        "rate = \"3 per beat\"\nswing = \"61.8 %\"\nwidth = \"11 %\"\nphase = \"33.3333 %\"",
        "at = \"start\"\nshift = \"3 ms\"",
    ] {
        let plain = patch("bars = 3", output).original.rig;
        let mapped = patch("bars = 3\ntempo-map = [{ at = \"3 beats\", tempo = \"100 %\" }]", output).original.rig;
        // Beats of whole picoseconds, so that the change stands at one.
        for bpm in [60, 75, 96, 120, 250] {
            assert_eq!(times(&plain, bpm), times(&mapped, bpm));
            let pulses = |rig: &Rig| -> Vec<_> {
                play(rig, Tempo::whole(bpm)).expect("short").timelines[0].pulses(rig.end).collect()
            };
            assert_eq!(pulses(&plain), pulses(&mapped));
        }
    }
}

/// Who is off is off by the beats and the time that lie between, at the tempo that is then.
#[test]
fn an_offset_is_told_in_the_time_of_its_place() {
    let source = include_str!("../../patches/late-bell.toml");
    let mapped = source.replace("bars   = 8", "bars = 8\ntempo-map = [{ at = \"16 beats\", tempo = \"200 %\" }]");
    let patch = Patch::parse(&mapped, &Asked::default()).expect("good");
    let rig = &patch.original.rig;
    let performance = play(rig, Tempo::whole(50)).expect("short");
    let verdict = hitgap::judge::judge(rig, &performance, patch.max_gap).expect("short");
    // Two beats, as in the patch without a map; the first one at which it is so is beat 0, at 50: 2400 ms.
    assert_eq!(verdict.standings[1].late_worst, Some(1));
    assert_eq!(verdict.standings[1].off_by, Some(Span::from_ms(2400)));
    let end = rig.clockwork(Tempo::whole(50)).instant(rig.end);
    assert_eq!(end, Instant((16 * 1200 + 16 * 600) * MS));
}

/// An alternation plays bars at the tempos that they have in the piece: by hand, 120 for two bars, then 240.
#[test]
fn turns_last_as_long_as_their_bars() {
    let rig = patch("bars = 8\ntempo-map = [{ at = \"8 beats\", tempo = 240 }]", "rate = \"1 per beat\"").original.rig;
    let performance = play(&rig, Tempo::whole(120)).expect("short");
    let meter = Meter { count: 4, unit: 4 };
    let clockwork = rig.clockwork(Tempo::whole(120));
    let hits = list(&rig, &performance);
    let version = Version { rig: &rig, performance: &performance, hits: &hits };
    let plan = segments([version, version], &Bars::new(meter, &clockwork));
    let beats = |n| Beat::from_integer(n);
    // Bars of 2 s: two make 4 s, at least 3. Then bars of 1 s: three. A rest of two beats of 500 ms, since one is under
    // 0.6 s; half of it is not enough.
    let seen: Vec<_> = plan.iter().map(|t| (t.side, t.from, t.to, t.at.0 / MS)).collect();
    let expected = [
        (0, beats(0), beats(8), 0),
        (1, beats(0), beats(8), 5000),
        (0, beats(8), beats(20), 10_000),
        (1, beats(8), beats(20), 14_000),
        (0, beats(20), beats(32), 18_000),
        (1, beats(20), beats(32), 22_000),
    ];
    assert_eq!(seen, expected);
    assert_eq!(plan[2].place(&clockwork, Instant(4250 * MS)), Instant(10_250 * MS));
    assert_eq!(plan[5].end(&clockwork), Span::from_ms(25_000));
}

/// `patches/lantern-hurries.toml`: one per cent of two beats is 24 ms at 50 and 12 ms at twice that, 15 and 7.5 ms at 80; a
/// gate's 40 µs are the same at every tempo.
#[test]
fn a_share_of_a_period_shrinks_as_the_tempo_grows() {
    let source = include_str!("../../patches/lantern-hurries.toml");
    let patch = Patch::parse(source, &Asked::default()).expect("good");
    for (tempo, most, least) in [(50, 24_000, 12_000), (80, 15_000, 7_500)] {
        for (fix, range) in [(0, (least, most)), (1, (40, 40))] {
            let rig = &patch.fixes[fix].rig;
            let performance = play(rig, Tempo::whole(tempo)).expect("short");
            let verdict = hitgap::judge::judge(rig, &performance, patch.max_gap).expect("short");
            let stats = verdict.gaps[0].stats.expect("they pair");
            let us = |span: Span| (span.0 + 500_000) / 1_000_000;
            assert_eq!((us(stats.min), us(stats.max)), range, "{} at {tempo}", patch.fixes[fix].name);
            assert!(verdict.standings.iter().all(|s| s.right));
        }
    }
}
