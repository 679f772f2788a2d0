//! The rules of the rig, against results worked out by hand and against a second implementation.

mod boxes;
mod by_hand;
mod examples;
mod laws;

use crate::naive::corners::Corners;
use crate::naive::{Hit, Outcome, changing, random, whole, work_out};
use hitgap::judge::{Stats, Warning};
use hitgap::patch::{Path, RateChange, Reads, Rig, Sequencer, Source, StageKind, Timing};
use hitgap::rig::Performance;
use hitgap::time::{PS_PER_MS, Span, Tempo};
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;
use std::collections::BTreeMap;

/// Works a rig out twice, by the program and by the naive rules, and holds one against the other in everything.
fn both(rig: &Rig, tempo: Tempo, max_gap: Span) -> Outcome {
    let naive = work_out(rig, tempo, max_gap.0);
    // The event loop first: where two streams of pulses would do, they are its twin.
    let by_edges = hitgap::rig::play_by_edges(rig, tempo).expect("short");
    hold(rig, &naive, &by_edges, max_gap);
    for (stage, missing) in naive.missing.iter().enumerate() {
        let here = by_edges.passages.iter().filter(|passage| passage.stage == stage).map(|passage| passage.tally);
        let sum: i128 = here.map(|t| i128::from(t.lost) + i128::from(t.merged) - i128::from(t.added)).sum();
        assert_eq!(sum, *missing, "lost and merged in stage {stage}");
    }
    hold(rig, &naive, &hitgap::rig::play(rig, tempo).expect("short"), max_gap);
    naive
}

/// What the rules say of a rig, at whole quarter notes a minute, with the default max gap.
fn at(bpm: u64, rig: &Rig) -> Outcome {
    both(rig, Tempo::whole(bpm), Span::from_ms(2))
}

/// `pulses_late` of a sequencer, for each one that has it.
fn late(outcome: &Outcome, index: usize) -> Vec<(usize, i128)> {
    outcome.accounts[index].late.clone()
}

/// The gaps of the first two sequencers, in milliseconds.
fn gap_ms(outcome: &Outcome) -> Vec<f64> {
    outcome.pairs[0].gaps.iter().map(|gap| *gap as f64 / PS_PER_MS as f64).collect()
}

/// Holds one performance against what the naive rules say.
fn hold(rig: &Rig, naive: &Outcome, performance: &Performance, max_gap: Span) {
    let verdict = hitgap::judge::judge(rig, performance, max_gap).expect("short");

    let hits = hitgap::hits::list(rig, performance).into_iter().map(|hit| Hit {
        at: hit.at.0,
        beat: hit.beat,
        due: hit.due,
        sequencer: hit.sequencer,
        step: hit.step,
        velocity: hit.velocity,
    });
    let hits: Vec<Hit> = hits.collect();
    let alike = hits.iter().zip(&naive.hits).take_while(|(a, b)| a == b).count();
    assert_eq!(hits.get(alike), naive.hits.get(alike), "hit {alike} of {} and of {}", hits.len(), naive.hits.len());

    assert_eq!(verdict.standings.len(), naive.accounts.len());
    for (i, (real, account)) in verdict.standings.iter().zip(&naive.accounts).enumerate() {
        let settled = performance.tracks[i].settled.iter().map(|s| (s.one as usize, i128::from(s.pulses_late)));
        assert_eq!(settled.collect::<Vec<_>>(), account.late, "settled offsets of {i}");
        assert_eq!(performance.tracks[i].unseen as usize, naive.unseen[i], "pulses that {i} did not see");
        assert_eq!((real.pulses as usize, real.hits), (account.pulses, account.hits), "pulses and hits of {i}");
        assert_eq!(real.late_worst.map(i128::from), account.worst, "worst of {i}");
        assert_eq!(real.late_last.map(i128::from), account.last, "last of {i}");
        assert_eq!((real.right, real.agrees), (account.right, account.agrees), "right and agrees of {i}");
        assert_eq!(real.off_by.map(|by| by.0), account.off_by, "off by of {i}");
        assert_eq!(real.lateness.map(spread), spread_of(&account.lateness), "lateness of {i}");
    }

    assert_eq!(verdict.gaps.len(), naive.pairs.len());
    for (real, pair) in verdict.gaps.iter().zip(&naive.pairs) {
        assert_eq!(real.between, pair.between);
        assert_eq!((real.paired, real.unpaired), (pair.gaps.len(), pair.unpaired), "paired of {:?}", pair.between);
        assert_eq!(real.stats.map(spread), spread_of(&pair.gaps), "gaps of {:?}", pair.between);
        assert_eq!(real.worst().map(|worst| worst.0), pair.worst, "worst gap of {:?}", pair.between);
    }
    assert_eq!(verdict.passes(), naive.passes, "passes");
    assert_eq!(verdict.warnings.contains(&Warning::AllOffAlike), naive.all_late_alike, "all off alike");
}

