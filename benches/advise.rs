//! What advice costs: eight sequencers and twenty components at four tempos, with a dial and the tempos over which a setting
//! holds, against the check of the same patch at those tempos; nothing here passes or fails.

use hitgap::judge::Target;
use hitgap::judge::advise::{Aim, DialSetting, Question, advise};
use hitgap::judge::judge;
use hitgap::patch::{Asked, Patch};
use hitgap::rig::play;
use hitgap::time::{Span, Tempo};
use num_rational::Ratio;
use std::hint::black_box;
use std::time::Instant as Clock;

/// Eight boxes that read one reset in four ways, seven of them right by themselves, and twenty components of five kinds.
fn patch() -> String {
    let mut text = String::from(
        "tempos = [60, 90, 120, 160]\nbars = 8\n[clock.sixteenths]\nrate = \"4 per beat\"\n[clock.home]\nrate = \"1 per 16 beats\"\n",
    );
    for n in 0..8 {
        let mode = ["next-clock", "this-clock", "immediate", "held", "sampled"][if n == 0 { 0 } else { 1 + n % 4 }];
        text += &format!(
            "[sequencer.s{n}]\nclock = \"sixteenths\"\nreset = \"home\"\nreset-mode = \"{mode}\"\nsteps = \"X...x...X..xx...\"\nvoice = \"click\"\n"
        );
    }
    for n in 0..4 {
        let thresholds = "threshold-rise = { min = \"1.5 V\", typ = \"2.5 V\", max = \"3.5 V\" }\n";
        text += &format!(
            "[component.gate{n}]\nkind = \"delay\"\ndelay = {{ typ = \"{} us\", max = \"{} us\" }}\n",
            20 * n + 1,
            40 * n + 2
        );
        text += &format!("[component.lag{n}]\nkind = \"rc\"\nr = \"{} kohm\"\nc = \"22 nF\"\n{thresholds}", 4 * n + 1);
        text += &format!("[component.loop{n}]\nkind = \"poll\"\nperiod = \"{} us\"\n", 100 * n + 20);
        text += &format!("[component.shot{n}]\nkind = \"delay\"\ndelay = \"{} us\"\nwidth = \"2 ms\"\n", 100 * n + 20);
        text += &format!("[component.scatter{n}]\nkind = \"jitter\"\neach = {{ range = \"{} us\" }}\n", 10 * n + 1);
    }
    text
}

fn main() {
    let patch = Patch::parse(&patch(), &Asked::default()).expect("a sound patch");
    let rig = &patch.original.rig;
    let question = Question {
        target: Target::parse(rig, "sequencer.s0.clock").expect("a path"),
        aim: Aim { max_gap: patch.max_gap, skew: patch.skew },
        tempos: &patch.tempos,
        components: &patch.components,
        dial_steps: Some(100),
        settings: &[DialSetting::Share(Ratio::new(1, 100)), DialSetting::Time(Span(40_000_000))],
        between: (Tempo::whole(20), Tempo::whole(300)),
        rc: true,
    };
    let timed = |work: &dyn Fn()| {
        work();
        let mut all: Vec<f64> = (0..7)
            .map(|_| {
                let start = Clock::now();
                work();
                start.elapsed().as_secs_f64()
            })
            .collect();
        all.sort_by(f64::total_cmp);
        all[3]
    };
    let check = timed(&|| {
        for &tempo in &patch.tempos {
            let performance = play(rig, tempo).expect("short");
            black_box(judge(rig, &performance, patch.max_gap).expect("short"));
        }
    });
    let advice = timed(&|| {
        black_box(advise(rig, &question).expect("short"));
    });
    let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    println!(
        "advise, 8 sequencers, 20 components, 4 tempos: {:.3} s on {cores} cores, {:.0} times a check of {:.2} ms",
        advice,
        advice / check,
        check * 1e3
    );
}
