use super::place::Place;
use super::wav::{Wav, loudness, ticks};

#[test]
fn a_comparison_says_what_to_listen_for() {
    let place = Place::new();
    place.shows("compare", &["hitgap compare patches/late-bell.toml"]);
    place.shows(
        "compare-options",
        &[
            "hitgap compare patches/moth-wakes-on-seven.toml --bars 2 --tempo 140 --out there",
            "hitgap compare patches/late-bell.toml --bars 2 --tempo 160 --fix phase+or-gate --out there",
        ],
    );
    // Both are in the folder, and the manifest keeps both.
    assert_eq!(place.sounds("there").len(), 6);
}

/// One hit against sixty-four of them: at their loudness it would pass full scale.
#[test]
fn a_fix_that_has_to_stay_quieter_is_named() {
    let player = |name: &str| format!("[sequencer.{name}]\nclock = \"sixteenths\"\nsteps = \"x\"\nvoice = \"click\"\n");
    let rest = |name: &str| format!("set.\"sequencer.{name}.steps\" = \"x{}\"\n", ".".repeat(31));
    let text = format!(
        "tempos = [120]\nbars = 2\n[clock.sixteenths]\nrate = \"4 per beat\"\n{}{}[fix.sparse]\n{}{}",
        player("ox"),
        player("wren"),
        rest("ox"),
        rest("wren")
    );
    let place = Place::new().with("sparse.toml", text);
    place.shows("compare-quiet", &["hitgap compare sparse.toml"]);
}

#[test]
fn a_patch_without_fixes_is_told_how_to_write_one() {
    let place = Place::new();
    let text = String::from_utf8(place.read("patches/late-bell.toml")).expect("text");
    let (bare, _) = text.split_once("[fix.").expect("fixes");
    let place = place.with("bare.toml", bare);
    place.shows("compare-without-fixes", &["hitgap compare bare.toml", "hitgap compare bare.toml --fix later"]);
    assert!(!place.path("out").exists());
    // What it says to write works.
    let said = place.run("hitgap compare bare.toml").exits(2).stderr;
    let fix: String = said.lines().filter_map(|l| l.strip_prefix("    ")).map(|l| format!("{l}\n")).collect();
    assert!(fix.starts_with("[fix."), "{said}");
    let place = place.with("mended.toml", format!("{bare}\n{}", fix.replace("OUTPUT", "slow")));
    place.run("hitgap compare mended.toml --bars 1 --tempo 160").exits(0);
}

/// Loudness by BS.1770 of whole files. 0.1 LU: gains come from figures that are rounded to 0.01 dB.
#[test]
fn original_and_fix_are_equally_loud() {
    let place = Place::new();
    for (patch, fixes, tempos) in [
        ("late-bell", vec!["phase", "or-gate"], "50,160"),
        ("thin-ice", vec!["phase", "or-gate"], "75,160"),
        ("moth-wakes-on-seven", vec!["run-wire"], "110"),
    ] {
        place.run(&format!("hitgap compare patches/{patch}.toml --tempo {tempos}")).exits(0);
        for tempo in tempos.split(',') {
            let read = |variant: &str| Wav::read(&place.read(&format!("out/{patch}.{variant}.{tempo}bpm.matched.wav")));
            let of = |wav: &Wav| {
                assert_eq!(wav.channels.len(), 1, "all from the centre");
                loudness(wav.left(), wav.rate)
            };
            let original = read("original");
            for fix in &fixes {
                let fixed = read(fix);
                let off = of(&fixed) - of(&original);
                assert!(off.abs() <= 0.1, "{patch} {fix} at {tempo}: {off:.2} LU");
                assert!(fixed.left() != original.left());
            }
        }
    }
}

const CLICKS: [(&str, &str); 2] = [
    ("model = \"kick\"\npitch-start = \"320 Hz\"\npitch-end   = \"48 Hz\"", "model = \"click\""),
    ("model = \"kick\"\npitch-start = \"440 Hz\"\npitch-end   = \"70 Hz\"", "model = \"click\"\npitch = \"4000 Hz\""),
];

/// When hits sound, in seconds, and the beats on which they are due.
fn hits(place: &Place, patch: &str, fix: &str, tempo: u32) -> Vec<(f64, f64)> {
    let text = place.run(&format!("hitgap hits {patch} --tempo {tempo} --fix {fix}")).exits(0).stdout;
    let mut rows = csv::Reader::from_reader(text.as_bytes());
    let rows = rows.deserialize::<(f64, f64, f64, String, u32, u32)>();
    rows.map(|r| r.map(|r| (r.0, r.2)).expect("a row")).collect()
}

