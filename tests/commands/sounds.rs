//! Drums from files, as patches name them.

use super::place::Place;
use super::wav::Wav;
use serde_json::Value;

/// The kit as files of 96 kHz, each hit 100 ms after the start, in `kit`.
fn with_kit() -> Place {
    let place = Place::new();
    place.run("hitgap voices --render --sample-rate 96000 --bits 32 --out kit").exits(0);
    place
}

/// A patch of two boxes; the first plays `drum`, the second the kit's hat.
fn patch(voice: &str, steps: &str) -> String {
    format!(
        "tempos = [97]\nbars = 1\n[clock.sixteenths]\nrate = \"4 per beat\"\nshift = \"1.2345678 ms\"\n\
         [sequencer.ox]\nclock = \"sixteenths\"\nsteps = \"{steps}\"\nvoice = \"drum\"\n\
         [sequencer.wren]\nclock = \"sixteenths\"\nsteps = \"..x.\"\nvoice = \"hat\"\n\
         [fix.later]\nset.\"clock.sixteenths.shift\" = \"3 ms\"\n\
         [voice.drum]\n{voice}\n"
    )
}

fn rendered(place: &Place, name: &str) -> Vec<Vec<f64>> {
    place.run(&format!("hitgap render {name}.toml --bits 32 --out {name}")).exits(0);
    Wav::read(&place.read(&format!("{name}/{name}.original.97bpm.wav"))).channels
}

/// A voice of the kit that went through a file sounds at the same instants as the voice itself.
#[test]
fn a_voice_of_the_kit_through_a_file_renders_as_itself() {
    for (kit, level) in [("kick", "0 dB"), ("snare", "-1 dB")] {
        let voice = format!("file = \"kit/voice.{kit}.wav\"\nonset = \"100 ms\"\nlevel = \"{level}\"\n");
        // Noise is drawn by the voice's name.
        let own = patch("", "X..x").replace("\"drum\"", &format!("\"{kit}\"")).replace("[voice.drum]\n", "");
        // Nobody else: a file is brought to a peak of full scale first, so the two stand differently in a mix.
        let alone = |text: String| {
            let (before, after) = text.split_once("[sequencer.wren]").expect("another box");
            format!("{before}[fix.later]{}", after.split_once("[fix.later]").expect("a fix").1)
        };
        let place = with_kit().with("own.toml", alone(own)).with("file.toml", alone(patch(&voice, "X..x")));
        let [own, file] = ["own", "file"].map(|name| rendered(&place, name));
        // Of a file what is silent at its end is left out, and that may end a sample or two sooner.
        assert!(own[0].len().abs_diff(file[0].len()) < 10);
        let both = || own.iter().zip(&file).flat_map(|(own, file)| own.iter().zip(file));
        let gain = both().map(|(a, b)| a * b).sum::<f64>() / both().map(|(a, _)| a * a).sum::<f64>();
        let worst = both().map(|(a, b)| (a - b / gain).abs()).fold(0.0, f64::max);
        let peak = both().fold(0.0_f64, |m, (x, _)| m.max(x.abs()));
        assert!(peak > 0.2 && worst < 1e-5, "{kit}: {worst:e} of {peak}");
    }
}

/// What is struck softly is played from its own file, and as loud as its velocity says.
#[test]
fn softer_strokes_have_files_of_their_own() {
    let file = |name: &str| format!("\"kit/voice.{name}.wav\"");
    let both = format!("file = {}\nsofter = {{ 100 = {}, 40 = {} }}\n", file("kick"), file("snare"), file("click"));
    let place = with_kit()
        .with("hard.toml", patch(&format!("file = {}", file("kick")), "X..."))
        .with("soft.toml", patch(&format!("file = {}", file("snare")), "x..."))
        .with("both-hard.toml", patch(&both, "X..."))
        .with("both-soft.toml", patch(&both, "x..."));
    for (one, other) in [("hard", "both-hard"), ("soft", "both-soft")] {
        assert_eq!(rendered(&place, one), rendered(&place, other), "{one}");
    }
    assert_ne!(rendered(&place, "hard"), rendered(&place, "soft"));
}