/// Smallest, twice the median, largest.
fn spread(stats: Stats) -> (i64, i128, i64) {
    (stats.min.0, stats.median_twice, stats.max.0)
}

/// The same of sorted times.
fn spread_of(sorted: &[i64]) -> Option<(i64, i128, i64)> {
    let (min, max) = (*sorted.first()?, *sorted.last()?);
    Some((min, i128::from(sorted[(sorted.len() - 1) / 2]) + i128::from(sorted[sorted.len() / 2]), max))
}

/// Random rigs would prove little if they never came to the corners: each is met by one rig in a hundred at least.
#[test]
fn random_rigs_come_to_every_corner() {
    const RIGS: usize = 2000;
    let mut runner = TestRunner::deterministic();
    let mut corners = Corners::default();
    for _ in 0..RIGS {
        let (rig, tempo) = random::any_rig().new_tree(&mut runner).expect("nothing is refused").current();
        corners.look(&rig, tempo, &work_out(&rig, tempo, 2 * PS_PER_MS));
    }
    for corner in Corners::ALL {
        let met = corners.0.get(corner).copied().unwrap_or(0);
        assert!(met * 100 >= RIGS, "{corner}: {met} of {RIGS}; {corners:#?}");
    }
}

/// Thousands of rigs, or as many as `PROPTEST_CASES` asks for.
fn thousands() -> ProptestConfig {
    let asked = std::env::var_os("PROPTEST_CASES").is_some();
    if asked { ProptestConfig::default() } else { ProptestConfig::with_cases(2500) }
}

proptest! {
    #![proptest_config(thousands())]

    #[test]
    fn the_naive_rules_say_the_same_of_any_rig((rig, tempo) in random::any_rig(), short_of in 0..2_i64) {
        let outcome = both(&rig, tempo, Span::from_ms(2));
        // "the largest acceptable gap, itself still acceptable"
        if let Some(worst) = outcome.pairs.iter().filter_map(|pair| pair.worst).max() {
            both(&rig, tempo, Span((worst - short_of).max(0)));
        }
    }

}

/// Whether such an output and one with a rate come down one cable.
fn on_a_cable(rig: &Rig, timings: &[Timing]) -> bool {
    let inputs = rig.sequencers.iter().flat_map(|s| [Some(&s.clock), s.reset.as_ref().map(|r| &r.path)]);
    let paths: Vec<&Path> = inputs.flatten().collect();
    (0..rig.stages.len()).filter(|s| matches!(rig.stages[*s].kind, StageKind::MidiCable(_))).any(|line| {
        let named = paths.iter().filter(|path| path.stages.contains(&line));
        let timing = |path: &&Path| match rig.beyond_wires(path.source) {
            Source::Output(output) => Some(rig.outputs[output].timing.clone()),
            _ => None,
        };
        let all: Vec<Timing> = named.filter_map(timing).collect();
        all.iter().any(|t| matches!(t, Timing::Rate { .. })) && all.iter().any(|t| timings.contains(t))
    })
}

