//! Boxes, stages, wires and voices that are set anew in the middle of a piece: by hand, in closed forms, and by what must
//! stay the same.

use hitgap::hits::{Hit, list};
use hitgap::judge::{judge, sure};
use hitgap::patch::{Asked, Patch, Rig};
use hitgap::rig::{Run, play, play_run};
use hitgap::time::{Beat, Instant, Span, Tempo};
use proptest::prelude::*;

fn read(source: &str) -> Patch {
    Patch::parse(source, &Asked::default()).unwrap_or_else(|f| panic!("{}", f.render("test", source, false)))
}

/// Eight bars at 120: a sixteenth is 125 ms, beat 16 is at 8 s.
fn rig(rest: &str) -> Rig {
    read(&format!(
        "bars = 8\n[clock.a]\nrate = \"4 per beat\"\n[clock.home]\nrate = \"1 per 4 beats\"\n[clock.other]\nrate = \"1 per 8 beats\"\n{rest}"
    ))
    .original
    .rig
}

fn hits(rig: &Rig) -> Vec<Hit> {
    list(rig, &play(rig, Tempo::whole(120)).expect("short"))
}

/// When each hit sounds, in microseconds.
fn times(rig: &Rig) -> Vec<i64> {
    hits(rig).iter().map(|h| h.at.0 / 1_000_000).collect()
}

/// How late each hit is against the sixteenth before, in microseconds.
fn late(rig: &Rig) -> Vec<i64> {
    times(rig).iter().map(|at| at % 125_000).collect()
}

const OX: &str = "[sequencer.ox]\nclock = \"a\"\nsteps = \"x\"\nvoice = \"kick\"\n";
const THROUGH: &str = "[sequencer.ox]\nclock = [\"a\", \"gate\"]\nsteps = \"x\"\nvoice = \"kick\"\n";

fn change(after: &str, set: &str) -> String {
    format!("[[change]]\nafter = \"{after} beats\"\n{set}\n")
}

/// The first sixteenths have the one lateness, those from beat 16 on the other.
fn jumps(rig: &Rig, before: i64, after: i64) {
    let late = late(rig);
    assert_eq!(late.len(), 128);
    assert!(late[..64].iter().all(|l| *l == before), "{late:?}");
    assert!(late[64..].iter().all(|l| *l == after), "{late:?}");
}

#[test]
fn a_delay_of_three_milliseconds_becomes_ten() {
    let stage = "[stage.gate]\nkind = \"delay\"\ndelay = \"3 ms\"\n";
    jumps(&rig(&format!("{stage}{THROUGH}{}", change("16", "set.\"stage.gate.delay\" = \"10 ms\""))), 3000, 10_000);
    // And back: the pulse of beat 15.75 is long through.
    let ten = stage.replace('3', "10");
    jumps(&rig(&format!("{ten}{THROUGH}{}", change("16", "set.\"stage.gate.delay\" = \"3 ms\""))), 10_000, 3000);
    // Behind the sequencer it is the same.
    let out = format!("{stage}{OX}out = [\"gate\"]\n{}", change("16", "set.\"stage.gate.delay\" = \"10 ms\""));
    jumps(&rig(&out), 3000, 10_000);
}

/// A pulse of 5 ms that is half in when its delay is turned from 3 to 50 ms is completed with 3: rise and fall.
#[test]
fn a_pulse_within_a_delay_is_completed() {
    // Pulse 64 rises at 8 s; beat 16.005 is 2.5 ms later.
    let of = |to: &str| {
        let source = format!(
            "[stage.gate]\nkind = \"delay\"\ndelay = \"3 ms\"\n[sequencer.ox]\nclock = [\"a\", \"gate\"]\nclock-edge = \"fall\"\n\
             steps = \"x\"\nvoice = \"kick\"\n{}",
            change("16.005", &format!("set.\"stage.gate.delay\" = \"{to}\""))
        );
        late(&rig(&source))[63..66].to_vec()
    };
    assert_eq!(of("50 ms"), [8000, 8000, 55_000]);
    assert_eq!(of("1 ms"), [8000, 8000, 6000]);
}