#[test]
fn the_voices_of_a_patch_for_people_and_programs() {
    let file = "file = \"kit/voice.kick.wav\"\nsofter = { 100 = \"kit/voice.snare.wav\" }\ntrim = \"200 ms\"\nlevel = \"-3 dB\"\n";
    let place = with_kit().with("mine.toml", patch(file, "X..x"));
    let table = place.run("hitgap voices mine.toml").exits(0).stdout;
    for said in [
        "drum — played from 2 files, one a stroke",
        "kit/voice.kick.wav (up to velocity 127)",
        "kit/voice.snare.wav (up to velocity 100)",
        "WAV, 96000 Hz, two channels, mixed to one",
        "found, to within 0.04 ms",
        "strongest at ",
        "−3 dB in the mix",
        "hat — ",
    ] {
        assert!(table.contains(said), "{said}\n{table}");
    }
    let csv = place.run("hitgap voices mine.toml --format csv").exits(0).stdout;
    assert_eq!(
        csv.lines().filter(|line| line.starts_with("drum,,-3,") && line.contains(",onset,0.099")).count(),
        2,
        "{csv}"
    );
    let said: Value =
        serde_json::from_str(&place.run("hitgap voices mine.toml --format json").exits(0).stdout).expect("JSON");
    let kick = &said["voices"][0]["files"][0];
    // The kit's instant is at 100 ms in its file, and the tenth of its attack 158 to 231 µs before (docs/decisions.md).
    let onset = kick["onset_ms"].as_f64().expect("an onset");
    assert!((99.76..99.85).contains(&onset), "{onset}");
    assert_eq!(kick["onset_within_ms"], 0.04);
    place.run("hitgap voices mine.toml --plot --out drawn").exits(0);
    assert_eq!(place.names("drawn"), [".hitgap-lock", "manifest.json", "mine.voice.drum.svg", "mine.voice.hat.svg"]);
    let svg = String::from_utf8(place.read("drawn/mine.voice.drum.svg")).expect("text");
    for said in ["± 0.04 ms", "kit/voice.kick.wav", "kit/voice.snare.wav", "after the start of the file, found"] {
        assert!(svg.contains(said), "{said}");
    }
    place.run("hitgap voices --plot --out kit-drawn").exits(0);
    assert_eq!(place.names("kit-drawn").len(), 6);
}

/// What plays voices plays those of files.
#[test]
fn pages_and_pictures_play_it() {
    let place = with_kit().with("mine.toml", patch("file = \"kit/voice.kick.wav\"", "X..x"));
    for line in ["hitgap check mine.toml --plot", "hitgap compare mine.toml", "hitgap train --patch mine.toml"] {
        let ran = place.run(line);
        assert!(!ran.stderr.contains("error"), "{line}\n{}", ran.stderr);
    }
    assert!(place.names("out").iter().any(|name| name == "mine.html"), "{:?}", place.names("out"));
    let page = String::from_utf8(place.read("out/train.mine.drum+hat.97bpm.html")).expect("text");
    let said: Value =
        serde_json::from_str(&place.run("hitgap voices mine.toml --format json").exits(0).stdout).expect("JSON");
    let sum = said["voices"][0]["files"][0]["sha256"].as_str().expect("a checksum");
    assert!(page.contains(&format!("{{\"name\":\"drum\",\"sound\":\"{sum}\"}}")), "the page says which sound it plays");
}

/// A threshold is one of the very sounds that were heard.
#[test]
fn an_ear_file_says_which_sounds_it_was_measured_with() {
    let place = with_kit().with("mine.toml", patch("file = \"kit/voice.kick.wav\"", "X..x"));
    place.run("hitgap train --patch mine.toml --simulate 6ms").exits(0);
    place.run("hitgap results out/train.mine.drum+hat.97bpm.json --save ear.toml").exits(0);
    let ear = String::from_utf8(place.read("ear.toml")).expect("text");
    assert!(ear.contains("voices = [\"drum\", \"hat\"]\nsounds = [\""), "{ear}");
    let said = |place: &Place| place.run("hitgap check mine.toml --ear ear.toml").stdout;
    assert!(said(&place).contains("other sounds and tasks have thresholds of their own"), "{}", said(&place));
    let place = place.with("mine.toml", patch("file = \"kit/voice.snare.wav\"", "X..x"));
    assert!(said(&place).contains("with other recordings under these names"), "{}", said(&place));
}

/// The bytes of a render follow from the file's, and so does the checksum in the manifest.
#[test]
fn another_file_under_the_name_is_another_patch() {
    let place = with_kit().with("mine.toml", patch("file = \"drum.wav\"", "X..x"));
    let sum = |kit: &str| {
        std::fs::copy(place.path(&format!("kit/voice.{kit}.wav")), place.path("drum.wav")).expect("a copy");
        place.run("hitgap render mine.toml --out here").exits(0);
        let manifest: Value = serde_json::from_slice(&place.read("here/manifest.json")).expect("JSON");
        manifest["files"][0]["patch_sha256"].as_str().map(str::to_owned)
    };
    let [one, other] = ["kick", "snare"].map(sum);
    assert!(one.is_some() && one != other, "{one:?} {other:?}");
    assert_eq!(sum("kick"), one);
}