/// The same of whole rigs.
#[test]
fn whole_rigs_come_to_what_they_are_for() {
    const RIGS: usize = 1000;
    let mut runner = TestRunner::deterministic();
    let mut met: BTreeMap<&str, usize> = BTreeMap::new();
    for _ in 0..RIGS {
        let (rig, tempo) = whole::whole_rig().new_tree(&mut runner).expect("nothing is refused").current();
        let outcome = work_out(&rig, tempo, 2 * PS_PER_MS);
        let paths =
            || rig.sequencers.iter().flat_map(|s| [Some(&s.clock), s.reset.as_ref().map(|r| &r.path)]).flatten();
        let stages = || paths().flat_map(|path| &path.stages).map(|&s| &rig.stages[s].kind);
        let polls = || {
            let loops = rig.sequencers.iter().filter_map(|s| s.poll).map(|s| &rig.stages[s].kind);
            stages().chain(loops).filter_map(|kind| if let StageKind::Poll(poll) = kind { Some(poll) } else { None })
        };
        let fed = |path: Option<&Path>| path.is_some_and(|p| matches!(p.source, Source::Sequencer { .. }));
        let from = |timing: Timing| {
            paths().any(|p| matches!(p.source, Source::Output(output) if rig.outputs[output].timing == timing))
        };
        let corners = [
            ("a debouncer", polls().any(|p| p.reads == Reads::Level && p.samples > 1)),
            ("a flag", polls().any(|p| p.reads == Reads::Latched)),
            ("a gate fed by a sequencer", stages().any(|k| matches!(k, StageKind::Logic(l) if fed(l.with.as_ref())))),
            ("a divider reset by one", stages().any(|k| matches!(k, StageKind::Divide(d) if fed(d.reset.as_ref())))),
            ("a start on a cable", on_a_cable(&rig, &[Timing::Start, Timing::Run])),
            ("a stop", from(Timing::Stop)),
            ("a run", from(Timing::Run)),
            ("a nudge back", outcome.hits.iter().any(|h| rig.sequencers[h.sequencer].offset < Span::ZERO)),
            ("pulses that are not seen", outcome.unseen.iter().any(|n| *n > 0)),
            ("pulses that go missing", outcome.missing.iter().any(|n| *n > 0)),
        ];
        for (corner, _) in corners.into_iter().filter(|(_, there)| *there) {
            *met.entry(corner).or_default() += 1;
        }
    }
    // One in a hundred at least.
    assert!(met.len() == 10 && met.values().all(|n| n * 100 >= RIGS), "{met:#?}");
}

/// And of what is done to a clock in the course of a piece.
#[test]
fn changed_clocks_come_to_what_they_are_for() {
    const RIGS: usize = 1000;
    let mut runner = TestRunner::deterministic();
    let mut met: BTreeMap<&str, usize> = BTreeMap::new();
    for _ in 0..RIGS {
        let (rig, tempo) = changing::changing_rig().new_tree(&mut runner).expect("nothing is refused").current();
        let (course, outcome) = (&rig.course, work_out(&rig, tempo, 2 * PS_PER_MS));
        let silent = rig.sequencers.iter().map(|s| Sequencer { sounds_on_reset: true, ..s.clone() }).collect();
        let loud = work_out(&Rig { sequencers: silent, ..rig.clone() }, tempo, 2 * PS_PER_MS);
        let turned = |reading| {
            course.turns.iter().any(|turn| turn.reading == reading && turn.to.timing != rig.outputs[turn.output].timing)
        };
        let starts = course.switches.iter().skip(1).step_by(2);
        let corners = [
            ("a rate on the grid", turned(RateChange::OnGrid)),
            ("a rate from the change", turned(RateChange::FromChange)),
            ("other rates on the way", course.turns.iter().any(|turn| !turn.passes.is_empty())),
            ("another shift", course.turns.iter().any(|turn| turn.to.shift != rig.outputs[turn.output].shift)),
            ("a new start", starts.clone().any(|beat| !course.continues.contains(beat))),
            ("a clock that goes on", !course.continues.is_empty()),
            ("a clock that is stopped for good", course.switches.len() % 2 == 1),
            (
                "a knob that is turned while the clock stands",
                course
                    .turns
                    .iter()
                    .any(|turn| course.switches.iter().filter(|beat| **beat <= turn.after).count() % 2 == 1),
            ),
            ("a step that does not sound", loud.hits.len() > outcome.hits.len()),
            ("a box that is off", outcome.accounts.iter().any(|a| a.hits > 0 && !a.right)),
            ("all right", outcome.passes),
        ];
        for (corner, _) in corners.into_iter().filter(|(_, there)| *there) {
            *met.entry(corner).or_default() += 1;
        }
    }
    // One in a hundred at least.
    assert!(met.len() == 11 && met.values().all(|n| n * 100 >= RIGS), "{met:#?}");
}

/// Whole rigs take longer each, since the naive way goes over a whole rig again and again.
fn whole_rigs() -> ProptestConfig {
    let asked = std::env::var_os("PROPTEST_CASES").is_some();
    if asked { ProptestConfig::default() } else { ProptestConfig::with_cases(1800) }
}

proptest! {
    #![proptest_config(whole_rigs())]

    #[test]
    fn the_naive_rules_say_the_same_of_a_whole_rig((rig, tempo) in whole::whole_rig()) {
        both(&rig, tempo, Span::from_ms(2));
    }
}

proptest! {
    #![proptest_config(whole_rigs())]

    #[test]
    fn the_naive_rules_say_the_same_of_a_rig_whose_clock_is_changed((rig, tempo) in changing::changing_rig()) {
        both(&rig, tempo, Span::from_ms(2));
    }
}
