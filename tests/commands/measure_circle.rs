//! Round and back: a patch is rendered, spoilt, measured, and written as a patch again, which `check` says the same gaps of.

use super::place::Place;
use hound::{SampleFormat, WavReader, WavSpec, WavWriter};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use serde_json::Value;
use std::io::Cursor;

/// Tempos at which a sixteenth is a whole number of samples, so that a pulse is exact sample by sample.
const TEMPOS: [usize; 3] = [60, 90, 150];
const RATE: usize = 48_000;
/// What a render is silent before its start.
const LEAD_IN: usize = RATE / 10;

/// A clock, and wren on its sixteenths; `late` is what makes it late.
fn rig(late: &str) -> String {
    format!(
        "tempos = [60, 90, 150]\nbars = 4\nmax-gap = \"50 ms\"\n[clock.grid]\nrate = \"4 per beat\"\n\
         [sequencer.clock]\nclock = \"grid\"\nsteps = \"x\"\nvoice = \"click\"\n\
         [sequencer.wren]\nsteps = \"x\"\nvoice = \"snare\"\n{late}\n"
    )
}

/// What wren plays at a tempo, with the clock's pulses before it and a hiss 50 dB under the peak over it.
fn recorded(stem: &[u8], tempo: usize, seed: u64) -> Vec<u8> {
    let mut reader = WavReader::new(stem).expect("a render");
    let channels = usize::from(reader.spec().channels);
    let full = f64::from(1_u32 << (reader.spec().bits_per_sample - 1));
    let wave: Vec<f64> =
        reader.samples::<i32>().step_by(channels).map(|x| f64::from(x.expect("a sample")) / full).collect();
    let hiss = wave.iter().fold(0.0_f64, |most, x| most.max(x.abs())) * 10.0_f64.powf(-50.0 / 20.0);
    let spec = WavSpec { channels: 2, sample_rate: RATE as u32, bits_per_sample: 24, sample_format: SampleFormat::Int };
    let mut bytes = Cursor::new(Vec::new());
    let mut writer = WavWriter::new(&mut bytes, spec).expect("memory");
    let mut bits = ChaCha8Rng::seed_from_u64(seed);
    // The sum of twelve even values less six is as good as normal here.
    let mut normal = || (0..12).map(|_| f64::from(bits.next_u32()) / f64::from(u32::MAX)).sum::<f64>() - 6.0;
    let period = RATE * 15 / tempo;
    for (n, x) in wave.iter().enumerate() {
        let since = n.checked_sub(LEAD_IN).filter(|since| since / period < 64).map(|since| since % period);
        let pulse = if since.is_some_and(|since| since < 240) { 0.5 } else { 0.0 };
        for value in [pulse, x + hiss * normal()] {
            writer.write_sample((value * 8_388_607.0) as i32).expect("memory");
        }
    }
    writer.finalize().expect("memory");
    bytes.into_inner()
}

/// A place with the recordings of a rig, and of one in which wren is struck by the clock's own wire.
fn place(late: &str) -> Place {
    let mut place = Place::new().with("rig.toml", rig(late)).with("plain.toml", rig("clock = \"grid\""));
    // What is left to chance is drawn, as a rig would.
    let (run, name) = if late.contains("jitter") { (" --run 1", "-run1") } else { ("", "") };
    place.run(&format!("hitgap render rig.toml --stems --out rig{run}")).exits(0);
    place.run("hitgap render plain.toml --stems --out plain --tempo 90").exits(0);
    for (number, tempo) in TEMPOS.into_iter().enumerate() {
        let stem = place.read(&format!("rig/rig.original.{tempo}bpm{name}.wren.wav"));
        place = place.with(&format!("at{tempo}.wav"), recorded(&stem, tempo, number as u64));
    }
    let stem = place.read("plain/plain.original.90bpm.wren.wav");
    place.with("zero.wav", recorded(&stem, 90, 9))
}

const MEASURE: &str =
    "hitgap measure at60.wav at90.wav at150.wav --tempo 60,90,150 --channels pulse:clock,hits:wren --zero zero.wav";

/// The least, middle and largest gap of clock and wren at each tempo.
fn gaps(place: &Place, command: &str, variant: &str) -> Vec<[f64; 3]> {
    let said = place.run(command);
    let found: Value = serde_json::from_str(&said.stdout).unwrap_or_else(|e| panic!("{command}: {e} {}", said.stderr));
    let results = found["results"].as_array().expect("results").iter().filter(|of| of["variant"] == variant);
    let gap = |of: &Value| {
        let gap = &of["gaps"][0];
        assert_eq!(gap["between"], serde_json::json!(["clock", "wren"]), "{command}");
        ["min_ms", "median_ms", "max_ms"].map(|key| gap[key].as_f64().expect("a gap"))
    };
    results.map(gap).collect()
}