/// An alternation by the words of the contract and two hit lists, as times from the file's begin: the bars between these
/// beats as A, a rest of some beats, as B, and so on. The earliest hit has the lead-in before it.
fn alternation(sides: &[Vec<(f64, f64)>; 2], lines: &[f64], rest: f64, tempo: u32) -> Vec<f64> {
    let beat_s = 60.0 / f64::from(tempo);
    let (mut expected, mut start) = (Vec::new(), 0.0);
    for turn in lines.windows(2) {
        for side in sides {
            let due = side.iter().filter(|(_, due)| (turn[0]..turn[1]).contains(due));
            expected.extend(due.map(|(t, _)| start + t - turn[0] * beat_s));
            start += (turn[1] - turn[0] + rest) * beat_s;
        }
    }
    let early = expected.iter().fold(0.0_f64, |m, t| m.min(*t));
    expected.iter_mut().for_each(|t| *t += 0.1 - early);
    // What sounds at once is one tick.
    expected.sort_by(f64::total_cmp);
    expected.dedup_by(|a, b| (*a - *b).abs() < 1e-4);
    expected
}

/// Onsets read off a file against those expected.
fn ticks_are(wav: &Wav, expected: &[f64]) {
    let seen = ticks(wav);
    assert_eq!(seen.len(), expected.len(), "{seen:?}\n{expected:?}");
    // A tick's largest sample is within a quarter of a wave of its instant, and a sample: 0.1 ms at 3 kHz.
    for (seen, expected) in seen.iter().zip(expected) {
        assert!((seen - expected).abs() < 1e-4, "{seen} against {expected}");
    }
}

/// Onsets read off the file, against a plan made here: the same bars as A, a rest, as B, then the next ones, from the first bar
/// line after the first reset has acted.
#[test]
fn an_alternation_plays_the_same_bars_by_turns() {
    let place = Place::new().with_changed("clicks.toml", "late-bell.toml", &CLICKS);
    place.run("hitgap compare clicks.toml --tempo 150 --fix phase").exits(0);
    let wav = Wav::read(&place.read("out/clicks.original+phase.150bpm.wav"));
    let sides = ["original", "phase"].map(|fix| hits(&place, "clicks.toml", fix, 150));
    // The reset at 0 acts with Wren's next clock, at beat 2: the first whole bar begins at beat 4. A bar lasts 1.6 s at
    // 150, so two make the 3 s of a turn; a beat lasts 0.4 s, so two make the 0.6 s of a rest.
    let expected = alternation(&sides, &[4.0, 12.0, 20.0, 28.0, 32.0], 2.0, 150);
    ticks_are(&wav, &expected);
    // It has the flam in it: 8 ms, a hundredth of two beats.
    let flams = expected.windows(2).filter(|w| (w[1] - w[0] - 0.008).abs() < 1e-4).count();
    assert_eq!(flams, 14, "14 bells in 28 beats of B");
    let rest = expected.windows(2).filter(|w| w[1] - w[0] > 0.79).count();
    assert!(rest >= 7, "a rest between every two turns");
}

/// At 240 a sixteenth is 62.5 ms. A box that plays all of them comes 40 ms early, then 50 ms late: each turn has its own
/// sixteenths and no others, and the file begins with silence. What would have sounded before the start is not due in any.
#[test]
fn a_turn_has_its_own_hits_however_early_or_late() {
    let text = "tempos = [240]\nbars = 7\n[clock.plain]\nrate = \"4 per beat\"\nwidth = \"1 ms\"\n\
                [clock.moved]\nrate = \"4 per beat\"\nwidth = \"1 ms\"\nshift = \"-40 ms\"\n\
                [sequencer.ox]\nclock = \"plain\"\nsteps = \"x...\"\nvoice = \"click\"\n\
                [sequencer.moth]\nclock = \"moved\"\nsteps = \"x\"\nvoice = \"high\"\n\
                [voice.high]\nmodel = \"click\"\npitch = \"4000 Hz\"\n[fix.later]\nset.\"clock.moved.shift\" = \"50 ms\"\n";
    let place = Place::new().with("moved.toml", text);
    place.run("hitgap compare moved.toml").exits(0);
    let wav = Wav::read(&place.read("out/moved.original+later.240bpm.wav"));
    let sides = ["original", "later"].map(|fix| hits(&place, "moved.toml", fix, 240));
    // Bars of 1 s: three a turn, from the second on, in which the early box has lost nothing. A rest is three beats.
    ticks_are(&wav, &alternation(&sides, &[4.0, 16.0, 28.0], 3.0, 240));
    for side in &sides {
        let own = side.iter().filter(|h| (4.0..28.0).contains(&h.1)).count();
        assert_eq!(own, 24 + 96);
    }
    silent_at_first(&wav);
}

