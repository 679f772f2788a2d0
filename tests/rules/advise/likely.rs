//! Rigs like those that people have, drawn at random, and what may be set anew in their course.

use crate::naive::rigs;
use hitgap::judge::advise::Aim;
use hitgap::judge::{Input, Target};
use hitgap::patch::{Era, OnTie, Path, ResetMode, Rig, Source, Stage, StageKind, Tolerance};
use hitgap::time::{Span, Tempo};
use proptest::prelude::*;
use proptest::sample::select;

pub(super) fn aim() -> impl Strategy<Value = Aim> {
    select(vec![1_i64, 2, 5, 20, 100]).prop_map(|ms| Aim { max_gap: Span::from_ms(ms), skew: Span(10_000_000) })
}

/// A rig like those that people have: a clock, a slower one, a reset; boxes that mostly agree; times from a short list, so
/// that edges meet.
#[derive(Clone, Debug)]
pub(super) struct Likely {
    pub(super) rig: Rig,
    pub(super) target: Target,
    pub(super) tempo: Tempo,
}

fn mode() -> impl Strategy<Value = ResetMode> {
    let times = || select([0, 1, 40, 1_000, 4_999, 5_000, 5_001].iter().map(|&us| rigs::us(us)).collect::<Vec<_>>());
    prop_oneof![
        2 => Just(rigs::this_clock()),
        1 => times().prop_map(|grace| ResetMode::ThisClock { grace: Some(grace) }),
        3 => (times(), any::<bool>()).prop_map(|(setup_time, reset_first)| ResetMode::NextClock {
            setup_time,
            on_tie: if reset_first { OnTie::ResetFirst } else { OnTie::ClockFirst },
        }),
        2 => times().prop_map(|holdoff| ResetMode::Immediate { holdoff }),
        1 => Just(ResetMode::Held),
        1 => times().prop_map(|setup_time| ResetMode::Sampled { setup_time }),
    ]
}

pub(super) fn likely(tolerances: bool) -> impl Strategy<Value = Likely> {
    let part = || select(vec![(1, 4), (1, 4), (1, 2), (1, 1), (2, 1), (1, 3)]);
    let delays = || select(vec![None, None, Some(0_i64), Some(40), Some(700), Some(5_000)]);
    let box_ = move || {
        (0..2_usize, delays(), mode(), delays(), select(vec![0_i64, 0, 300, 2_500]), select(vec![0_i64, 0, 0, 1]))
    };
    (
        part(),
        part(),
        select(vec![(4, 1), (2, 1), (8, 1)]),
        proptest::collection::vec(box_(), 2..=4),
        select(vec![(0, 1), (0, 1), (1, 100), (-1, 100), (1, 4)]),
        select(vec!["60", "120", "97.5", "133.333333"]),
        0..8_usize,
        any::<bool>(),
        select(vec![0_i64, 300, 1_000, 6_000]),
        select(vec![1_i64, 5, 20]),
        proptest::bool::weighted(0.8),
    )
        .prop_map(move |(a, b, home, mut boxes, phase, tempo, which, clock, shift, width, calm)| {
            // One box that wants a delay among others that are right by themselves is what people have.
            let target = which % boxes.len();
            if calm {
                for (n, (_, on_clock, mode, on_reset, _, filter)) in boxes.iter_mut().enumerate() {
                    if n != target {
                        (*on_clock, *mode, *on_reset, *filter) = (None, rigs::this_clock(), None, 0);
                    }
                }
            }
            let shift = if calm { 0 } else { shift };
            let phase = if calm && phase < (0, 1) { (0, 1) } else { phase };
            let p = |(n, d): (i128, i128)| rigs::part(n, d);
            let (home, phase) = (p(home), p(phase));
            let mut outputs = vec![
                rigs::with_phase(&rigs::output("a", p(a)), phase),
                rigs::output("b", p(b)),
                rigs::output("home", home),
            ];
            outputs[2].shift = hitgap::time::ExactPs::from_integer(i128::from(shift * 1_000_000));
            outputs[2].width = hitgap::patch::Width::Time(rigs::ms(width));
            let mut stages: Vec<Stage> = Vec::new();
            let mut sequencers = Vec::new();
            for (n, (output, on_clock, mode, on_reset, latency, filter)) in boxes.iter().enumerate() {
                let mut path = |output: usize, delay: &Option<i64>| {
                    let stages = delay.map(|us| {
                        let mut stage = rigs::delay(&format!("s{}", stages.len()), rigs::us(us));
                        if let (true, StageKind::Delay(d)) = (tolerances, &mut stage.kind) {
                            let sheet =
                                |t: Span| Tolerance { min: Span(t.0 * 9 / 10), typ: t, max: Span(t.0 * 12 / 10) };
                            (d.rise, d.fall) = (sheet(d.rise.typ), sheet(d.fall.typ));
                        }
                        stages.push(stage);
                        stages.len() - 1
                    });
                    Path { source: Source::Output(output), stages: stages.into_iter().collect() }
                };
                let (clock, reset) = (path(*output, on_clock), path(2, on_reset));
                // A pattern as long as the reset's period puts the one right again by itself.
                let period = if *output == 0 { p(a) } else { p(b) };
                let steps = (home / period).ceil().to_integer().clamp(1, 32) as usize;
                let pattern: String = (0..steps).map(|s| if s % 4 == 0 { 'X' } else { 'x' }).collect();
                let mut sequencer =
                    rigs::with_reset(rigs::sequencer(&format!("q{n}"), clock, &pattern), reset, mode.clone());
                sequencer.latency = rigs::us(*latency);
                sequencer.min_high = rigs::us(*filter * 500);
                sequencers.push(sequencer);
            }
            let target = Target { sequencer: target, input: if clock { Input::Clock } else { Input::Reset } };
            let rig = rigs::rig(home * 3, outputs, stages, sequencers, Some(2));
            Likely { rig, target, tempo: tempo.parse().expect("a tempo") }
        })
}

