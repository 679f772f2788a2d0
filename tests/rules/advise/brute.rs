//! Random rigs: what is advised passes, and what is not does not.
//!
//! The oracle is the simulator with a delay stage that this test puts into the rig by itself, on a grid of delays and beside
//! every end of a window: it shares nothing with the search but the verdict.

use super::likely::{Likely, aim, changed, likely};
use crate::naive::{random::any_rig, rigs};
use hitgap::hits::taken;
use hitgap::judge::advise::{Advice, Aim, DialSetting, Hold, Question, advise};
use hitgap::judge::{Input, Target};
use hitgap::judge::{brief, judge};
use hitgap::patch::{ResetMode, Rig};
use hitgap::rig::{Repeat, Run, play_run};
use hitgap::time::{Span, Tempo, round_half_up};
use num_rational::Ratio;
use proptest::prelude::*;
use proptest::sample::select;
use proptest::test_runner::{RngSeed, TestRunner};

/// Whether all stand on the one and no gap is over the max gap, with a delay at the end of a path.
fn fits(rig: &Rig, target: Target, tempo: Tempo, max_gap: Span, delay: i64, run: Run) -> bool {
    let mut rig = rig.clone();
    rig.stages.push(rigs::delay("extra", Span(delay)));
    let stage = rig.stages.len() - 1;
    rig.course.eras.iter_mut().for_each(|era| era.stages.push(rigs::delay("extra", Span(delay))));
    // It stays where it is, whatever is plugged in before it.
    for sequencers in std::iter::once(&mut rig.sequencers).chain(rig.course.eras.iter_mut().map(|e| &mut e.sequencers))
    {
        let sequencer = &mut sequencers[target.sequencer];
        match target.input {
            Input::Clock => sequencer.clock.stages.push(stage),
            Input::Reset => sequencer.reset.as_mut().expect("a reset").path.stages.push(stage),
        }
    }
    let performance = play_run(&rig, tempo, run).expect("short");
    let verdict = judge(&rig, &performance, max_gap).expect("short");
    verdict.passes() && verdict.standings.iter().all(|s| s.right)
}

fn ask(
    rig: &Rig,
    target: Target,
    tempos: &[Tempo],
    aim: Aim,
    settings: &[DialSetting],
    between: (Tempo, Tempo),
) -> Advice {
    let question = Question { target, aim, tempos, components: &[], dial_steps: None, settings, between, rc: false };
    advise(rig, &question).expect("it can be played")
}

/// Holds the windows of the typical run against a grid, and tries delays beside their ends.
fn hold_windows(rig: &Rig, target: Target, tempo: Tempo, aim: Aim) -> usize {
    let advice = ask(rig, target, &[tempo], aim, &[], (tempo, tempo));
    let at = &advice.tempos[0];
    let typical = |d: i64| fits(rig, target, tempo, aim.max_gap, d, Run::Typical);
    assert!(at.exact);
    let inside = |d: i64| at.passes.iter().any(|w| w.holds(Span(d)));
    let mut tried: Vec<i64> = (0..64).map(|n| (at.searched.0 - 1) / 64 * n + n % 3).collect();
    for w in &at.passes {
        tried.extend([w.least.0 - 1, w.least.0, w.least.0 + 1, w.most.0 - 1, w.most.0, w.most.0 + 1]);
        tried.extend((1..8).map(|n| w.least.0 + (w.most.0 - w.least.0) / 8 * n));
    }
    // Where windows may be slivers: just beside no delay at all.
    tried.extend([0, 1, 2, 1_000, 1_000_000, at.searched.0 - 1]);
    for d in tried.into_iter().filter(|d| (0..at.searched.0).contains(d)) {
        assert_eq!(inside(d), typical(d), "{d} ps of {:?}", at.passes);
    }
    for w in &at.sure {
        assert!(typical(w.least.0) && typical(w.most.0) && w.least <= w.most, "{w:?}");
    }
    at.passes.len()
}

/// How many random rigs a test looks at. Seeds are fixed: a failure comes back.
fn runner(cases: u32, seed: u64) -> TestRunner {
    TestRunner::new(ProptestConfig {
        cases: ProptestConfig::default().cases.max(cases),
        rng_seed: RngSeed::Fixed(seed),
        failure_persistence: None,
        max_shrink_iters: 2_000,
        ..ProptestConfig::default()
    })
}

