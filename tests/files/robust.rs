//! Whatever is read, the answer is a patch or a diagnostic that a terminal may show, in bounded time and memory.

use hitgap::patch::{Asked, Patch};
use proptest::prelude::*;

const GOOD: &str = r#"title = "The late bell"
note = """
Ox and Wren"""
tempos = [50, 97.5, 120]
bars = 8
meter = "7/8"
max-gap = "2 ms"
noise = "fresh"
one = "home"
[clock.sixteenths]
rate = "4 per beat"
width = "5 ms"
phase = "99 %"
shift = "-3.5 µs"
[clock.swung]
rate = "2 per beat"
swing = "66.6667 %"
width = "20 %"
[clock.home]
rate = "1 per 16 beats"
[clock.run]
at = "start"
[stage.or-gate]
kind = "delay"
delay = "40 us"
[clock.halt]
at = "stop"
[clock.level]
at = "run"
[stage.one-shot]
kind = "delay"
rise = { typ = "120 ns", max = "250 ns" }
width = "5 ms"
while-busy = "restarts"
[stage.slew]
kind = "rc"
r = { value = "10 kΩ", tolerance = "5 %" }
c = { min = "80 nF", max = "120 nF" }
high = "10 V"
source = "1 kohm"
load = "1 Mohm"
threshold-rise = "2.5 V"
threshold-fall = "700 mV"
[stage.swell]
kind = "envelope"
attack = "5 ms"
decay = "20 ms"
shape = "exponential"
attack-means = "time-constant"
peak = "8 V"
threshold-rise = "2 V"
follows = "gate"
retrigger = "from-zero"
[stage.either]
kind = "logic"
does = "or"
with = ["sequencer.ox.end", "one-shot"]
delay = "120 ns"
swallows = "7 ns"
[stage.third]
kind = "divide"
by = 3
fires-on = "last"
reset = "run"
power-up = 2
[stage.triple]
kind = "multiply"
by = 3
[stage.look]
kind = "poll"
period = "500 us"
phase = "random"
drift = "30 ppm"
samples = 2
[stage.cable]
kind = "midi-cable"
running-status = true
order = ["wren", "ox", "look"]
note-offs = "own"
[stage.buffer]
kind = "audio-buffer"
frames = 128
blocks = 2
sample-rate = "44.1 kHz"
events = "block"
phase = "1 ms"
[stage.hall]
kind = "air"
distance = "340 cm"
temperature = { value = "20 °C", tolerance = "5 C" }
level = false
[stage.arm]
kind = "strike"
stroke = "8 mm"
speed = "2 m/s"
spread = "0.5 ms"
recovery = "60 ms"
[stage.shaky]
kind = "jitter"
each = { sd = "1 ms" }
wander = "2 ms"
wander-period = "20 s"
[wire.split]
path = ["sixteenths", "third", "triple", "shaky"]
[sequencer.moth]
clock = ["wire.split", "slew", "swell"]
clock-edge = "fall"
reset = ["sequencer.ox.step-1", "either", "look"]
reset-mode = "this-clock"
reset-edge = "fall"
grace = "2 ms"
pulses-per-step = 6
reset-clears-count = false
gathers = "1 ms"
sounds-on-reset = false
input = { min-high = "1 ms", min-low = "20 us" }
poll = "look"
out = ["cable", "buffer", "arm", "hall"]
offset = "-3 ms"
steps = "x.X."
voice = "hat"
[sequencer.ox]
clock = ["swung", "or-gate"]
reset = "home"
reset-mode = "next-clock"
setup-time = "1 us"
on-tie = "reset-first"
steps = "X...|x... x...x..."
voice = "floor-drum"
latency = "1 ms"
power-up-step = 7
[sequencer.wren]
clock = "sixteenths"
reset = "run"
reset-mode = "immediate"
holdoff = "2 ms"
euclidean = { hits = 3, steps = 8, rotate = 1 }
voice = "kick"
idle-reset = "1500 ms"
one = "own"
[voice.floor-drum]
model = "kick"
level = "-3 dB"
pan = "-20 %"
noise = "same"
[fix.gate]
about = "a logic gate"
set."sequencer.wren.clock" = ["sixteenths", "or-gate"]
[fix.wired]
set."wire.split.path" = "halt"
set."stage.third" = { kind = "delay", delay = "1 us" }
[fix.later]
set."clock.later" = { rate = "1 per 2 beats", phase = "1 %" }
set."sequencer.ox.clock" = "later"
"#;