fn text(place: &Place, name: &str) -> String {
    String::from_utf8(place.read(name)).expect("text")
}

/// What makes wren late; the kind that is found; how far in ms the gaps of what is written may be from those of the rig. The gaps
/// of a wire that strikes both are taken off, so what is left is the noise of some ten hits: under a microsecond at 50 dB; edges of pulses
/// are the same in all recordings.
const PLAIN: [(&str, &str, f64); 4] = [
    ("clock = \"grid\"\nout = [\"late\"]\n[stage.late]\nkind = \"delay\"\ndelay = \"3 ms\"", "fixed", 0.005),
    ("clock = \"late\"\n[clock.late]\nrate = \"4 per beat\"\nphase = \"1 %\"", "share", 0.005),
    (
        "clock = \"late\"\nout = [\"late\"]\n[clock.late]\nrate = \"4 per beat\"\nphase = \"2 %\"\n\
         [stage.late]\nkind = \"delay\"\ndelay = \"1.5 ms\"",
        "both",
        0.005,
    ),
    ("clock = \"grid\"\noffset = \"-2 ms\"", "fixed", 0.005),
];

#[test]
fn a_time_a_share_and_both_come_back_as_they_were() {
    for (late, kind, within) in PLAIN {
        let place = place(late);
        let found = place.run(&format!("{MEASURE} --write wren.measured.toml --format json")).exits(0).stdout;
        let found: Value = serde_json::from_str(&found).expect("JSON");
        assert_eq!(found["findings"][0]["kind"]["name"], kind, "{late}: {found}");
        let rig = gaps(&place, "hitgap check rig.toml --format json", "original");
        let written = gaps(&place, "hitgap check wren.measured.toml --format json", "original");
        assert_eq!((rig.len(), written.len()), (3, 3));
        for (rig, written) in rig.iter().zip(&written) {
            assert!(
                (rig[1] - written[1]).abs() < within,
                "{late}: {rig:?} {written:?}\n{}",
                text(&place, "wren.measured.toml")
            );
        }
    }
}

#[test]
fn a_loop_and_blocks_of_audio_come_back_with_their_length() {
    let loops = "clock = \"grid\"\nout = [\"loop\"]\n[stage.loop]\nkind = \"poll\"\nperiod = \"4.37 ms\"\nphase = \"1 ms\"\ndrift = \"0 ppm\"";
    let blocks = "clock = \"grid\"\nout = [\"block\"]\n[stage.block]\nkind = \"audio-buffer\"\nframes = 256\nsample-rate = \"44100 Hz\"\n\
                  blocks = 2\nevents = \"block\"\nphase = \"1 ms\"\ndrift = \"0 ppm\"";
    for (late, kind, keys) in [
        (loops, "loop", &["kind = \"poll\"\nperiod = \"4.3"][..]),
        (
            blocks,
            "blocks",
            &["kind = \"audio-buffer\"\nframes = 256\nsample-rate = \"44100 Hz\"\nblocks = 2\nevents = \"block\""],
        ),
    ] {
        let place = place(late);
        let found = place.run(&format!("{MEASURE} --write wren.measured.toml --format json")).exits(0).stdout;
        let found: Value = serde_json::from_str(&found).expect("JSON");
        assert_eq!(found["findings"][0]["kind"]["name"], kind, "{late}: {found}");
        let written = text(&place, "wren.measured.toml");
        for key in keys {
            assert_eq!(written.matches(key).count(), 2, "as a stage and as a component: {written}");
        }
        // Where a loop looks first is not known: from its least to its largest gap are as far as one length of it.
        let rig = gaps(&place, "hitgap check rig.toml --format json", "original");
        let back = gaps(&place, "hitgap check wren.measured.toml --format json", "original");
        let ends =
            |all: &[[f64; 3]]| all.iter().fold((f64::MAX, f64::MIN), |e, gap| (e.0.min(gap[0]), e.1.max(gap[2])));
        let ((low, high), (from, to)) = (ends(&rig), ends(&back));
        assert!(
            (low - from).abs() < 0.5 && (high - to).abs() < 0.5,
            "{late}: {low} to {high}, {from} to {to}\n{written}"
        );
    }
}