#[test]
fn what_is_advised_passes_and_what_is_not_does_not_on_likely_rigs() {
    let windows = std::cell::Cell::new([0_usize; 3]);
    runner(1_000, 11)
        .run(&(likely(false), aim()), |(Likely { rig, target, tempo }, aim)| {
            let found = hold_windows(&rig, target, tempo, aim);
            let mut seen = windows.get();
            seen[found.min(2)] += 1;
            windows.set(seen);
            Ok(())
        })
        .expect("every rig");
    // A test that only ever sees rigs without a window would hold nothing.
    let [none, one, several] = windows.get();
    assert!(none > 50 && one > 50 && several > 2, "{none} without, {one} with one, {several} with several");
}

/// Where boxes, stages and wires are set anew in the piece, windows hold through all of it.
#[test]
fn what_is_advised_passes_and_what_is_not_does_not_through_changes() {
    let windows = std::cell::Cell::new([0_usize; 2]);
    let resets = std::cell::Cell::new(0_usize);
    runner(1_000, 15)
        .run(&(changed(false), aim()), |(Likely { rig, target, tempo }, aim)| {
            let found = hold_windows(&rig, target, tempo, aim);
            let mut seen = windows.get();
            seen[found.min(1)] += 1;
            windows.set(seen);
            resets.set(resets.get() + usize::from(target.input == Input::Reset && found > 0));
            Ok(())
        })
        .expect("every rig");
    let [none, some] = windows.get();
    assert!(none > 50 && some > 50 && resets.get() > 10, "{none} without, {some} with, {} resets", resets.get());
}

#[test]
fn what_is_advised_passes_and_what_is_not_does_not_on_any_rig() {
    let paths = (any_rig(), aim(), any::<usize>(), any::<bool>());
    runner(500, 12)
        .run(&paths, |((rig, tempo), aim, which, clock)| {
            let sequencer = which % rig.sequencers.len();
            let obeys = rig.sequencers[sequencer].reset.as_ref().is_some_and(|r| r.mode != ResetMode::Ignored);
            let input = if clock || !obeys { Input::Clock } else { Input::Reset };
            hold_windows(&rig, Target { sequencer, input }, tempo, aim);
            Ok(())
        })
        .expect("every rig");
}

/// Whatever the tolerances draw, a delay that is called sure passes, unless it is said that another box is at risk by itself.
#[test]
fn a_sure_delay_passes_in_every_drawn_run() {
    sure_delays(300, 13, likely(true), 60);
}

#[test]
fn a_sure_delay_passes_in_every_drawn_run_through_changes() {
    sure_delays(300, 16, changed(true), 15);
}

fn sure_delays(cases: u32, seed: u64, rigs: impl Strategy<Value = Likely>, at_least: usize) {
    let sure = std::cell::Cell::new(0_usize);
    runner(cases, seed)
        .run(&(rigs, aim()), |(Likely { rig, target, tempo }, aim)| {
            let advice = ask(&rig, target, &[tempo], aim, &[], (tempo, tempo));
            let alone = advice.tempos[0].elsewhere.is_empty();
            for w in advice.tempos[0].sure.iter().filter(|_| alone) {
                sure.set(sure.get() + 1);
                for (number, d) in [w.least.0, w.most.0, (w.least.0 + w.most.0) / 2].iter().enumerate() {
                    for run in 1..=12 {
                        let run = Run::Drawn { seed: 100 + number as u64, number: run };
                        prop_assert!(fits(&rig, target, tempo, aim.max_gap, *d, run), "{d} ps of {w:?} in {run:?}");
                    }
                }
            }
            Ok(())
        })
        .expect("every rig");
    assert!(sure.get() > at_least, "{}", sure.get());
}

/// The ranges of tempos against single tempos and against what lies just beyond their ends.
#[test]
fn a_setting_holds_where_it_is_said_to_and_nowhere_else() {
    let [ranges, with_ends] = holds(200, 14, likely(false));
    assert!(ranges > 30 && with_ends > 10, "{ranges} ranges, {with_ends} of them with an end inside");
}

#[test]
fn a_setting_holds_where_it_is_said_to_through_changes() {
    let [ranges, with_ends] = holds(200, 17, changed(false));
    assert!(ranges > 10 && with_ends > 3, "{ranges} ranges, {with_ends} of them with an end inside");
}

