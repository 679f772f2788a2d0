//! What chance costs: 10,000 runs of 8 bars with two sequencers, and with eight, at one tempo, on all cores and on one;
//! nothing here passes or fails. A name on the command line picks the cases that have it in theirs, a number the runs.

use hitgap::judge::runs::{Trials, chances};
use hitgap::patch::{Asked, Patch};
use hitgap::time::{Span, Tempo};
use std::hint::black_box;
use std::time::Instant as Clock;

const BLINKS: &str = include_str!("../patches/moth-blinks.toml");

/// So many sequencers on sixteenths, each behind a channel of one jittering stage.
fn jittery(sequencers: usize) -> String {
    let clock = "[clock.sixteenths]\nrate = \"4 per beat\"\n[clock.home]\nrate = \"1 per 16 beats\"\n";
    let stage = "[stage.loose]\nkind = \"jitter\"\neach = { sd = \"1 ms\" }\n";
    let box_ = |n| {
        format!(
            "[sequencer.s{n}]\nclock = [\"sixteenths\", \"loose\"]\nreset = \"home\"\nreset-mode = \"this-clock\"\n\
             steps = \"X...x...X...x...\"\nvoice = \"click\"\n"
        )
    };
    format!("tempos = [120]\nbars = 8\n{clock}{stage}{}", (0..sequencers).map(box_).collect::<String>())
}

fn main() {
    let words: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with('-')).collect();
    let runs = words.iter().find_map(|w| w.parse().ok()).unwrap_or(10_000);
    let only = words.iter().find(|w| w.parse::<u64>().is_err());
    let cases = [
        ("moth-blinks, a poll and a delay", BLINKS.to_owned(), Some("or-gate")),
        ("two sequencers, jitter", jittery(2), None),
        ("eight sequencers, jitter", jittery(8), None),
    ];
    let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    for (name, text, fix) in cases.iter().filter(|c| only.is_none_or(|o| c.0.contains(o.as_str()))) {
        let patch = Patch::parse(text, &Asked::default()).expect("a sound patch");
        let variant = fix.map_or(patch.original.clone(), |f| patch.variant(f).expect("a fix"));
        let trials = Trials { runs, seed: 1, max_gap: Span::from_ms(2), max_wobble: None };
        let timed = || {
            let start = Clock::now();
            black_box(chances(&variant.rig, Tempo::whole(120), trials, &|| {}).expect("short"));
            start.elapsed().as_secs_f64()
        };
        let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().expect("a thread");
        let (mut all, mut alone) = (f64::INFINITY, f64::INFINITY);
        for _ in 0..3 {
            all = all.min(timed());
            alone = alone.min(one.install(timed));
        }
        let each = all * 1e6 / runs as f64;
        println!(
            "{name}: {runs} runs in {all:.3} s on {cores} cores, {each:.1} µs a run; one core takes {:.2} times as long",
            alone / all
        );
    }
}