/// Reads, and renders what there is to tell in both ways; says whether it was a patch.
fn read(source: &str) -> bool {
    let tell = |faults: &hitgap::patch::Faults| {
        let plain = faults.render("a.toml", source, false);
        assert!(plain.chars().all(|c| c == '\n' || !c.is_control()), "{plain:?}");
        assert_eq!(plain.is_empty(), faults.is_empty());
        let bare: String = faults.render("a.toml", source, true).split('\u{1b}').collect();
        assert!(bare.chars().all(|c| c == '\n' || !c.is_control()), "{bare:?}");
    };
    match Patch::parse(source, &Asked::default()) {
        Ok(patch) => {
            tell(&patch.warnings);
            for spec in ["gate+later", "gate+wired"] {
                let _ = patch.variant(spec);
            }
            true
        }
        Err(faults) => {
            assert!(!faults.is_empty());
            for fault in faults.list() {
                assert!(!fault.help.is_empty(), "{} does not say what to do", fault.message);
                assert!(fault.at.as_ref().is_none_or(|at| at.start <= at.end && at.end <= source.len()), "{fault:?}");
            }
            tell(&faults);
            false
        }
    }
}

#[test]
fn the_patch_that_is_mutated_below_is_good() {
    if let Err(faults) = Patch::parse(GOOD, &Asked::default()) {
        panic!("{}", faults.render("good.toml", GOOD, false));
    }
}

#[test]
fn every_beginning_of_a_patch_is_answered() {
    for end in (0..GOOD.len()).filter(|n| GOOD.is_char_boundary(*n)) {
        read(&GOOD[..end]);
    }
}

#[test]
fn line_ends_and_a_mark_change_nothing_but_places() {
    let marked = format!("\u{feff}{}", GOOD.replace('\n', "\r\n"));
    let (a, b) = (Patch::parse(GOOD, &Asked::default()), Patch::parse(&marked, &Asked::default()));
    let (a, b) = (a.expect("good"), b.expect("good"));
    assert_eq!((&a.original, &a.fixes), (&b.original, &b.fixes));
}

