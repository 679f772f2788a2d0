//! What must hold of any rig of some kind. The program plays it, and the naive rules look on.

use super::both;
use crate::naive::rigs::{both_edges, delay, output, part, rig, sequencer, straight, this_clock, with_reset};
use crate::naive::{Outcome, random};
use hitgap::patch::{OnTie, Path, ResetMode, Rig, Source, StageKind, Timing, Width};
use hitgap::time::{ExactPs, Span, Tempo};
use proptest::prelude::*;

const MAX_GAP: Span = Span::from_ms(2);

fn tempo() -> impl Strategy<Value = Tempo> {
    (1_000_000..=1_000_000_000_u64).prop_map(|micro| Tempo::from_micro(micro).expect("in bounds"))
}

/// `pulses` of a clock of 4 a beat that is high for a quarter of its period, and a reset every `every` pulses; the
/// clock's path leads through a stage.
fn clock_and_reset(every: i128, pulses: i128, clock_delay: Span) -> Rig {
    let mut clock = output("clock", part(1, 4));
    clock.width = Width::Share(part(1, 4));
    let mut home = output("home", part(every, 4));
    home.width = Width::Share(part(1, 100));
    rig(part(pulses, 4), vec![clock, home], vec![delay("ahead", clock_delay)], vec![], Some(1))
}

/// A pattern of `n` hits.
fn all_hits(n: usize) -> String {
    "x".repeat(n)
}

fn late(outcome: &Outcome, index: usize) -> Vec<i128> {
    outcome.accounts[index].late.iter().map(|(_, late)| *late).collect()
}