#[test]
fn values_of_a_box_hold_from_the_beat_on() {
    let to = |set: &str| rig(&format!("{OX}{}", change("16", set)));
    jumps(&to("set.\"sequencer.ox.latency\" = \"7 ms\""), 0, 7000);
    jumps(&to("set.\"sequencer.ox.offset\" = \"7 ms\""), 0, 7000);
    // What is gathered is late by the time of gathering; a pulse is seen when it is old enough.
    jumps(&to("set.\"sequencer.ox.gathers\" = \"2 ms\""), 0, 2000);
    jumps(&to("set.\"sequencer.ox.input\" = { min-high = \"1 ms\" }"), 0, 1000);
    // A pulse is 5 ms long.
    jumps(&to("set.\"sequencer.ox.clock-edge\" = \"fall\""), 0, 5000);
    // Four pulses a step from beat 16 on: 64 hits and then 16.
    let slower = to("set.\"sequencer.ox.pulses-per-step\" = 4");
    assert_eq!(hits(&slower).len(), 64 + 16);
}

/// Steps are counted on: a shorter pattern goes on from the step modulo its length.
#[test]
fn a_pattern_is_changed() {
    let of = |steps: &str, to: &str, after: &str| {
        let source = format!(
            "[sequencer.ox]\nclock = \"a\"\nsteps = \"{steps}\"\nvoice = \"kick\"\n{}",
            change(after, &format!("set.\"sequencer.ox.steps\" = \"{to}\""))
        );
        hits(&rig(&source)).iter().map(|h| (h.at.0 / 125_000_000_000, h.step)).collect::<Vec<_>>()
    };
    let expected = |next: usize, length: usize| (0..128 - 58).map(move |k| (58 + k as i64, (next + k) % length + 1));
    // After pulse 57 of eight steps the next is step 58 mod 8 = 2 (from 0); of three steps 2, of two 0.
    for (to, next, length) in [("xxx", 2, 3), ("xx", 0, 2), ("xxxxxxxxxx", 2, 10)] {
        let found = of("xxxxxxxx", to, "14.5");
        assert!(found[58..].iter().copied().eq(expected(next, length)), "{to}: {:?}", &found[56..70]);
        assert!(found[..58].iter().enumerate().all(|(k, (at, step))| (*at, *step) == (k as i64, k % 8 + 1)));
    }
    // Rests where there were hits.
    assert_eq!(of("x", ".", "16").len(), 64);
}

#[test]
fn a_reset_is_set_anew_and_plugged_elsewhere() {
    let ox = "[sequencer.ox]\nclock = \"a\"\nreset = \"home\"\nreset-mode = \"this-clock\"\nsteps = \"XxxxxxxxxxxxxxxxxxxxXxxxxxxxxxxx\"\nvoice = \"kick\"\n";
    let ones = |set: &str| {
        let rig = rig(&format!("{ox}{}", change("15", set)));
        hits(&rig).iter().filter(|h| h.step == 1).map(|h| h.at.0 / 500_000_000_000).collect::<Vec<_>>()
    };
    // Every bar; from beat 16 on every second, every pattern of 32 sixteenths, or a sixteenth early and twice.
    assert_eq!(ones("set.\"sequencer.ox.latency\" = \"1 ms\""), [0, 4, 8, 12, 16, 20, 24, 28]);
    assert_eq!(ones("set.\"sequencer.ox.reset\" = \"other\""), [0, 4, 8, 12, 16, 24]);
    assert_eq!(ones("set.\"sequencer.ox.reset-mode\" = \"ignored\""), [0, 4, 8, 12, 20, 28]);
    // The next clock after the reset is a sixteenth late.
    let next = rig(&format!("{ox}{}", change("15", "set.\"sequencer.ox.reset-mode\" = \"next-clock\"")));
    let firsts: Vec<i64> = hits(&next).iter().filter(|h| h.step == 1).map(|h| h.at.0 / 125_000_000_000).collect();
    assert_eq!(firsts, [0, 16, 32, 48, 65, 81, 97, 113]);
    let off = judge(&next, &play(&next, Tempo::whole(120)).expect("short"), Span::from_ms(2)).expect("short");
    let off: Vec<_> = off.standings[0].off.iter().map(|o| (o.from, o.pulses_late)).collect();
    // Pulse 64 still plays step 17, half a pattern off, before the reset that came with it acts.
    assert_eq!(off[..2], [(Beat::new(16, 1), 16), (Beat::new(65, 4), 1)], "{off:?}");
}