/// How many ranges there are, and how many end between the tempos that are looked at.
fn holds(cases: u32, seed: u64, rigs: impl Strategy<Value = Likely>) -> [usize; 2] {
    let setting = prop_oneof![
        select(vec![1_i64, 40, 700, 2_500]).prop_map(|us| DialSetting::Time(rigs::us(us))),
        select(vec![1_i128, 2, 5, 10]).prop_map(|n| DialSetting::Share(Ratio::new(n, 400))),
    ];
    let between = (Tempo::whole(40), Tempo::whole(240));
    let seen = std::cell::Cell::new([0_usize; 2]);
    runner(cases, seed)
        .run(&(rigs, aim(), setting), |(Likely { rig, target, tempo }, aim, setting)| {
            let advice = ask(&rig, target, &[tempo], aim, &[setting], between);
            let Hold { ranges, exact, .. } = &advice.holds[0];
            prop_assert!(*exact);
            let passes = |tempo: Tempo| {
                let delay = match setting {
                    DialSetting::Time(time) => time.0,
                    DialSetting::Share(share) => {
                        let output = rig.origin(target.path(&rig).expect("a path"));
                        let hitgap::patch::Timing::Rate { period, .. } = rig.outputs[output].timing else {
                            unreachable!("all outputs have rates")
                        };
                        round_half_up(tempo.exact(period) * share) as i64
                    }
                };
                fits(&rig, target, tempo, aim.max_gap, delay, Run::Typical)
            };
            let inside = |tempo: Tempo| ranges.iter().any(|(from, to)| *from <= tempo && tempo <= *to);
            let mut tried: Vec<u64> = (0..50).map(|n| 40_000_000 + n * 4_000_000 + n * n).collect();
            for (from, to) in ranges {
                tried.extend([from.micro() - 1, from.micro(), to.micro(), to.micro() + 1]);
                let mut count = seen.get();
                count[0] += 1;
                count[1] += usize::from(*from > between.0 || *to < between.1);
                seen.set(count);
            }
            for tempo in tried.into_iter().filter_map(Tempo::from_micro) {
                if between.0 <= tempo && tempo <= between.1 {
                    prop_assert_eq!(inside(tempo), passes(tempo), "{} of {:?}", tempo, ranges);
                }
            }
            Ok(())
        })
        .expect("every rig");
    seen.get()
}

/// What is played again and again is what is played once, and a verdict in brief is the verdict.
#[test]
fn again_and_in_brief_is_as_once_and_in_full() {
    let seen = std::cell::Cell::new([0_usize; 2]);
    let rigs = prop_oneof![
        changed(true),
        likely(true),
        any_rig()
            .prop_map(|(rig, tempo)| { Likely { rig, target: Target { sequencer: 0, input: Input::Clock }, tempo } })
    ];
    runner(300, 18)
        .run(&(rigs, aim()), |(Likely { rig, target, tempo }, aim)| {
            let mut put = rig.clone();
            put.stages.push(rigs::delay("extra", Span(0)));
            let stage = put.stages.len() - 1;
            put.sequencers[target.sequencer].clock.stages.push(stage);
            for era in &mut put.course.eras {
                era.stages.push(rigs::delay("extra", Span(0)));
                era.sequencers[target.sequencer].clock.stages.push(stage);
            }
            let mut again = Repeat::new(put.clone(), stage, tempo).expect("short");
            for (delay, run) in [(0, Run::Typical), (40, Run::Drawn { seed: 1, number: 2 }), (3_000, Run::Typical)] {
                let kind = rigs::delay("extra", rigs::us(delay)).kind;
                put.stages[stage].kind = kind.clone();
                put.course.eras.iter_mut().for_each(|era| era.stages[stage].kind = kind.clone());
                let once = play_run(&put, tempo, run).expect("short");
                let performance = again.play(kind, run).expect("short");
                prop_assert_eq!(&performance.tracks, &once.tracks);
                prop_assert_eq!(&performance.passages, &once.passages);
                let verdict = judge(&put, &once, aim.max_gap).expect("short");
                let brief = brief(&put, &once, &taken(&put, tempo));
                let worst: Vec<_> = verdict.gaps.iter().map(|gap| (gap.between, gap.worst())).collect();
                prop_assert_eq!(&brief.worst, &worst);
                let gaps = verdict.gaps.iter().filter_map(|gap| gap.worst()).all(|worst| worst <= aim.max_gap);
                let fits = verdict.passes() && verdict.standings.iter().all(|s| s.right);
                prop_assert_eq!(brief.all_right() && gaps, fits);
                let mut count = seen.get();
                count[usize::from(fits)] += 1;
                seen.set(count);
            }
            Ok(())
        })
        .expect("every rig");
    let [not, fits] = seen.get();
    assert!(not > 50 && fits > 50, "{fits} fit, {not} do not");
}
