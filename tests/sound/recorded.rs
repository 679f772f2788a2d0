//! Drums from files, as a renderer plays them.

use crate::placement::two_renders_differ_by_their_delay;
use crate::wav_files::decoded;
use hitgap::sound::render::{Bank, Channels, Cue, Format, Gain, Master, Memory, Program, Spec, Watch};
use hitgap::time::{Instant, Span};
use hitgap::voice::recorded::{Cut, Stroke};
use hitgap::voice::{Drum, NoiseKey};
use std::process::Command;

/// The file of one voice of the kit alone, its hit 50 ms after the start.
fn kit_file(name: &str, rate: u32, format: Format, channels: Channels) -> Vec<u8> {
    let voice = hitgap::patch::kit().iter().find(|v| v.name == name).expect("in the kit");
    let master = voice.sound.master(&NoiseKey::voice(1, name)).expect("the kit can be drawn");
    let bank = Bank::new(rate, vec![master]).expect("a usual rate");
    let cue = Cue { at: Instant(0), voice: 0, left: 0.5, right: 0.5 };
    let program = Program::new(&bank, vec![cue], Span::from_ms(50), Instant(0)).expect("a program");
    let memory = Memory::default();
    let spec = Spec { format, channels, seed: 1 };
    program.write(&spec, Gain::Fixed(1.0), &memory, Watch::nobody()).expect("room");
    memory.into_bytes()
}

fn master(bytes: &[u8], cut: Cut) -> Master {
    let stroke = Stroke::new(bytes, String::new(), cut).expect("a drum");
    Drum::recorded(&stroke).master(&NoiseKey::new(0, ""))
}

#[test]
fn a_recorded_drum_keeps_its_delay() {
    for (name, rate) in [("kick", 44_100), ("snare", 48_000), ("hat", 44_100)] {
        let master = master(&kit_file(name, rate, Format::Pcm24, Channels::Mono), Cut::default());
        for out in [44_100, 48_000, 96_000] {
            two_renders_differ_by_their_delay(name, &master, out);
        }
    }
}

/// A file of any rate is heard as the drum that was recorded: read back at the place where it was struck, it is the kit's own.
#[test]
fn a_drum_of_the_kit_on_its_way_through_a_file_comes_back() {
    let at = Cut { onset: Some(Span::from_ms(50)), trim: None };
    for name in ["kick", "snare", "hat", "click"] {
        let voice = hitgap::patch::kit().iter().find(|v| v.name == name).expect("in the kit");
        let own = voice.sound.master(&NoiseKey::voice(1, name)).expect("the kit can be drawn");
        let top = own.samples.iter().fold(0.0_f32, |m, x| m.max(x.abs()));
        for rate in [96_000, 192_000, 48_000, 44_100] {
            let back = master(&kit_file(name, rate, Format::Float32, Channels::Stereo), at);
            let of = |master: &Master, n: i64| {
                usize::try_from(n + master.pre).ok().and_then(|n| master.samples.get(n)).copied().unwrap_or(0.0)
            };
            let off = |n: i64| (of(&own, n) / top - of(&back, n)).abs();
            let worst = (-2_000..300_000).map(off).fold(0.0, f32::max);
            // Of what the masters hold above 18 kHz a little is lost, 5e-6 by the same sums in numpy; and 3e-6 at either end.
            assert!(worst < 1e-5, "{name} at {rate} Hz: {worst:e}");
        }
    }
}

/// The rule finds the onset of a drum of the kit where `numpy` and `scipy` find it by the same rule, before its instant, at
/// either rate.
#[test]
fn the_onsets_of_the_kit_are_those_of_another_library() {
    for (name, rate, us, within_us) in [
        ("kick", 96_000, -182.363, 40.0),
        ("kick", 44_100, -182.370, 40.0),
        ("snare", 96_000, -158.076, 40.0),
        ("snare", 44_100, -158.071, 40.0),
        ("hat", 96_000, -166.609, 49.69),
        ("hat", 44_100, -166.505, 49.69),
        ("click", 96_000, -231.143, 63.15),
        ("click", 44_100, -231.144, 63.15),
    ] {
        let file = kit_file(name, rate, Format::Float32, Channels::Mono);
        let onset = Stroke::new(&file, String::new(), Cut::default()).expect("a drum").onset;
        // Printed to a nanosecond; the files are of floating point, 24 bits.
        assert!(((onset.at_s - 0.05) * 1e6 - us).abs() < 0.002, "{name} at {rate} Hz: {onset:?}");
        assert!((onset.within_s * 1e6 - within_us).abs() < 0.01, "{name} at {rate} Hz: {onset:?}");
    }
}

/// `ffmpeg`, where it is there, makes AIFF and FLAC of a WAV file: the three are one drum.
#[test]
fn formats_agree() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name);
    let wav = kit_file("snare", 44_100, Format::Pcm24, Channels::Stereo);
    std::fs::write(path("a.wav"), &wav).expect("a file");
    let meant = Stroke::new(&wav, String::new(), Cut::default()).expect("a drum");
    let made = |name: &str, codec: &[&str]| {
        let mut command = Command::new("ffmpeg");
        let ran = command.args(["-loglevel", "error", "-i"]).arg(path("a.wav")).args(codec).arg(path(name)).output();
        ran.is_ok_and(|ran| ran.status.success())
    };
    for (name, codec) in [
        ("a.aiff", &["-c:a", "pcm_s24be"][..]),
        ("a.flac", &["-c:a", "flac", "-sample_fmt", "s32", "-bits_per_raw_sample", "24"]),
    ] {
        if !made(name, codec) {
            println!("skipped: no ffmpeg makes {name}");
            continue;
        }
        let bytes = std::fs::read(path(name)).expect("a file");
        let read = Stroke::new(&bytes, String::new(), Cut::default()).expect("a drum");
        assert_eq!((read.onset, read.file.rate, read.file.channels), (meant.onset, 44_100, 2), "{name}");
        let masters = [&read, &meant].map(|stroke| Drum::recorded(stroke).master(&NoiseKey::new(0, "")));
        assert_eq!(masters[0], masters[1], "{name}");
    }
    // And WAV by another reader than the program's.
    assert_eq!(decoded(wav).0, 44_100);
}