#[test]
fn a_gate_is_plugged_in_and_out_again() {
    let gate = "[stage.gate]\nkind = \"delay\"\ndelay = \"4 ms\"\n";
    let both = change("16", "set.\"sequencer.ox.clock\" = [\"a\", \"gate\"]");
    jumps(&rig(&format!("{gate}{OX}{both}")), 0, 4000);
    let out = change("16", "set.\"sequencer.ox.clock\" = \"a\"");
    jumps(&rig(&format!("{gate}{THROUGH}{out}")), 4000, 0);
    // The same over a shared point that several hang on.
    let wire = format!("{gate}[wire.w]\npath = \"a\"\n{}", OX.replace("\"a\"", "\"wire.w\""));
    jumps(&rig(&format!("{wire}{}", change("16", "set.\"wire.w.path\" = [\"a\", \"gate\"]"))), 0, 4000);
}

/// Plugged in while the new wire is high, the box sees a rise; with the old one high too, none.
#[test]
fn who_is_plugged_in_sees_the_level_of_the_wire() {
    let of = |from: &str, to: &str| {
        let source = format!(
            "[stage.not]\nkind = \"logic\"\ndoes = \"not\"\n[sequencer.ox]\nclock = {from}\nsteps = \"x\"\nvoice = \"kick\"\n{}",
            change("16.1", &format!("set.\"sequencer.ox.clock\" = {to}"))
        );
        times(&rig(&source)).into_iter().filter(|at| (7_950_000..8_200_000).contains(at)).collect::<Vec<_>>()
    };
    // Beat 16.1 is at 8.050 s: `a` is low and its opposite high; that rises at the end of each pulse of 5 ms.
    assert_eq!(of("\"a\"", "[\"a\", \"not\"]"), [8_000_000, 8_050_000, 8_130_000]);
    assert_eq!(of("[\"a\", \"not\"]", "\"a\""), [8_005_000, 8_125_000]);
}

/// A charge goes on from where it stands. τ = 1 ms towards 5 V, read at 2.5 V; 0.3 ms after the rise τ becomes 4 ms: half
/// is reached at 0.3 ms + 4·(ln 2 − 0.3) ms (closed form of two exponentials, one after the other).
#[test]
fn a_charge_goes_on() {
    let source = format!(
        "[stage.gate]\nkind = \"rc\"\nr = \"10 kohm\"\nc = \"100 nF\"\nhigh = \"5 V\"\nthreshold-rise = \"2.5 V\"\nthreshold-fall = \"2.5 V\"\n{}{}",
        THROUGH.replace("\"4 per beat\"", "\"1 per beat\""),
        change("16.0006", "set.\"stage.gate.c\" = \"400 nF\"")
    );
    let late = late(&rig(&source));
    let expected = 300.0 + 4000.0 * (std::f64::consts::LN_2 - 0.3);
    assert_eq!(late[63], 693);
    // The fall of each 5 ms pulse leaves e^(−120/4) of the charge: nothing.
    assert!((late[64] as f64 - expected).abs() <= 1.0, "{} {expected}", late[64]);
    assert_eq!(late[70], 2772);
}

#[test]
fn a_divider_counts_on_and_a_multiplier_divides_anew() {
    let of = |stage: &str, set: &str| {
        let source = format!("{stage}{THROUGH}{}", change("16", set));
        let rig = rig(&source);
        let verdict = judge(&rig, &play(&rig, Tempo::whole(120)).expect("short"), Span::from_ms(2)).expect("short");
        (hits(&rig), verdict.standings[0].clone())
    };
    let (divided, _) = of("[stage.gate]\nkind = \"divide\"\nby = 4\n", "set.\"stage.gate.by\" = 2");
    let pulses: Vec<i64> = divided.iter().map(|h| h.at.0 / 125_000_000_000).collect();
    let expected: Vec<i64> = (0..128).filter(|k| k % if *k < 64 { 4 } else { 2 } == 0).collect();
    assert_eq!(pulses, expected);
    // Two a pulse, then three: numbers count in sixths all along, and every hit is due where it sounds (but the second
    // pulse of all, before which a multiplier is silent).
    let (multiplied, standing) = of("[stage.gate]\nkind = \"multiply\"\nby = 2\n", "set.\"stage.gate.by\" = 3");
    assert_eq!(multiplied.len(), 63 * 2 + 64 * 3);
    assert_eq!(standing.scale, 6);
    for hit in &multiplied {
        // 500 ms a beat; a third of 125 ms is rounded.
        let ideal = hit.beat * 500_000_000_000;
        assert!((i128::from(hit.at.0) - ideal.round().to_integer()).abs() <= 1, "{hit:?}");
    }
}