/// Bytes of a WAV file of 16 bits.
fn wav(channels: u16, rate: u32, samples: impl Iterator<Item = i16>) -> Vec<u8> {
    let spec =
        hound::WavSpec { channels, sample_rate: rate, bits_per_sample: 16, sample_format: hound::SampleFormat::Int };
    let mut bytes = std::io::Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut bytes, spec).expect("a file in memory");
    samples.for_each(|x| writer.write_sample(x).expect("a sample"));
    writer.finalize().expect("a file in memory");
    bytes.into_inner()
}

/// What is wrong with a file is told, and what to do.
#[test]
fn hostile_files_are_answered() {
    let hit = |n: u32| {
        let t = f64::from(n) / 48_000.0;
        (12_000.0 * (-t / 0.05).exp() * (std::f64::consts::TAU * 200.0 * t).sin()) as i16
    };
    let good = || wav(1, 48_000, (0..24_000).map(hit));
    let mut lying = good();
    lying[40..44].copy_from_slice(&0x7fff_fff0_u32.to_le_bytes());
    let long = wav(1, 48_000, (0..240_000).map(|n| if n % 240 < 120 { 9_000 } else { -9_000 }));
    let loud = |n: u32| (i32::from(hit(n)) * 5).clamp(-32_768, 32_767) as i16;
    let cases = [
        ("long", long, 2, "s after its onset, expected at most 3 s\nhelp: write trim = \"1 s\""),
        ("hour", wav(1, 8_000, (0..8_000 * 61).map(|_| 5)), 2, "it promises 61 s of sound, expected at most 60 s"),
        ("silent", wav(1, 48_000, (0..48_000).map(|_| 0)), 2, "it is silent"),
        ("offset", wav(1, 48_000, (0..48_000).map(|n| hit(n) + 4_000)), 0, "it stands off zero by"),
        ("clipped", wav(1, 48_000, (0..24_000).map(loud)), 0, "it is clipped"),
        ("eight", wav(8, 48_000, (0..48_000).map(hit)), 2, "it has 8 channels, expected 1 or 2"),
        ("opposite", wav(2, 48_000, (0..24_000).flat_map(|n| [hit(n), -hit(n)])), 2, "cancel each other"),
        ("short", good()[..20_000].to_vec(), 2, "its header promises 24000 samples a channel, and 9978 are there"),
        ("lying", lying, 2, "its header promises 1073741816 samples a channel, and 24000 are there"),
        ("text", b"this is no sound".to_vec(), 2, "expected WAV, AIFF or FLAC"),
    ];
    for (name, bytes, status, told) in cases {
        let place = Place::new().with("drum.wav", bytes).with("p.toml", patch("file = \"drum.wav\"", "X..x"));
        let ran = place.run("hitgap voices p.toml").exits(status);
        assert!(ran.stderr.contains(told), "{name}: {}", ran.stderr);
        // Each refusal says what to do.
        assert!(status == 0 || ran.stderr.contains("\nhelp: "), "{name}: {}", ran.stderr);
    }
    let place = Place::new().with("p.toml", patch("file = \"none.wav\"", "X..x"));
    let ran = place.run("hitgap voices p.toml").exits(3);
    assert!(ran.stderr.contains("help: look at the spelling: `file` is relative to the patch file"), "{}", ran.stderr);
}

/// A patch from somewhere else leads to its own folder and below.
#[test]
fn a_patch_leads_no_further_than_its_folder() {
    let place = with_kit()
        .with("own/mine.toml", patch("file = \"../kit/voice.kick.wav\"", "X..x"))
        .with("own/plain.toml", patch("file = \"here/a.wav\"", "X..x"));
    std::fs::create_dir(place.path("own/here")).expect("a folder");
    std::fs::copy(place.path("kit/voice.kick.wav"), place.path("own/here/a.wav")).expect("a copy");
    let refused = place.run("hitgap voices own/mine.toml").exits(2).stderr;
    assert!(refused.contains("lies outside of the patch's folder") && refused.contains("--allow-files"), "{refused}");
    place.run("hitgap voices own/mine.toml --allow-files").exits(0);
    place.run("hitgap voices own/plain.toml").exits(0);
}