/// What somebody sets in the middle of a piece.
#[derive(Clone, Debug)]
enum Set {
    Latency(i64),
    Offset(i64),
    Mode(ResetMode),
    MinHigh(i64),
    Gathers(i64),
    /// Plugs the line into the way to the clock or to the reset, or out of it.
    Plug(bool),
    /// How late the line is.
    Line(i64),
}

/// Of likely rigs some in whose course boxes, stages and wires are set anew: at a reset, or beside it.
pub(super) fn changed(tolerances: bool) -> impl Strategy<Value = Likely> {
    let set = prop_oneof![
        2 => select(vec![0_i64, 300, 2_500, 12_000]).prop_map(Set::Latency),
        1 => select(vec![-1_000_i64, 0, 700]).prop_map(Set::Offset),
        3 => mode().prop_map(Set::Mode),
        1 => select(vec![0_i64, 500, 6_000]).prop_map(Set::MinHigh),
        1 => select(vec![0_i64, 300]).prop_map(Set::Gathers),
        3 => any::<bool>().prop_map(Set::Plug),
        2 => select(vec![1_i64, 40, 1_000, 7_000]).prop_map(Set::Line),
    ];
    let beside = select(vec![(0_i128, 1_i128), (1, 1000), (1, 16), (1, 3), (-1, 500), (-1, 1)]);
    let set = (any::<usize>(), proptest::bool::weighted(0.7), set);
    let era = (beside, proptest::collection::vec(set, 1..=2));
    (likely(tolerances), proptest::collection::vec(era, 1..=2)).prop_map(|(mut likely, eras)| {
        let Likely { rig, target, .. } = &mut likely;
        let line = rig.stages.len();
        rig.stages.push(rigs::delay("line", rigs::us(40)));
        let (mut stages, mut sequencers) = (rig.stages.clone(), rig.sequencers.clone());
        let home = rig.end / 3;
        for (n, ((over, under), sets)) in eras.into_iter().enumerate() {
            for (which, own, set) in sets {
                let count = sequencers.len();
                let sequencer = &mut sequencers[if own { target.sequencer } else { which % count }];
                match set {
                    Set::Latency(us) => sequencer.latency = rigs::us(us),
                    Set::Offset(us) => sequencer.offset = rigs::us(us),
                    Set::Mode(mode) => sequencer.reset.as_mut().expect("a reset").mode = mode,
                    Set::MinHigh(us) => sequencer.min_high = rigs::us(us),
                    Set::Gathers(us) => sequencer.gathers = rigs::us(us),
                    Set::Plug(clock) => {
                        let reset = &mut sequencer.reset.as_mut().expect("a reset").path;
                        let path = if clock { &mut sequencer.clock } else { reset };
                        match path.stages.iter().position(|stage| *stage == line) {
                            Some(at) => drop(path.stages.remove(at)),
                            None => path.stages.push(line),
                        }
                    }
                    Set::Line(us) => stages[line] = rigs::delay("line", rigs::us(us)),
                }
            }
            rig.course.eras.push(Era {
                from: home * (n as i128 + 1) + rigs::part(over, under),
                stages: stages.clone(),
                wires: rig.wires.clone(),
                sequencers: sequencers.clone(),
                voices: (0..rig.voices.len()).collect(),
            });
        }
        likely
    })
}