/// What a hostile file may ask for: each would take very long, or very much, without a bound.
#[test]
fn bounds_hold() {
    let mebi = 1 << 20;
    let sequencer = |n: usize| format!("[sequencer.s{n}]\nclock=\"c\"\nsteps=\"x\"\nvoice=\"kick\"\n");
    let clock = "[clock.c]\nrate=\"1 per beat\"\n";
    let fill = |head: &str, line: &dyn Fn(usize) -> String| {
        let mut text = head.to_owned();
        for n in 0.. {
            let line = line(n);
            if text.len() + line.len() > mebi {
                break;
            }
            text += &line;
        }
        text
    };
    assert!(!read(&"#".repeat(mebi + 1)), "a file over the bound");
    assert!(!read(&fill("", &|n| format!("k{n}=1\n"))), "unknown keys");
    assert!(!read(&fill(clock, &sequencer)), "sequencers without end");
    assert!(!read(&fill("", &|n| format!("[clock.c{n}]\nrate=4\n"))), "outputs without end");
    assert!(!read(&fill(clock, &|n| format!("[fix.f{n}]\nset.\"clock.c.phase\"=\"1 %\"\n"))), "fixes without end");
    assert!(
        !read(&fill(&format!("{clock}[fix.f]\n"), &|n| format!("set.\"clock.c{n}\"={{}}\n"))),
        "changes without end"
    );
    assert!(!read(&format!("{clock}[sequencer.s]\nclock=\"c\"\nvoice=\"kick\"\nsteps=\"{}\"", "x".repeat(mebi / 2))));
    assert!(!read(&fill("x=", &|_| "[".to_owned())), "depth");
    assert!(!read(&format!("x{}=1", ".x".repeat(mebi / 4))), "depth of keys");
    assert!(!read(&format!("x=\"{}", "日".repeat(mebi / 4))), "one long line with a fault at its end");
    // 256 of everything, each fix another pattern as long as patterns get: large, and good.
    let mut large = String::new();
    for n in 0..256 {
        large += &format!("[clock.c{n}]\nrate=\"1 per beat\"\n[stage.t{n}]\nkind=\"delay\"\ndelay=\"1 us\"\n");
        large += &format!(
            "[sequencer.s{n}]\nclock=[\"c{n}\",\"t{n}\"]\neuclidean={{hits={},steps=4096}}\nvoice=\"v{n}\"\n",
            n * 16
        );
        large += &format!("[voice.v{n}]\nmodel=\"hat\"\n[fix.f{n}]\nset.\"clock.c{n}.phase\"=\"1 %\"\n");
    }
    assert!(read(&large));
    // 256 wires in a row, each a loop with the next but one, and as many fixes that look at all of it anew.
    let mut knot = "[clock.c]\nrate=\"1 per beat\"\n".to_owned();
    for n in 0..256 {
        let (next, stages) = ((n + 1) % 256, (0..200).map(|k| format!(",\"{}\"", (n + k) % 256)).collect::<String>());
        knot += &format!(
            "[stage.{n}]\nkind=\"logic\"\ndoes=\"or\"\nwith=\"wire.{next}\"\n[wire.{n}]\npath=[\"c\"{stages}]\n"
        );
        knot += &format!("[fix.f{n}]\nset.\"clock.c.phase\"=\"1 %\"\n");
    }
    knot += &sequencer(0);
    assert!(knot.len() < mebi && !read(&knot), "loops without end");
    assert!(read(&knot.replace("does=\"or\"", "does=\"or\"\ndelay=\"1 us\"")), "the same with a delay each");
    // A chain as long as there may be, a multiplier in every link.
    let mut chain = "[clock.c]\nrate=\"1 per beat\"\n[wire.w0]\npath=\"c\"\n".to_owned();
    for n in 1..256 {
        chain +=
            &format!("[stage.m{n}]\nkind=\"multiply\"\nby=256\n[wire.w{n}]\npath=[\"wire.w{}\",\"m{n}\"]\n", n - 1);
    }
    assert!(!read(&format!("{chain}{}", sequencer(0))), "256 to the 255th pulses a beat");
    // The same with many faults, which every fix would meet again.
    let faulty = large.replacen("rate=\"1 per beat\"", "rate=\"1 per bat\"", 40);
    assert!(!read(&faulty));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(512))]

    #[test]
    fn any_bytes_are_answered(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
        read(&String::from_utf8_lossy(&bytes));
    }

    #[test]
    fn any_mix_of_toml_is_answered(
        parts in proptest::collection::vec(
            prop::sample::select(vec![
                "[", "]", "[[", "=", "\"", "'", "\"\"\"", "{", "}", ",", ".", "\n", "\r\n", "\r", "\t", " ", "\u{feff}", "日", "\u{1b}[31m",
                "\\", "\\u0007", "#", "1", "-0", "1e5", "nan", "0x1F", "true", "1979-05-27", "clock", "stage", "sequencer", "voice",
                "fix", "set", "tempos", "bars", "rate", "steps", "x", "5 ms", "clock.a.phase", "\u{202e}", "\0", "\u{7f}",
            ]), 0..40)
    ) {
        read(&parts.concat());
    }

    /// One piece of a good patch cut out, doubled or replaced.
    #[test]
    fn mutated_patches_are_answered(
        at in 0..GOOD.len(), length in 0_usize..40, to in 0..GOOD.len(),
        with in prop::sample::select(vec!["", "\"", "5", "-1", "[", "]", "=", "\n", "x", "9999999999999999999", "日", "\u{1b}", "%", "\\u001b", "{}", "[]"]),
        copy in any::<bool>(),
    ) {
        let boundary = |n: usize| (0..=n.min(GOOD.len())).rev().find(|n| GOOD.is_char_boundary(*n)).unwrap_or(0);
        let (start, end) = (boundary(at), boundary(at + length));
        let piece = if copy { &GOOD[start..end] } else { with };
        let cut = if copy { boundary(to)..boundary(to) } else { start..end };
        read(&[&GOOD[..cut.start], piece, &GOOD[cut.end..]].concat());
    }

    /// Whole lines taken out, doubled or moved: most of these are good TOML, so that the reading behind it is met.
    #[test]
    fn shuffled_lines_are_answered(from in 0_usize..200, to in 0_usize..200, keep in any::<bool>(), values in 0_usize..200) {
        let mut lines: Vec<&str> = GOOD.lines().collect();
        let from = from % lines.len();
        let line = if keep { lines[from] } else { lines.remove(from) };
        let to = to % lines.len();
        lines.insert(to, line);
        read(&lines.join("\n"));
        // The value of one line put into another.
        let mut lines: Vec<String> = GOOD.lines().map(str::to_owned).collect();
        let value = lines[values % lines.len()].split_once('=').map(|(_, v)| v.to_owned());
        if let (Some(value), Some((key, _))) = (value, lines[from].clone().split_once('=')) {
            lines[from] = format!("{key}={value}");
            read(&lines.join("\n"));
        }
    }
}
