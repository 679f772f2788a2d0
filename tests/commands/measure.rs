//! Recordings that are measured: a clock and a box that is three milliseconds late, sample for sample.

use super::place::Place;
use hound::{SampleFormat, WavSpec, WavWriter};
use serde_json::Value;
use std::f64::consts::TAU;
use std::io::Cursor;

/// Sixteen pulses of 5 ms, a sixteenth apart at this tempo, and a beep of 1 kHz that begins 3 ms after each.
fn recorded(tempo: usize) -> Vec<u8> {
    let spec = WavSpec { channels: 2, sample_rate: 48_000, bits_per_sample: 24, sample_format: SampleFormat::Int };
    let mut bytes = Cursor::new(Vec::new());
    let mut writer = WavWriter::new(&mut bytes, spec).expect("memory");
    let period = 48_000 * 15 / tempo;
    for n in 0..17 * period {
        let since = n.checked_sub(period).filter(|since| since / period < 16).map(|since| since % period);
        let pulse = if since.is_some_and(|since| since < 240) { 0.5 } else { 0.0 };
        let beep = since.and_then(|since| since.checked_sub(144)).map_or(0.0, |since| {
            let time = since as f64 / 48_000.0;
            0.5 * (TAU * 1_000.0 * time).sin() * (-time / 0.004).exp()
        });
        for value in [pulse, beep] {
            writer.write_sample((value * 8_388_607.0) as i32).expect("memory");
        }
    }
    writer.finalize().expect("memory");
    bytes.into_inner()
}

fn place() -> Place {
    Place::new().with("slow.wav", recorded(60)).with("fast.wav", recorded(120))
}

const BOTH: &str = "hitgap measure slow.wav fast.wav --tempo 60,120 --channels pulse:clock,hits:wren";

#[test]
fn a_box_that_is_late_is_measured() {
    let place = place();
    let said = place.run(BOTH).exits(0).stdout;
    let first = said.lines().next().expect("a sentence");
    assert!(
        first.starts_with("wren comes ") && first.ends_with(" ms after the clock at each tempo; it does not waver"),
        "{first}"
    );
    let found: Value =
        serde_json::from_str(&place.run(&format!("{BOTH} --format json")).exits(0).stdout).expect("JSON");
    let finding = &found["findings"][0];
    assert_eq!((&finding["name"], &finding["kind"]["name"]), (&Value::from("wren"), &Value::from("fixed")));
    // A tenth of the peak of a sine that begins with nothing comes within its first quarter of a millisecond; samples are 21 us apart.
    let fixed = finding["fixed_s"]["value"].as_f64().expect("a time");
    assert!((2.95e-3..3.25e-3).contains(&fixed), "{fixed}");
    let csv = place.run(&format!("{BOTH} --format csv")).exits(0).stdout;
    assert_eq!(csv.lines().count(), 1 + 2 * 16, "{csv}");
}

#[test]
fn what_cannot_be_measured_is_told() {
    let place = place().with("notes.wav", "no sound at all, but words");
    for (command, told) in [
        (BOTH.replace("60,120", "60"), "there are 2 files and 1 tempo"),
        (BOTH.replace("60,120", "60,100"), "has pulses 125.000 ms apart"),
        (BOTH.replace("60,120", "60,100"), "is it 120?"),
        (BOTH.replace("pulse:clock,", ""), "found hits of one box and no pulses"),
        (BOTH.replace("hits:wren", "hits:wren,hits:ox"), "has 2 channels, and --channels names 3"),
        (BOTH.replace("wren", "wren --grid often"), "expected a rate such as"),
        (BOTH.replace("fast.wav", "notes.wav"), "is no WAV file that can be read"),
    ] {
        let said = place.run(&command).exits(2).stderr;
        assert!(said.contains(told), "{command}: {said}");
    }
}
