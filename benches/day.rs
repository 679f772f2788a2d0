//! What a check of a whole day costs: eight sequencers at 24 pulses a quarter note and 120, one core, for days of several
//! lengths. An event is a pulse that comes to a sequencer or a step that sounds; nothing here passes or fails.

use hitgap::judge::judge;
use hitgap::patch::{Asked, Patch};
use hitgap::rig::play;
use hitgap::time::{Span, Tempo};
use std::hint::black_box;
use std::time::Instant as Clock;

fn main() {
    let boxes: String = (0..8)
        .map(|n| {
            format!(
                "[sequencer.s{n}]\nclock = \"pulses\"\nreset = \"home\"\nreset-mode = \"this-clock\"\n\
                 steps = \"X.....x.....\"\nvoice = \"click\"\n"
            )
        })
        .collect();
    let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().expect("a thread");
    let mut before: Option<f64> = None;
    for hours in [3_u64, 6, 12, 24] {
        let text = format!(
            "tempos = [120]\nbars = {}\n[clock.pulses]\nrate = \"24 per beat\"\n[clock.home]\nrate = \"1 per 16 beats\"\n{boxes}",
            1800 * hours
        );
        let patch = Patch::parse(&text, &Asked::default()).expect("a sound patch");
        let rig = &patch.original.rig;
        let mut events = 0;
        let mut least = f64::INFINITY;
        for _ in 0..3 {
            let start = Clock::now();
            let performance = one.install(|| play(rig, Tempo::whole(120))).expect("in bounds");
            black_box(one.install(|| judge(rig, &performance, Span::from_ms(2))).expect("in bounds"));
            least = least.min(start.elapsed().as_secs_f64());
            events = performance.tracks.iter().map(|t| t.pulses + t.sounds.len() as u64).sum();
        }
        let growth = before.map_or_else(String::new, |before| format!(", {:.2} times the half", least / before));
        println!(
            "{hours} hours: {events} events in {least:.3} s, {:.1} million a second on one core{growth}",
            events as f64 / least / 1e6
        );
        before = Some(least);
    }
}
