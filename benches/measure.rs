//! What measuring costs: a clock and three drums on four channels of 24 bits, on all cores, for recordings of several lengths that
//! lie in a file; and the most memory that the program ever held. Nothing here passes or fails.

use hitgap::measure::{Recording, Request, Role, findings};
use hitgap::source::WavRecording;
use hound::{SampleFormat, WavSpec, WavWriter};
use std::f64::consts::TAU;
use std::hint::black_box;
use std::path::Path;
use std::time::Instant as Clock;

const RATE: u32 = 48_000;
/// Frames of a sixteenth at 120.
const STEP: u32 = 6_000;

/// A pulse a sixteenth; a low drum a quarter, a middle one every other and a high one on each sixteenth, 3 ms late; a hiss 50 dB under.
fn record(path: &Path, minutes: u32) {
    let spec = WavSpec { channels: 4, sample_rate: RATE, bits_per_sample: 24, sample_format: SampleFormat::Int };
    let mut writer = WavWriter::create(path, spec).expect("a file");
    let drum = |hz: f64, decay: f64| -> Vec<f64> {
        let sample = |n: u32| {
            let time = f64::from(n) / f64::from(RATE);
            0.5 * (TAU * hz * time).sin() * (-time / decay).exp()
        };
        (0..STEP).map(sample).collect()
    };
    let drums = [(drum(60.0, 0.03), 4), (drum(400.0, 0.02), 2), (drum(7_000.0, 0.01), 1)];
    let mut state = 1_u64;
    for frame in 0..minutes * 60 * RATE {
        let (step, within) = (frame / STEP, frame % STEP);
        writer.write_sample(if within < 240 { 4_000_000 } else { 0 }).expect("a sample");
        for (wave, every) in &drums {
            // A linear congruential generator: a hiss that costs nothing.
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            let hiss = ((state >> 33) as f64 / f64::from(1_u32 << 31) - 0.5) * 0.003;
            let hit = if step % every == 0 { within.checked_sub(144).map_or(0.0, |at| wave[at as usize]) } else { 0.0 };
            writer.write_sample(((hit + hiss) * 8_388_607.0) as i32).expect("a sample");
        }
    }
    writer.finalize().expect("a file");
}

/// The most memory that this process held, in MB, where the system says so.
fn most_memory() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    Some(line.split_whitespace().next()?.parse::<f64>().ok()? / 1024.0)
}

fn main() {
    let folder = tempfile::TempDir::new().expect("a folder");
    for minutes in [1, 3, 10] {
        let path = folder.path().join("rig.wav");
        record(&path, minutes);
        let roles = vec![Role::Pulses, Role::Hits, Role::Hits, Role::Hits];
        let request = Request { roles, tempos: vec![120.0], places: 4.0, first: None, zero: false };
        let start = Clock::now();
        let recording = WavRecording::open(&path).expect("a recording");
        let found = black_box(findings(&[&recording as &dyn Recording], &request).expect("a clock"));
        let seconds = start.elapsed().as_secs_f64();
        let hits: usize = found.findings.iter().flat_map(|of| &of.sessions).map(|of| of.gaps.len()).sum();
        let memory = most_memory().map_or_else(String::new, |mb| format!(", {mb:.0} MB at most so far"));
        println!("{minutes} minutes, four channels: {hits} hits in {seconds:.2} s{memory}");
    }
}