/// Nothing sounds in the lead-in but the ringing of the first hit's filter, a hundredth of a second long at most.
fn silent_at_first(wav: &Wav) {
    let before = wav.between(0.0, 0.09).iter().fold(0.0_f64, |m, s| m.max(s.abs()));
    assert!(before < 1e-4, "{before} before the first hit");
}

/// `moth-blinks` at 120: Moth is a sixteenth late, and so is its last of a bar.
#[test]
fn an_alternation_begins_with_its_first_bar() {
    let place = Place::new();
    for tempo in [90, 120, 150] {
        place.run(&format!("hitgap compare patches/moth-blinks.toml --tempo {tempo} --fix or-gate")).exits(0);
        let wav = Wav::read(&place.read(&format!("out/moth-blinks.original+or-gate.{tempo}bpm.wav")));
        silent_at_first(&wav);
        let largest = |from: f64, to: f64| wav.between(from, to).iter().fold(0.0_f64, |m, s| m.max(s.abs()));
        // Ox alone; what is there is 0.09.
        assert!(largest(0.1, 0.11) > 0.05, "the first hit is there");
    }
}

/// With noise of its own a hit has several pieces: none of the last turn is lost.
#[test]
fn fresh_noise_sounds_to_the_last_turn() {
    let text = "tempos = [120]\nbars = 4\n[clock.beats]\nrate = \"1 per beat\"\n\
                [sequencer.wren]\nclock = \"beats\"\nsteps = \"x\"\nvoice = \"wires\"\n\
                [voice.wires]\nmodel = \"snare\"\nnoise = \"fresh\"\n[fix.later]\nset.\"clock.beats.shift\" = \"5 ms\"\n";
    let place = Place::new().with("fresh.toml", text);
    place.run("hitgap compare fresh.toml").exits(0);
    let wav = Wav::read(&place.read("out/fresh.original+later.120bpm.wav"));
    // Two bars a turn, 4 s, and a rest of two beats, 1 s: four turns of eight strokes half a second apart.
    for turn in 0..4 {
        for stroke in 0..8 {
            let at = 0.1 + 5.0 * f64::from(turn) + 0.5 * f64::from(stroke);
            let largest = wav.between(at, at + 0.02).iter().fold(0.0_f64, |m, s| m.max(s.abs()));
            assert!(largest > 0.05, "turn {turn}, stroke {stroke}: {largest}");
        }
    }
}

/// The same stretches as A and as B. They leave the first bar out, by which the whole was matched: 0.5 LU.
#[test]
fn the_turns_of_an_alternation_are_equally_loud() {
    let place = Place::new();
    place.run("hitgap compare patches/thin-ice.toml --tempo 150 --fix phase").exits(0);
    let wav = Wav::read(&place.read("out/thin-ice.original+phase.150bpm.wav"));
    let turn = 10.0 * 0.4;
    let part = |n: u32| {
        let from = 0.1 + f64::from(n) * turn;
        loudness(wav.between(from - 0.02, from + turn - 0.4), wav.rate)
    };
    for pair in 0..3 {
        let off = part(2 * pair + 1) - part(2 * pair);
        assert!(off.abs() < 0.5, "pair {pair}: {off:.2} LU");
    }
}

#[test]
fn a_long_comparison_is_refused_without_a_wait() {
    // 20,000 turns of 160,000 hits: planned hit by hit and turn by turn this would take minutes.
    let place = Place::new();
    place.run("hitgap compare patches/late-bell.toml --tempo 50 --bars 10000 --fix phase").exits(2);
    assert!(!place.path("out").exists());
}

/// The late bell's resets come every 16 beats, four bars of 4/4, and its piece is over before that is heard twice; a drum
/// alone on every beat is looped by two bars, the least.
#[test]
fn a_page_loops_what_repeats() {
    let place = Place::new();
    place.run("hitgap compare patches/late-bell.toml --tempo 160").exits(0);
    let page = String::from_utf8(place.read("out/late-bell.html")).expect("text");
    assert!(page.contains("\"bars\":4,"), "the loop is not four bars");
    let place = place.with(
        "plain.toml",
        "tempos = [120]\nbars = 4\n[clock.beats]\nrate = \"1 per beat\"\n[sequencer.ox]\nclock = \"beats\"\nsteps = \"x\"\n\
         voice = \"kick\"\n[fix.later]\nset.\"clock.beats.shift\" = \"1 ms\"\n",
    );
    place.run("hitgap compare plain.toml").exits(0);
    assert!(String::from_utf8(place.read("out/plain.html")).expect("text").contains("\"bars\":2,"));
}
