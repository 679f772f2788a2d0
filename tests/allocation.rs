//! Runs ask for memory when they begin and when a list has to grow, and not for every pulse: counted by an allocator that
//! counts.

use allocation_counter::measure;
use hitgap::judge::runs::{Trials, chances};
use hitgap::patch::{Asked, Patch};
use hitgap::time::{Span, Tempo};

/// How often memory is asked for in each further run, on a thread that has made runs before.
fn asked_a_run(text: &str, fix: Option<&str>, bars: u64) -> u64 {
    let patch = Patch::parse(text, &Asked { bars: Some(bars), ..Asked::default() }).expect("a sound patch");
    let variant = fix.map_or(patch.original.clone(), |f| patch.variant(f).expect("a fix"));
    let asked = |runs: u64| {
        let trials = Trials { runs, seed: 1, max_gap: Span::from_ms(2), max_wobble: None };
        let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().expect("a thread");
        one.install(|| {
            measure(|| drop(chances(&variant.rig, Tempo::whole(120), trials, &|| {}).expect("short"))).count_total
        })
    };
    (asked(300) - asked(100)) / 200
}

#[test]
fn no_pulse_asks_for_memory_of_its_own() {
    // Plain streams of pulses with drawn delays, and the event loop with a poll.
    let plain: String = (0..4)
        .map(|n| {
            format!("[sequencer.s{n}]\nclock = [\"sixteenths\", \"loose\"]\nreset = \"home\"\nreset-mode = \"this-clock\"\nsteps = \"X...x...X...x...\"\nvoice = \"click\"\n")
        })
        .collect();
    let plain = format!(
        "tempos = [120]\n[clock.sixteenths]\nrate = \"4 per beat\"\n[clock.home]\nrate = \"1 per 16 beats\"\n\
         [stage.loose]\nkind = \"jitter\"\neach = {{ sd = \"1 ms\" }}\n{plain}"
    );
    for (text, fix) in [(plain.as_str(), None), (include_str!("../patches/moth-blinks.toml"), Some("or-gate"))] {
        let [short, long] = [8, 256].map(|bars| asked_a_run(text, fix, bars));
        // 248 bars more are 3,968 clock pulses more a sequencer; lists that double do so five times more, a few dozen lists.
        println!("{short} times in a run of 8 bars, {long} times in one of 256");
        assert!(long < short + 200, "{short} times in a run of 8 bars, {long} times in one of 256");
    }
}