#[test]
fn a_voice_is_heard_from_then_on() {
    let two = "[voice.low]\nmodel = \"kick\"\n";
    let of = |ox: &str, set: &str| {
        let rig = rig(&format!("{two}{ox}{}", change("16", set)));
        let voices: Vec<_> = hits(&rig).iter().map(|h| rig.voices[h.voice].clone()).collect();
        voices
    };
    let other = of(OX, "set.\"sequencer.ox.voice\" = \"low\"");
    assert!(other[..64].iter().all(|v| v.name == "kick") && other[64..].iter().all(|v| v.name == "low"));
    let louder = of(OX, "set.\"voice.kick.level\" = \"-7 dB\"");
    assert!(louder.iter().all(|v| v.name == "kick"));
    assert!(louder[..64].iter().all(|v| v.level_db != -7.0) && louder[64..].iter().all(|v| v.level_db == -7.0));
}

/// Half of all devices are slower than typical; who is among the fastest tenth stays there.
#[test]
fn a_device_keeps_its_standing() {
    let source = format!(
        "[stage.gate]\nkind = \"delay\"\ndelay = {{ min = \"1 ms\", typ = \"2 ms\", max = \"3 ms\" }}\n{THROUGH}{}",
        change("16", "set.\"stage.gate.delay\" = { min = \"10 ms\", typ = \"20 ms\", max = \"30 ms\" }")
    );
    let rig = rig(&source);
    for number in 1..50 {
        let drawn = play_run(&rig, Tempo::whole(120), Run::Drawn { seed: 1, number }).expect("short");
        let at = |k: usize| drawn.tracks[0].sounds[k].at.0 - 125_000_000_000 * k as i64;
        // Each rounded to a picosecond, the first then taken ten times.
        assert!((10 * at(10) - at(100)).abs() <= 10, "{} {}", at(10), at(100));
        assert_eq!(at(10), at(63));
    }
}

/// What the bounds call always right is never wrong: they know nothing of edges that are moved across a change.
#[test]
fn nothing_is_sure_behind_a_change_where_anything_is_drawn() {
    let of = |jitter: &str, set: &str| {
        let source = format!(
            "[stage.gate]\nkind = \"delay\"\ndelay = {jitter}\n[sequencer.ox]\nclock = \"a\"\nreset = [\"home\", \"gate\"]\n\
             reset-mode = \"next-clock\"\nsteps = \"xxxxxxxxxxxxxxxx\"\nvoice = \"kick\"\n{}",
            change("14", set)
        );
        let rig = rig(&source);
        let performance = play(&rig, Tempo::whole(120)).expect("short");
        sure(&rig, &performance, Span(10_000_000))[0].expect("it has a reset")
    };
    let plain = of("\"30 ms\"", "set.\"stage.gate.delay\" = \"40 ms\"");
    assert_eq!((plain.resets, plain.at_risk), (8, 0));
    let drawn = "{ value = \"30 ms\", tolerance = \"1 %\" }";
    let moved = of(drawn, "set.\"stage.gate.delay\" = \"40 ms\"");
    // Resets 0 and 1 are a stretch and more before beat 14, the others are not.
    assert_eq!((moved.resets, moved.at_risk, moved.bounded), (8, 6, false));
    let elsewhere = of(drawn, "set.\"sequencer.ox.latency\" = \"1 ms\"");
    assert_eq!(elsewhere.at_risk, 0);
}

