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

/// Onsets read off the file, against a plan made here from the words of the contract and the hit lists: the same bars as
/// A, a rest, as B, then the next ones, from the first bar line after the first reset has acted.
#[test]
fn an_alternation_plays_the_same_bars_by_turns() {
    let place = Place::new().with_changed("clicks.toml", "late-bell.toml", &CLICKS);
    let tempo = 150.0;
    let beat_s = 60.0 / tempo;
    place.run("hitgap compare clicks.toml --tempo 150 --fix phase").exits(0);
    let wav = Wav::read(&place.read("out/clicks.original+phase.150bpm.wav"));
    let hits = |fix: &str| -> Vec<(f64, f64)> {
        let text = place.run(&format!("hitgap hits clicks.toml --tempo 150 --fix {fix}")).exits(0).stdout;
        let mut rows = csv::Reader::from_reader(text.as_bytes());
        let rows = rows.deserialize::<(f64, f64, f64, String, u32, u32)>();
        rows.map(|r| r.map(|r| (r.0, r.1)).expect("a row")).collect()
    };
    let sides = [hits("original"), hits("phase")];
    // The reset at 0 acts with Wren's next clock, at beat 2: the first whole bar begins at beat 4. A bar lasts 1.6 s at
    // 150, so two make the 3 s of a turn; a beat lasts 0.4 s, so two make the 0.6 s of a rest.
    let (mut expected, mut start) = (Vec::new(), 0.1);
    for from in [4.0, 12.0, 20.0, 28.0_f64] {
        let to = (from + 8.0).min(32.0);
        for side in &sides {
            expected
                .extend(side.iter().filter(|(_, b)| (from..to).contains(b)).map(|(t, _)| start + t - from * beat_s));
            start += (to - from + 2.0) * beat_s;
        }
    }
    // What sounds at once is one tick.
    expected.sort_by(f64::total_cmp);
    expected.dedup_by(|a, b| (*a - *b).abs() < 1e-4);
    let seen = ticks(&wav);
    assert_eq!(seen.len(), expected.len(), "{seen:?}\n{expected:?}");
    // A tick's largest sample is within a quarter of a wave of its instant, and a sample: 0.1 ms at 3 kHz.
    for (seen, expected) in seen.iter().zip(&expected) {
        assert!((seen - expected).abs() < 1e-4, "{seen} against {expected}");
    }
    // It has the flam in it: 8 ms, a hundredth of two beats.
    let flams = expected.windows(2).filter(|w| (w[1] - w[0] - 0.008).abs() < 1e-4).count();
    assert_eq!(flams, 14, "14 bells in 28 beats of B");
    let rest = expected.windows(2).filter(|w| w[1] - w[0] > 0.79).count();
    assert!(rest >= 7, "a rest between every two turns");
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
