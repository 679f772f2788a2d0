//! What a render costs, against the least that writing such a file through `hound` costs: 10 minutes of 8 sequencers
//! that play sixteenths, 48 kHz, 24-bit stereo. Ratios are of one run; nothing here passes or fails.

use hitgap::render::{Bank, Channels, Cue, Format, Gain, LEAD_IN, Master, Program, Spec, Watch};
use hitgap::time::{Beat, Tempo};
use hitgap::voice::NoiseKey;
use std::hint::black_box;
use std::time::{Duration, Instant as Clock};

const MINUTES: i64 = 10;
const SPEC: Spec = Spec { format: Format::Pcm24, channels: Channels::Stereo, seed: 1 };

/// The kit twice over.
fn masters() -> Vec<Master> {
    let kit = hitgap::patch::kit();
    let voice = |n: usize| {
        let voice = &kit[n % kit.len()];
        let drawn = hitgap::voice::master(&voice.settings, &NoiseKey::voice(n as u64, &voice.name));
        let drawn = drawn.expect("the kit can be drawn");
        Master { samples: drawn.samples, pre: drawn.pre as i64 }
    };
    (0..8).map(voice).collect()
}

fn program(bank: &Bank, tempo: Tempo) -> Program<'_> {
    let sixteenths = MINUTES * tempo.bpm().round() as i64 * 4;
    let hit = |k: i64, n: u32| {
        let at = tempo.instant(Beat::new(i128::from(k), 4));
        let pan = f64::from(n) / 7.0;
        Cue { at, voice: n, left: (1.0 - pan).sqrt() as f32, right: pan.sqrt() as f32 }
    };
    let cues = (0..sixteenths).flat_map(|k| (0..8).map(move |n| hit(k, n))).collect();
    let end = tempo.instant(Beat::new(i128::from(sixteenths), 4));
    Program::new(bank, cues, LEAD_IN, end).expect("a sound program")
}

/// The bank is made anew, so that its caches are paid for.
fn render(masters: &[Master], tempo: Tempo) -> Duration {
    let file = tempfile::tempfile().expect("a temporary file");
    let start = Clock::now();
    let bank = Bank::new(48_000, masters.to_vec()).expect("a usual rate");
    let program = program(&bank, tempo);
    let written = program.write(&SPEC, Gain::Auto, &file, Watch::nobody()).expect("room for the file");
    black_box(written);
    start.elapsed()
}

fn hound(frames: u64) -> Duration {
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: 48_000,
        bits_per_sample: 24,
        sample_format: hound::SampleFormat::Int,
    };
    let file = std::io::BufWriter::new(tempfile::tempfile().expect("a temporary file"));
    let start = Clock::now();
    let mut writer = hound::WavWriter::new(file, spec).expect("a header");
    for i in 0..frames as i32 {
        writer.write_sample(i & 0xFFFF).expect("room for the file");
        writer.write_sample(-(i & 0xFFFF)).expect("room for the file");
    }
    writer.finalize().expect("room for the file");
    start.elapsed()
}

/// The largest memory that this process has had, in MiB, where the system tells.
fn peak_memory() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    Some(line.trim().trim_end_matches(" kB").parse::<f64>().ok()? / 1024.0)
}

fn main() {
    let masters = masters();
    let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().expect("a thread");
    let tempos = ["120", "127.3"].map(|text| text.parse::<Tempo>().expect("a tempo"));
    let before = peak_memory();
    for tempo in tempos {
        let _ = render(&masters, tempo);
        if let (Some(before), Some(after)) = (before, peak_memory()) {
            println!("memory beyond the program itself after a render at {tempo}: {:.1} MiB", after - before);
        }
    }
    // The least of several rounds, in turn, so that what else the machine does meets all alike.
    let mut least = [f64::INFINITY; 5];
    for _ in 0..7 {
        let round = [
            hound(48_000 * 60 * MINUTES.unsigned_abs()),
            render(&masters, tempos[0]),
            one.install(|| render(&masters, tempos[0])),
            render(&masters, tempos[1]),
            one.install(|| render(&masters, tempos[1])),
        ];
        for (least, run) in least.iter_mut().zip(round) {
            *least = least.min(run.as_secs_f64());
        }
    }
    let [writing, ..] = least;
    println!("hound, sample by sample: {writing:.3} s");
    let names = ["at 120", "at 120 on one thread", "at 127.3", "at 127.3 on one thread"];
    for (name, time) in names.iter().zip(&least[1..]) {
        println!("render {name}: {time:.3} s, {:.2} of hound's time", time / writing);
    }
}