/// On a midi-cable a start is told from a continue: who hears the one goes back to step 1, who hears the other goes on.
/// Each is a byte of 320 µs before the clock's own, which comes with it (IEC 63035:2017: 31.25 kBd, ten bits a byte), and which
/// it leads by a pause.
#[test]
fn start_and_continue_are_two_bytes_on_a_midi_cable() {
    let of = |again: &str| {
        let source = format!(
            "bars = 4\n[clock.beat]\nrate = \"1 per beat\"\n[clock.go]\nat = \"run\"\n[stage.line]\nkind = \"midi-cable\"\n\
             [sequencer.ox]\nclock = [\"beat\", \"line\"]\nreset = [\"go\", \"line\"]\nreset-mode = \"next-clock\"\nsteps = \"Xxxx\"\nvoice = \"kick\"\n\
             [[change]]\nafter = \"6 beats\"\nstop = true\n{again}\n"
        );
        let patch = read(&source);
        let performance = play(&patch.original.rig, Tempo::whole(120)).expect("short");
        performance.tracks[0].sounds.iter().map(|s| (s.at.0 / 1_000_000, s.step)).collect::<Vec<_>>()
    };
    let (start, go_on) =
        ("[[change]]\nafter = \"8 beats\"\nstart = true", "[[change]]\nafter = \"8 beats\"\ncontinue = true");
    let (started, went_on) = (of(start), of(go_on));
    assert_eq!(started[..6], went_on[..6]);
    // The first clock after a start is step 1, and the first after a continue the step after the last one.
    let steps = |hits: &[(i64, u16)]| hits[..10].iter().map(|h| h.1).collect::<Vec<_>>();
    assert_eq!(steps(&started), [1, 2, 3, 4, 1, 2, 1, 2, 3, 4]);
    assert_eq!(steps(&went_on), [1, 2, 3, 4, 1, 2, 3, 4, 1, 2]);
    // A start of 0.32 ms, a pause of 1 ms, a clock byte of 0.32 ms; the clock byte after that waits for nothing.
    let times = |hits: &[(i64, u16)], n: [usize; 4]| n.map(|n| hits[n].0);
    assert_eq!(times(&started, [0, 1, 6, 7]), [1_640, 500_320, 4_001_640, 4_500_320]);
    assert_eq!(times(&went_on, [0, 1, 6, 7]), [1_640, 500_320, 4_001_640, 4_500_320]);
    // The pause is set anew while the clock stands, and three bytes of a song position go before the continue.
    let set = |what: &str, then: &str| format!("[[change]]\nafter = \"7 beats\"\nset.\"stage.line.{what}\n{then}");
    let longer = of(&set("start-lead\" = \"5 ms\"", start));
    assert_eq!(
        (times(&longer, [0, 1, 6, 7]), steps(&longer)),
        ([1_640, 500_320, 4_005_640, 4_500_320], steps(&started))
    );
    let position = "song-position\" = true";
    let told = of(&set(position, go_on));
    assert_eq!((times(&told, [0, 1, 6, 7]), steps(&told)), ([1_640, 500_320, 4_002_600, 4_500_320], steps(&went_on)));
    assert_eq!(of(&set(position, start)), started, "a start is from the beginning, and says no position");
}

