use super::place::Place;
use super::wav::Wav;
use serde_json::Value;

#[test]
fn the_kit_for_people_and_programs() {
    let place = Place::new();
    place.shows("voices", &["hitgap voices", "hitgap voices --format json", "hitgap voices --format csv"]);
    assert!(!place.path("out").exists(), "a list makes no files");
    place.shows("voices-render", &["hitgap voices --render --out there"]);
    assert_eq!(place.sounds("there").len(), 4);
}

/// Measured figures are no finer than they were measured: no `185.00000000000003`.
#[test]
fn figures_have_no_idle_digits() {
    let place = Place::new();
    let flam = "hitgap flam --delay 1.1ms,0.3ms,7us --tempo 127.3 --sample-rate 44100 --format csv";
    for line in ["hitgap voices --format csv", "hitgap voices --format json", flam] {
        let text = place.run(line).exits(0).stdout;
        let long = |word: &&str| word.split_once('.').is_some_and(|(_, decimals)| decimals.len() > 9);
        let words = text.split(|c: char| !c.is_ascii_digit() && c != '.');
        assert_eq!(words.filter(long).collect::<Vec<_>>(), Vec::<&str>::new());
    }
    assert!(place.run("hitgap voices --format csv").exits(0).stdout.contains("snare,snare,-1,185,"));
}

#[test]
fn what_the_list_says_can_be_written_in_a_patch() {
    let place = Place::new();
    let list: Value = serde_json::from_str(&place.run("hitgap voices --format json").exits(0).stdout).expect("JSON");
    for voice in list["voices"].as_array().expect("a list") {
        let settings = voice["settings"].as_object().expect("settings");
        let lines: String = settings.iter().map(|(key, value)| format!("{key} = {value}\n")).collect();
        let model = format!("[voice.bell]\nmodel = {}\n{lines}\n[voice.unused]", voice["model"]);
        let place = Place::new().with_changed(
            "mine.toml",
            "late-bell.toml",
            &[
                ("[voice.bell]", &model),
                ("model = \"kick\"\npitch-start = \"440 Hz\"", "model = \"kick\"\npitch-start = \"441 Hz\""),
            ],
        );
        let ran = place.run("hitgap check mine.toml --fix or-gate").exits(0);
        assert!(!ran.stderr.contains("error"), "{}", ran.stderr);
    }
}

/// A hit sounds at the lead-in: before it there is nothing but the few samples of its band's edge.
#[test]
fn each_voice_is_written_alone_where_the_lead_in_ends() {
    let place = Place::new();
    place.run("hitgap voices --render --lead-in 50ms --bits 32").exits(0);
    for (name, bytes) in place.sounds("out") {
        let wav = Wav::read(&bytes);
        let largest = wav.left().iter().fold(0.0_f64, |m, s| m.max(s.abs()));
        let before = wav.between(0.0, 0.049).iter().fold(0.0_f64, |m, s| m.max(s.abs()));
        assert!(before < 1e-3 * largest, "{name}: {before:e}");
        let first = wav.left().iter().position(|s| s.abs() > 0.1 * largest).expect("sound") as f64 / 48_000.0;
        assert!((0.0495..0.0505).contains(&first), "{name}: {first}");
        // The tail ends below −90 dB.
        let end = wav.left().iter().rev().take(4).fold(0.0_f64, |m, s| m.max(s.abs()));
        assert!(end < 10_f64.powf(-90.0 / 20.0) * largest, "{name}: {end:e}");
        // A meter of BS.1770 has something to say of it, and of its 3 s.
        let mut meter = ebur128::EbuR128::new(1, 48_000, ebur128::Mode::I | ebur128::Mode::S).expect("a meter");
        meter.add_frames_f64(wav.left()).expect("frames");
        let [whole, short] = [meter.loudness_global(), meter.loudness_shortterm()].map(|l| l.expect("a loudness"));
        assert!(whole > -60.0 && short > -70.0, "{name}: {whole} and {short} LUFS");
        assert!(wav.left().len() >= 3 * 48_000, "{name}");
    }
}