#[test]
fn what_wavers_is_written_where_it_is_taken_as_it_lies() {
    let late = "clock = \"grid\"\nout = [\"late\", \"loose\"]\n[stage.late]\nkind = \"delay\"\ndelay = \"3 ms\"\n\
                [stage.loose]\nkind = \"jitter\"\neach = { sd = \"0.3 ms\" }";
    let place = place(late);
    let said = place.run(&format!("{MEASURE} --write refused.toml"));
    // Whether 64 hits tell a time from a small share is chance; what is refused says how to have it all the same.
    if said.status == Some(2) {
        assert!(said.stderr.contains("--accept") && !place.path("refused.toml").exists(), "{}", said.stderr);
    }
    place.run(&format!("{MEASURE} --write wren.measured.toml --accept")).exits(0);
    let written = text(&place, "wren.measured.toml");
    assert_eq!(written.matches("kind = \"jitter\"").count(), 2, "{written}");
    let rig = gaps(&place, "hitgap check rig.toml --format json", "original");
    let back = gaps(&place, "hitgap check wren.measured.toml --format json", "original");
    for (rig, back) in rig.iter().zip(&back) {
        // Four standard errors of the mean of 64 hits, drawn against the middle of all draws.
        assert!((rig[1] - back[1]).abs() < 4.0 * 0.3 / 8.0, "{rig:?} {back:?}\n{written}");
    }
}

#[test]
fn a_patch_gets_what_was_measured_as_a_fix_and_others_its_components() {
    let place = place(PLAIN[0].0);
    // The patch knows nothing of the 3 ms, and something else of its way.
    let plan = rig("clock = \"grid\"\nlatency = \"1 ms\"");
    let place = place.with("plan.toml", format!("# mine\n{plan}"));
    place
        .run(&format!("{MEASURE} --patch plan.toml --write plan.measured.toml").replace("pulse:clock", "pulse:grid"))
        .exits(0);
    let written = text(&place, "plan.measured.toml");
    assert!(written.starts_with("# mine\n") && written.contains("SHA-256 "), "{written}");
    let check = "hitgap check plan.measured.toml --format json";
    let (original, fixed) = (gaps(&place, check, "original"), gaps(&place, check, "measured"));
    for (original, fixed) in original.iter().zip(&fixed) {
        assert_eq!(original[1], 1.0);
        assert!((fixed[1] - 3.0).abs() < 0.005, "{fixed:?}\n{written}");
    }
    // Its component is one like others, for this patch and, from this file, for any other.
    let told = place
        .run("hitgap advise patches/late-bell.toml --on wren.clock --components plan.measured.toml")
        .exits(0)
        .stdout;
    assert!(told.contains("wren-delay"), "{told}");
    let mend = "hitgap mend patches/late-bell.toml --components plan.measured.toml --max-gap 5ms";
    let told = place.run(&format!("{mend} --keep nudge --keep dial --keep setting --keep cable")).exits(0).stdout;
    assert!(told.contains("wren-delay"), "{told}");
    // A box that the patch does not have is told, and nothing is written.
    let line = format!("{MEASURE} --patch patches/thin-ice.toml --write none.toml").replace("hits:wren", "hits:owl");
    let said = place.run(&line).exits(2).stderr;
    assert!(said.contains("owl is not written: the patch has no sequencer of that name"), "{said}");
    assert!(!place.path("none.toml").exists());
}

#[test]
fn hits_are_a_take_that_a_patch_reads() {
    let place = place(PLAIN[0].0);
    let said = place.run(&format!("{MEASURE} --onsets --page --plot")).exits(0).stdout;
    for file in ["at60.onsets.csv", "at90.onsets.csv", "at150.onsets.csv", "measured.html", "measured.wren.late.svg"] {
        assert!(said.contains(file) && place.path("out").join(file).exists(), "{file}: {said}");
    }
    assert!(!place.path("out").join("zero.onsets.csv").exists());
    let patch = "tempos = [60]\nbars = 4\nmax-gap = \"50 ms\"\n[clock.grid]\nrate = \"4 per beat\"\n[sequencer.clock]\nclock = \"grid\"\n\
                 steps = \"x\"\nvoice = \"click\"\n[hits.wren]\nfile = \"out/at60.onsets.csv\"\nvoice = \"snare\"\n";
    let place = place.with("take.toml", patch);
    let taken = gaps(&place, "hitgap check take.toml --format json", "original");
    assert!((taken[0][1] - 3.0).abs() < 0.005 && taken[0][2] - taken[0][0] < 0.02, "{taken:?}");
    let page = text(&place, "out/measured.html");
    // One page with all: the sentence, the tempos, five pictures (late, begins, a hit at each tempo), and no script.
    assert_eq!((page.matches("<svg").count(), page.matches("<script").count()), (5, 0));
    assert!(page.contains("wren comes 3.00 ms after the clock at each tempo"), "{}", page.len());
    // Nobody's file is written over.
    let place = place.with("out/measured.html", "mine");
    place.run(&format!("{MEASURE} --page")).exits(3);
    assert_eq!(text(&place, "out/measured.html"), "mine");
}

#[test]
fn what_to_record_is_told_for_a_patch() {
    Place::new().shows("measure-plan", &["hitgap measure --plan --patch patches/thin-ice.toml"]);
}