/// Stages and what one of their values may become.
const STAGES: [(&str, &str, &str); 12] = [
    ("kind = \"delay\"\ndelay = \"3 ms\"", "delay", "\"3 ms\"|\"9 ms\""),
    ("kind = \"delay\"\nrise = \"3 ms\"\nfall = \"4 ms\"\nswallows = \"2 ms\"", "swallows", "\"2 ms\"|\"1 ms\""),
    ("kind = \"delay\"\nrise = \"3 ms\"\nwidth = \"20 ms\"", "width", "\"20 ms\"|\"60 ms\""),
    (
        "kind = \"rc\"\nr = \"10 kohm\"\nc = \"100 nF\"\nhigh = \"5 V\"\nthreshold-rise = \"2.5 V\"\nthreshold-fall = \"2 V\"",
        "r",
        "\"10 kohm\"|\"20 kohm\"",
    ),
    (
        "kind = \"envelope\"\nattack = \"5 ms\"\ndecay = \"20 ms\"\nshape = \"exponential\"\npeak = \"8 V\"\nthreshold-rise = \"2 V\"\nthreshold-fall = \"1 V\"\nfollows = \"trigger\"\nretrigger = \"from-here\"\nattack-means = \"to-peak\"",
        "attack",
        "\"5 ms\"|\"8 ms\"",
    ),
    ("kind = \"logic\"\ndoes = \"or\"\nwith = \"home\"\ndelay = \"1 ms\"", "delay", "\"1 ms\"|\"2 ms\""),
    ("kind = \"divide\"\nby = 2", "by", "2|4"),
    ("kind = \"multiply\"\nby = 2", "by", "2|3"),
    ("kind = \"poll\"\nperiod = \"2 ms\"\nphase = \"0 s\"\ndrift = \"0 ppm\"", "period", "\"2 ms\"|\"5 ms\""),
    ("kind = \"midi-cable\"", "running-status", "false|true"),
    (
        "kind = \"audio-buffer\"\nframes = 64\nblocks = 2\nsample-rate = \"48 kHz\"\nphase = \"0 s\"\ndrift = \"0 ppm\"\nevents = \"block\"",
        "blocks",
        "2|5",
    ),
    ("kind = \"jitter\"\neach = { sd = \"100 us\" }", "each", "{ sd = \"100 us\" }|{ sd = \"300 us\" }"),
];

fn with_stage(stage: usize, value: Option<&str>, change_to: Option<(&str, &str)>) -> Rig {
    let (table, key, values) = STAGES[stage];
    let (old, _) = values.split_once('|').expect("two values");
    let table = match value {
        Some(value) if table.contains(&format!("{key} = ")) => {
            table.replace(&format!("{key} = {old}"), &format!("{key} = {value}"))
        }
        Some(value) => format!("{table}\n{key} = {value}"),
        None => table.to_owned(),
    };
    let changes =
        change_to.map_or(String::new(), |(after, to)| change(after, &format!("set.\"stage.gate.{key}\" = {to}")));
    rig(&format!(
        "[stage.gate]\n{table}\n{THROUGH}reset = \"home\"\nreset-mode = \"next-clock\"\nsetup-time = \"1 ms\"\n{changes}"
    ))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(120))]

    /// A change to the same value changes nothing at all, not even the rig; one to another leaves every hit before alone;
    /// and what keeps no count plays in the end as if the value had been so from the start.
    #[test]
    fn a_change_changes_what_comes_after(stage in 0..STAGES.len(), after in 30_i64..100, run in 1_u64..9) {
        let (_, _, values) = STAGES[stage];
        let (old, new) = values.split_once('|').expect("two values");
        let beat = format!("{}", after as f64 / 8.0 + 0.01);
        let at = Instant((after * 62_500_000_000) + 5_000_000_000);
        let run = Run::Drawn { seed: 7, number: run };
        let play = |rig: &Rig| play_run(rig, Tempo::whole(120), run).expect("short");
        let plain = with_stage(stage, None, None);
        prop_assert_eq!(&with_stage(stage, Some(old), Some((&beat, old))), &with_stage(stage, Some(old), None));
        let changed = with_stage(stage, None, Some((&beat, new)));
        let heard = |rig: &Rig| {
            list(rig, &play(rig)).into_iter().map(|h| (h.at, h.step, h.beat, h.due)).collect::<Vec<_>>()
        };
        let (before, now, then) = (heard(&plain), heard(&changed), heard(&with_stage(stage, Some(new), None)));
        let until = |all: &[(Instant, usize, Beat, Beat)]| all.iter().copied().filter(|h| h.0 < at).collect::<Vec<_>>();
        prop_assert_eq!(until(&before), until(&now));
        // Two seconds later every pulse under way has gone; dividers count on, and what is drawn is drawn event by event.
        let stateless = !matches!(STAGES[stage].0, s if s.contains("divide") || s.contains("jitter") || s.contains("poll") || s.contains("buffer"));
        if stateless {
            // A bar later a reset has come, too.
            let later = at + Span(2_100_000_000_000);
            let from = |all: &[(Instant, usize, Beat, Beat)]| all.iter().copied().filter(|h| h.0 > later).collect::<Vec<_>>();
            prop_assert_eq!(from(&now), from(&then));
        }
    }
}