proptest! {
    /// "a reset ahead of the clock by more than the setup time and less than the holdoff makes every mode agree", up to
    /// both ends. It takes two things more that no musician would do without: the pulse before has fallen when the
    /// reset comes, and the holdoff is over by then, should that pulse have been played as step 1.
    #[test]
    fn a_reset_a_little_ahead_of_the_clock_suits_every_mode(
        tempo in tempo(), every in 1..40_i128, pulses in 1..80_i128, n in 1..18_usize,
        (ahead, setup, hold) in (0.0..1.0, 0.0..=1.0, 0.0..=1.0),
    ) {
        let period = tempo.exact(part(1, 4)).floor().to_integer() as i64;
        let ahead = 1 + (ahead * (period / 2 - 3) as f64) as i64;
        let setup_time = Span((setup * ahead as f64) as i64);
        let holdoff = Span(ahead + (hold * (period - 2 - 2 * ahead) as f64) as i64);
        let mut rig = clock_and_reset(every, pulses, Span(ahead));
        let modes = [
            this_clock(),
            ResetMode::NextClock { setup_time, on_tie: OnTie::ClockFirst },
            ResetMode::NextClock { setup_time, on_tie: OnTie::ResetFirst },
            ResetMode::Immediate { holdoff },
        ];
        let clock = || Path { source: Source::Output(0), stages: vec![0] };
        rig.sequencers = ["ox", "wren", "moth", "lantern"]
            .into_iter()
            .zip(modes)
            .map(|(name, mode)| with_reset(sequencer(name, clock(), &all_hits(n)), straight(1), mode))
            .collect();
        let outcome = both(&rig, tempo, MAX_GAP);
        for account in &outcome.accounts {
            prop_assert!(account.right && account.agrees, "{account:?}");
            prop_assert_eq!(account.hits as i128, pulses);
        }
        for pair in &outcome.pairs {
            // `immediate` plays step 1 with the reset, the others with the clock.
            let apart = if pair.between[1] == 3 { -ahead } else { 0 };
            prop_assert!(pair.gaps.iter().all(|gap| *gap == 0 || *gap == apart), "{pair:?}");
            prop_assert_eq!(pair.gaps.contains(&apart), true);
        }
    }

    /// "equal instants make `this-clock` and `next-clock` differ by exactly one pulse", whatever lies on the way, as
    /// long as it is as long for the clock as for the reset.
    #[test]
    fn equal_instants_part_this_clock_from_next_clock_by_one_pulse(
        tempo in tempo(), every in 2..40_i128, pulses in 2..80_i128, n in 2..18_usize,
        delays in proptest::collection::vec(0..1_000_000_000_000_i64, 0..4), setup in 0.0..=1.0, reset_first: bool,
    ) {
        let period = tempo.exact(part(1, 4)).floor().to_integer() as i64;
        // With no setup time `reset-first` would take the clock that comes with the reset.
        let setup_time = Span((setup * period as f64) as i64).max(Span(i64::from(reset_first)));
        let on_tie = if reset_first { OnTie::ResetFirst } else { OnTie::ClockFirst };
        let mut rig = clock_and_reset(every, pulses, Span::ZERO);
        rig.stages = delays.iter().enumerate().map(|(i, d)| delay(&format!("stage-{i}"), Span(*d))).collect();
        let there: Vec<usize> = (0..delays.len()).collect();
        let back: Vec<usize> = there.iter().rev().copied().collect();
        rig.sequencers = vec![this_clock(), ResetMode::NextClock { setup_time, on_tie }]
            .into_iter()
            .zip(["ox", "wren"])
            .map(|(mode, name)| {
                let clock = Path { source: Source::Output(0), stages: there.clone() };
                with_reset(sequencer(name, clock, &all_hits(n)), Path { source: Source::Output(1), stages: back.clone() }, mode)
            })
            .collect();
        let outcome = both(&rig, tempo, MAX_GAP);
        let (this, next) = (late(&outcome, 0), late(&outcome, 1));
        prop_assert!(!this.is_empty());
        prop_assert_eq!(&this, &vec![0; this.len()]);
        prop_assert_eq!(&next, &vec![1; this.len()]);
    }

    /// "shifting everything shifts everything": every output by one time.
    #[test]
    fn shifting_everything_shifts_everything((mut rig, tempo) in random::any_rig(), by in 0..1_000_000_000_000_000_i64) {
        // Far enough from the start that no pulse is lost before it, and from power-up that nobody waits for it.
        const FAR: i128 = 5_000_000_000_000_000;
        for sequencer in &mut rig.sequencers {
            sequencer.idle_reset = None;
        }
        for output in &mut rig.outputs {
            output.shift += ExactPs::from_integer(FAR);
        }
        let before = both(&rig, tempo, MAX_GAP);
        for output in &mut rig.outputs {
            output.shift += ExactPs::from_integer(i128::from(by));
        }
        same_but_later(&before, &both(&rig, tempo, MAX_GAP), by)?;
    }

    /// The same by a stage at the end of every path; what is lost before the start is lost either way.
    #[test]
    fn a_stage_in_every_path_shifts_everything((mut rig, tempo) in random::any_rig(), by in 0..1_000_000_000_000_000_i64) {
        for sequencer in &mut rig.sequencers {
            sequencer.idle_reset = None;
        }
        let before = both(&rig, tempo, MAX_GAP);
        rig.stages.push(delay("everywhere", Span(by)));
        for sequencer in &mut rig.sequencers {
            sequencer.clock.stages.push(rig.stages.len() - 1);
            if let Some(reset) = &mut sequencer.reset {
                reset.path.stages.push(rig.stages.len() - 1);
            }
        }
        same_but_later(&before, &both(&rig, tempo, MAX_GAP), by)?;
    }

    /// Delays in any order and in any number of pieces are one delay.
    #[test]
    fn delays_add_up((mut rig, tempo) in random::any_rig(), cut in 0.0..=1.0) {
        let before = both(&rig, tempo, MAX_GAP);
        let first = match rig.stages.first().map(|stage| &stage.kind) {
            Some(StageKind::Delay(delay)) => delay.rise.typ,
            _ => Span::ZERO,
        };
        let piece = Span((cut * first.0 as f64) as i64);
        if let Some(stage) = rig.stages.first_mut() {
            stage.kind = StageKind::Delay(both_edges(piece));
        }
        rig.stages.push(delay("rest", Span(first.0 - piece.0)));
        let rest = rig.stages.len() - 1;
        for sequencer in &mut rig.sequencers {
            let reset = sequencer.reset.as_mut().map(|reset| &mut reset.path);
            for path in std::iter::once(&mut sequencer.clock).chain(reset) {
                let pieces = path.stages.iter().filter(|stage| **stage == 0).count();
                path.stages.extend(vec![rest; pieces]);
                path.stages.reverse();
            }
        }
        same_but_later(&before, &both(&rig, tempo, MAX_GAP), 0)?;
    }

    /// A rig that holds no time of its own plays the same steps on the same beats at every tempo.
    #[test]
    fn without_times_the_tempo_changes_no_step((mut rig, tempo) in random::any_rig(), other in tempo()) {
        for output in &mut rig.outputs {
            output.shift = ExactPs::from_integer(0);
            output.width = match output.timing {
                Timing::Rate { .. } => Width::Share(part(1, 100)),
                _ => Width::Time(ExactPs::from_integer(1)),
            };
        }
        for stage in &mut rig.stages {
            stage.kind = StageKind::Delay(both_edges(Span::ZERO));
        }
        for sequencer in &mut rig.sequencers {
            sequencer.idle_reset = None;
            if let Some(ResetMode::NextClock { setup_time: time, .. } | ResetMode::Immediate { holdoff: time }) =
                sequencer.reset.as_mut().map(|reset| &mut reset.mode)
            {
                *time = Span::ZERO;
            }
            sequencer.latency = Span::ZERO;
        }
        let (here, there) = (both(&rig, tempo, MAX_GAP), both(&rig, other, MAX_GAP));
        let steps = |outcome: &Outcome| -> Vec<_> {
            outcome.hits.iter().map(|hit| (hit.sequencer, hit.step, hit.beat, hit.due)).collect()
        };
        prop_assert_eq!(steps(&here), steps(&there));
    }

    /// Nobody hears another: turned round in the file, every sequencer does what it did, and the gaps change sign.
    #[test]
    fn the_order_of_the_file_matters_to_nobody((mut rig, tempo) in random::any_rig()) {
        let before = both(&rig, tempo, MAX_GAP);
        rig.sequencers.reverse();
        let after = both(&rig, tempo, MAX_GAP);
        prop_assert_eq!(before.passes, after.passes);
        let last = rig.sequencers.len() - 1;
        let turned: Vec<_> = after.hits.iter().map(|hit| (hit.at, last - hit.sequencer, hit.step, hit.due)).collect();
        prop_assert_eq!(before.hits.iter().map(|h| (h.at, h.sequencer, h.step, h.due)).collect::<Vec<_>>(), turned);
        for pair in &before.pairs {
            let [a, b] = pair.between;
            let other = after.pairs.iter().find(|p| p.between == [last - b, last - a]).expect("every pair is there");
            prop_assert_eq!(&pair.gaps, &other.gaps.iter().rev().map(|gap| -gap).collect::<Vec<_>>());
        }
    }
}

fn same_but_later(before: &Outcome, after: &Outcome, by: i64) -> Result<(), TestCaseError> {
    let hits: Vec<_> = before.hits.iter().map(|hit| crate::naive::Hit { at: hit.at + by, ..hit.clone() }).collect();
    prop_assert_eq!(&hits, &after.hits);
    prop_assert_eq!(&before.pairs, &after.pairs);
    prop_assert_eq!(before.passes, after.passes);
    for (a, b) in before.accounts.iter().zip(&after.accounts) {
        prop_assert_eq!((a.pulses, &a.late, a.agrees), (b.pulses, &b.late, b.agrees));
    }
    Ok(())
}
