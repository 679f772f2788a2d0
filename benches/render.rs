//! What a render costs, against the least that writing such a file through `hound` costs, and against writing as many bytes
//! plainly: 10 minutes of 8 sequencers that play sixteenths, 48 kHz, 24-bit stereo. Then from the patch to the file, with the
//! same noise at every hit and with noise of its own; and what memory 3 minutes and 3 hours take. Ratios are of one run;
//! nothing here passes or fails.

use hitgap::patch::{Asked, Patch};
use hitgap::rig::Run;
use hitgap::sound::render::{Bank, Channels, Cue, Format, Gain, LEAD_IN, Master, Program, Spec, Watch};
use hitgap::sound::score::{Ensemble, Part, Rendition, Seating};
use hitgap::time::{Beat, Tempo};
use hitgap::voice::NoiseKey;
use std::hint::black_box;
use std::io::Write;
use std::time::{Duration, Instant as Clock};

const MINUTES: i64 = 10;
const SPEC: Spec = Spec { format: Format::Pcm24, channels: Channels::Stereo, seed: 1 };

/// The kit twice over.
fn masters() -> Vec<Master> {
    let kit = hitgap::patch::kit();
    let voice = |n: usize| {
        let voice = &kit[n % kit.len()];
        let drawn = voice.sound.master(&NoiseKey::voice(n as u64, &voice.name));
        drawn.expect("the kit can be drawn")
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

/// The same from a patch on, at 120: read, played, drawn, mixed and written.
fn whole(noise: &str, minutes: u64) -> Duration {
    let file = tempfile::tempfile().expect("a temporary file");
    let start = Clock::now();
    let mut text = format!(
        "tempos = [120]\nbars = {}\nnoise = \"{noise}\"\n[clock.sixteenths]\nrate = \"4 per beat\"\n",
        30 * minutes
    );
    for n in 0..8 {
        let voice = ["kick", "snare", "hat", "click"][n % 4];
        text += &format!("[sequencer.s{n}]\nclock = \"sixteenths\"\nsteps = \"XXXX\"\nvoice = \"{voice}\"\n");
    }
    let patch = Patch::parse(&text, &Asked::default()).expect("a sound patch");
    let (rig, tempo) = (&patch.original.rig, Tempo::whole(120));
    let ensemble = Ensemble::new(&[rig], Seating::Patch, 1).expect("voices");
    let rendition = Rendition::play(rig, tempo, Run::Typical).expect("short");
    let part = Part { ensemble: &ensemble, of: 0, rendition: &rendition, only: None };
    let bank = Bank::new(48_000, ensemble.sounds()).expect("a usual rate");
    let program = Program::of(&bank, part.cues(), LEAD_IN, rendition.end()).expect("a sound program");
    black_box(program.write(&SPEC, Gain::Auto, &file, Watch::nobody()).expect("room for the file"));
    start.elapsed()
}

/// Blocks of nothing much into a file, to the system or to the disk itself.
fn plain_write(bytes: u64, to_the_disk: bool) -> Duration {
    let mut file = tempfile::tempfile().expect("a temporary file");
    let block = vec![7_u8; 1 << 16];
    let start = Clock::now();
    for _ in 0..bytes / block.len() as u64 {
        file.write_all(&block).expect("room for the file");
    }
    if to_the_disk {
        file.sync_all().expect("a disk");
    }
    start.elapsed()
}

/// What a render of so many minutes takes at most, in MiB, in a process of its own.
fn memory_of(minutes: u64) -> Option<f64> {
    let this = std::env::current_exe().ok()?;
    let output = std::process::Command::new(this).args(["--memory", &minutes.to_string()]).output().ok()?;
    String::from_utf8(output.stdout).ok()?.trim().parse().ok()
}

/// The largest memory that this process has had, in MiB, where the system tells.
fn peak_memory() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    Some(line.trim().trim_end_matches(" kB").parse::<f64>().ok()? / 1024.0)
}

fn main() {
    let words: Vec<String> = std::env::args().collect();
    if let Some(at) = words.iter().position(|word| word == "--memory") {
        let minutes = words[at + 1].parse().expect("minutes");
        whole("same", minutes);
        println!("{:.2}", peak_memory().unwrap_or(f64::NAN));
        return;
    }
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
    let mut least = [f64::INFINITY; 11];
    let frames = 48_000 * 60 * MINUTES.unsigned_abs();
    for _ in 0..7 {
        let round = [
            hound(frames),
            render(&masters, tempos[0]),
            one.install(|| render(&masters, tempos[0])),
            render(&masters, tempos[1]),
            one.install(|| render(&masters, tempos[1])),
            whole("same", MINUTES.unsigned_abs()),
            one.install(|| whole("same", MINUTES.unsigned_abs())),
            whole("fresh", MINUTES.unsigned_abs()),
            one.install(|| whole("fresh", MINUTES.unsigned_abs())),
            plain_write(frames * 6, false),
            plain_write(frames * 6, true),
        ];
        for (least, run) in least.iter_mut().zip(round) {
            *least = least.min(run.as_secs_f64());
        }
    }
    let [writing, ..] = least;
    println!("hound, sample by sample: {writing:.3} s");
    let plainly = least[9];
    println!("as many bytes, block by block: {plainly:.3} s, {:.2} of hound's time", plainly / writing);
    println!("and sent to the disk: {:.3} s, {:.2} of hound's time", least[10], least[10] / writing);
    let names = ["at 120", "at 127.3", "from the patch on, same noise", "from the patch on, fresh noise"];
    for (name, times) in names.iter().zip(least[1..9].chunks_exact(2)) {
        let [all, one] = [times[0], times[1]];
        println!(
            "render {name}: {all:.3} s, {:.2} of hound's time, {:.2} of plain writing; {:.2} on one thread, which takes {:.2} times as long",
            all / writing,
            all / plainly,
            one / writing,
            one / all
        );
    }
    if let (Some(short), Some(long)) = (memory_of(3), memory_of(180)) {
        println!("memory: {short:.1} MiB for 3 minutes, {long:.1} MiB for 3 hours, {:.2} times as much", long / short);
    }
}
