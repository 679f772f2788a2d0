//! What a mend costs: eight sequencers, twenty components and four tempos, all sets of up to three changes; once where two do, once
//! where three are needed, and once where nothing does and every set has to be accounted for. Nothing here passes or fails.

use hitgap::judge::advise::Aim;
use hitgap::judge::mend::{Catalogue, Extent, Question, Watch, Wishes, mend};
use hitgap::patch::{Asked, Patch};
use std::fmt::Write;
use std::time::Instant as Clock;

/// Eight boxes that read one reset in four ways, of which the first so many wait for the next pulse, and twenty components of five
/// kinds. `more` is what the last box has besides.
fn patch(waiting: usize, more: &str) -> Patch {
    let mut text = String::from(
        "tempos = [60, 90, 120, 160]\nbars = 8\n[clock.sixteenths]\nrate = \"4 per beat\"\n[clock.home]\nrate = \"1 per 16 beats\"\n",
    );
    for n in 0..8 {
        let mode =
            ["next-clock", "this-clock", "immediate", "held", "sampled"][if n < waiting { 0 } else { 1 + n % 4 }];
        let _ = write!(
            text,
            "[sequencer.s{n}]\nclock = \"sixteenths\"\nreset = \"home\"\nreset-mode = \"{mode}\"\nsteps = \"X...x...X..xx...\"\nvoice = \"click\"\n{}",
            if n == 7 { more } else { "" }
        );
    }
    for n in 0..4 {
        let thresholds = "threshold-rise = { min = \"1.5 V\", typ = \"2.5 V\", max = \"3.5 V\" }\n";
        let _ = write!(
            text,
            "[component.gate{n}]\nkind = \"delay\"\ndelay = {{ typ = \"{} us\", max = \"{} us\" }}\n\
             [component.lag{n}]\nkind = \"rc\"\nr = \"{} kohm\"\nc = \"22 nF\"\n{thresholds}\
             [component.loop{n}]\nkind = \"poll\"\nperiod = \"{} us\"\n\
             [component.shot{n}]\nkind = \"delay\"\ndelay = \"{} us\"\nwidth = \"2 ms\"\n\
             [component.scatter{n}]\nkind = \"jitter\"\neach = {{ range = \"{} us\" }}\n",
            20 * n + 1,
            40 * n + 2,
            4 * n + 1,
            100 * n + 20,
            100 * n + 20,
            10 * n + 1
        );
    }
    Patch::parse(&text, &Asked::default()).expect("a sound patch")
}

fn main() {
    let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let rigs = [
        ("two do", patch(1, "latency = \"3.8 ms\"\noffset = \"1 ms\"\n")),
        ("three are needed", patch(2, "latency = \"3.8 ms\"\noffset = \"1 ms\"\n")),
        ("nothing does", patch(2, "latency = \"8 ms\"\n")),
    ];
    for (what, patch) in &rigs {
        let catalogue = Catalogue::new(patch, &patch.components, &Wishes::default()).expect("changes");
        let question = Question {
            patch,
            catalogue: &catalogue,
            aim: Aim { max_gap: patch.max_gap, skew: patch.skew },
            tempos: &patch.tempos,
            extent: Extent { budget: 3, beyond: false },
        };
        let start = Clock::now();
        let mended = mend(&question, &Watch::nobody());
        println!(
            "mend, {what}: {:.3} s on {cores} cores; {} changes, {} sets, {} judged, {} found, complete: {}",
            start.elapsed().as_secs_f64(),
            catalogue.offers.len(),
            mended.sets(),
            mended.judged(),
            mended.proposals.len(),
            mended.is_complete()
        );
    }
}
