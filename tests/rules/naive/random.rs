//! Random rigs, with many times that are equal or miss each other by a picosecond.
//!
//! All times of one rig come from a short list: a few round figures, and the periods and widths of its own outputs at
//! its own tempo. Some setup times, holdoffs, idle times and widths are then tuned to what really lies between two
//! edges of the rig. Half of the rigs are calm: no shifts or latencies, few phases, and everybody starts at step 1.

use super::rigs;
use super::wires::Wires;
use hitgap::patch::{
    OnTie, Output, Path, Reset, ResetMode, Rig, Sequencer, Share, Source, Stage, StageKind, Step, Timing, Width,
};
use hitgap::time::{Beat, ExactPs, Span, Tempo, round_half_up};
use num_rational::Ratio;
use proptest::prelude::*;
use proptest::sample::select;

/// Which time of the list to take, how often, and how far beside it.
#[derive(Clone, Copy, Debug)]
struct TimePick {
    index: usize,
    times: i128,
    beside: i128,
}

/// The list begins with nought.
const NOTHING: TimePick = TimePick { index: 0, times: 1, beside: 0 };

#[derive(Clone, Debug)]
struct OutputPick {
    start: bool,
    period: Beat,
    phase: Share,
    swing: Share,
    width: WidthPick,
    shift: Option<(TimePick, Ratio<i128>, bool)>,
}

#[derive(Clone, Copy, Debug)]
enum WidthPick {
    Default,
    Time(TimePick),
    Share(Share),
    /// A third of a picosecond short of the next rise: rounded, some pulses touch.
    AlmostAll,
    /// A third of a picosecond: rounded, some pulses have no length.
    AlmostNone,
}

#[derive(Clone, Debug)]
struct PathPick {
    output: usize,
    stages: Vec<usize>,
}

#[derive(Clone, Debug)]
enum ModePick {
    ThisClock,
    NextClock(TimePick, bool),
    Immediate(TimePick),
    Ignored,
}

#[derive(Clone, Debug)]
struct SequencerPick {
    clock: PathPick,
    reset: Option<(PathPick, ModePick)>,
    steps: Vec<Step>,
    latency: TimePick,
    power_up_step: usize,
    idle_reset: Option<TimePick>,
    own_one: bool,
    tuned: Option<(usize, i64)>,
}

fn time() -> impl Strategy<Value = TimePick> {
    let times = prop_oneof![6 => Just(1), 1 => Just(2), 1 => Just(3)];
    let beside = prop_oneof![6 => Just(0), 1 => Just(-1), 1 => Just(1)];
    (0..64_usize, times, beside).prop_map(|(index, times, beside)| TimePick { index, times, beside })
}

fn output() -> impl Strategy<Value = OutputPick> {
    let period = select(
        [(1, 4), (1, 4), (1, 2), (1, 1), (2, 1), (2, 1), (4, 1), (8, 1), (1, 3), (3, 4), (5, 3), (7, 5), (1, 24)]
            .map(|(n, d)| Ratio::new(n, d))
            .to_vec(),
    );
    let phase = select(
        [(0, 1), (0, 1), (0, 1), (1, 100), (-1, 100), (1, 2), (-49, 100), (-1, 3), (1, 4), (-1, 4), (1, 7)]
            .map(|(n, d)| Ratio::new(n, d))
            .to_vec(),
    );
    let swing = select(
        [(1, 2), (1, 2), (1, 2), (1, 2), (2, 3), (1, 3), (3, 5), (1, 100), (99, 100), (3, 4)]
            .map(|(n, d)| Ratio::new(n, d))
            .to_vec(),
    );
    let share = select([(1, 2), (1, 4), (1, 3), (9, 10), (1, 100)].map(|(n, d)| Ratio::new(n, d)).to_vec());
    let width = prop_oneof![
        6 => Just(WidthPick::Default),
        6 => time().prop_map(WidthPick::Time),
        6 => share.prop_map(WidthPick::Share),
        2 => Just(WidthPick::AlmostAll),
        1 => Just(WidthPick::AlmostNone),
    ];
    let crumb = select([(0, 1), (0, 1), (0, 1), (1, 3), (1, 2), (2, 7)].map(|(n, d)| Ratio::new(n, d)).to_vec());
    let shift = proptest::option::weighted(0.4, (time(), crumb, any::<bool>()));
    (proptest::bool::weighted(0.08), period, phase, swing, width, shift).prop_map(
        |(start, period, phase, swing, width, shift)| OutputPick { start, period, phase, swing, width, shift },
    )
}

fn path() -> impl Strategy<Value = PathPick> {
    let stages =
        prop_oneof![3 => Just(vec![]), 2 => proptest::collection::vec(0..8_usize, 1..=2), 1 => Just(vec![0, 0])];
    (0..16_usize, stages).prop_map(|(output, stages)| PathPick { output, stages })
}

fn sequencer() -> impl Strategy<Value = SequencerPick> {
    let mode = prop_oneof![
        3 => Just(ModePick::ThisClock),
        2 => any::<bool>().prop_map(|reset_first| ModePick::NextClock(NOTHING, reset_first)),
        3 => (time(), any::<bool>()).prop_map(|(setup, reset_first)| ModePick::NextClock(setup, reset_first)),
        4 => time().prop_map(ModePick::Immediate),
        1 => Just(ModePick::Ignored),
    ];
    let step = prop_oneof![2 => Just(Step::Hit), 1 => Just(Step::Accent), 1 => Just(Step::Rest)];
    let latency = prop_oneof![2 => Just(NOTHING), 1 => time()];
    (
        path(),
        proptest::option::weighted(0.85, (path(), mode)),
        prop_oneof![3 => proptest::collection::vec(step.clone(), 1..=17), 1 => proptest::collection::vec(step, 1..=4)],
        latency,
        prop_oneof![4 => Just(0_usize), 1 => 0..17_usize],
        proptest::option::weighted(0.25, time()),
        proptest::bool::weighted(0.1),
        proptest::option::weighted(0.4, (0..4_usize, select(vec![0, 0, 0, 1, -1]))),
    )
        .prop_map(|(clock, reset, steps, latency, power_up, idle_reset, own_one, tuned)| SequencerPick {
            power_up_step: power_up % steps.len() + 1,
            clock,
            reset,
            steps,
            latency,
            idle_reset,
            own_one,
            tuned,
        })
}

fn tempo() -> impl Strategy<Value = Tempo> {
    let named = ["60", "120", "50", "97.5", "133.333333", "1000", "1", "120.000001"];
    prop_oneof![
        3 => select(named.to_vec()).prop_map(|text| text.parse().expect("a tempo")),
        1 => (1_000_000..=1_000_000_000_u64).prop_map(|micro| Tempo::from_micro(micro).expect("in bounds")),
    ]
}

/// The list of times of one rig.
struct Times(Vec<ExactPs>);

impl Times {
    fn of(outputs: &[OutputPick], tempo: Tempo) -> Self {
        let ps = |n: i128| ExactPs::from_integer(n);
        let mut list =
            vec![ps(0), ps(1), ps(40_000_000), ps(1_000_000_000), ps(1_000_000_000), ps(5_000_000_000), ps(0)];
        for output in outputs {
            let period = tempo.exact(output.period);
            list.extend([period, period / 2, period / 100, period / 4]);
            if output.phase < Ratio::from_integer(0) {
                list.push(-period * output.phase);
            } else {
                list.push(period * output.phase);
            }
        }
        Self(list)
    }

    /// Whole picoseconds, never negative.
    fn whole(&self, pick: TimePick) -> i128 {
        (round_half_up(self.0[pick.index % self.0.len()] * pick.times) + pick.beside).max(0)
    }

    fn span(&self, pick: TimePick) -> Span {
        Span(i64::try_from(self.whole(pick)).expect("short"))
    }
}

fn calm_down(outputs: &mut [OutputPick], sequencers: &mut [SequencerPick]) {
    for output in outputs {
        output.shift = None;
        if output.phase < Ratio::from_integer(0) {
            output.phase = Ratio::from_integer(0);
        }
    }
    for sequencer in sequencers {
        sequencer.latency = NOTHING;
        sequencer.power_up_step = 1;
        sequencer.idle_reset = None;
    }
}

/// Beats from one rise to the nearest next one.
fn nearest(period: Beat, swing: Share) -> Beat {
    period * Ratio::from_integer(2) * swing.min(Ratio::from_integer(1) - swing)
}

/// Sets a time of a sequencer, or its clock's width, to the `nth` smallest of those that lie between two edges.
fn tune(rig: &mut Rig, tempo: Tempo, index: usize, nth: usize, beside: i64) {
    let wires = Wires::of_the_clock(rig, tempo);
    let clock = wires.path(&rig.sequencers[index].clock);
    let mut idle: Vec<i64> = clock.windows(2).map(|two| two[1].rise - two[0].rise).collect();
    let resets = rig.sequencers[index].reset.as_ref().map(|reset| wires.path(&reset.path));
    let resets = resets.unwrap_or_default();
    let apart = |sign: i64| {
        let mut apart: Vec<i64> = clock
            .iter()
            .flat_map(|c| resets.iter().map(move |r| sign * (c.rise - r.rise)))
            .filter(|d| *d > 0)
            .collect();
        apart.sort_unstable();
        apart.dedup();
        apart
    };
    let (clock_after, reset_after) = (apart(1), apart(-1));
    idle.sort_unstable();
    idle.dedup();
    let pick = |from: &[i64]| {
        let found = if from.is_empty() { None } else { Some(from[nth % from.len()]) };
        found.map(|d| Span((d + beside).max(0)))
    };
    let output = rig.origin(&rig.sequencers[index].clock);
    let sequencer = &mut rig.sequencers[index];
    if sequencer.idle_reset.is_some() {
        sequencer.idle_reset = pick(&idle).filter(|idle| idle.0 > 0);
    }
    match sequencer.reset.as_mut().map(|reset| &mut reset.mode) {
        Some(ResetMode::NextClock { setup_time: time, .. } | ResetMode::Immediate { holdoff: time }) => {
            *time = pick(&clock_after).unwrap_or(*time);
        }
        Some(ResetMode::ThisClock { .. }) => {
            if let (Some(width), Timing::Rate { period, swing, .. }) = (pick(&reset_after), &rig.outputs[output].timing)
            {
                let width = ExactPs::from_integer(i128::from(width.0));
                if width > ExactPs::from_integer(0) && width < tempo.exact(nearest(*period, *swing)) {
                    rig.outputs[output].width = Width::Time(width);
                }
            }
        }
        Some(ResetMode::Held | ResetMode::Sampled { .. } | ResetMode::Ignored) | None => {}
    }
}

fn make_output(index: usize, pick: &OutputPick, times: &Times, tempo: Tempo) -> Output {
    let half = Ratio::new(1, 2);
    // The checks of a patch refuse a width that reaches the next rise.
    let room = tempo.exact(nearest(pick.period, pick.swing));
    let fits = |time: ExactPs| time > ExactPs::from_integer(0) && (pick.start || time < room);
    let fall_back = Width::Time(if pick.start { rigs::ms(3) } else { room * half });
    let width = match pick.width {
        WidthPick::Default if pick.swing == half || pick.start => Width::Default,
        WidthPick::Default => fall_back,
        WidthPick::Time(time) => {
            let time = ExactPs::from_integer(times.whole(time));
            if fits(time) { Width::Time(time) } else { fall_back }
        }
        WidthPick::Share(share) if !pick.start && fits(tempo.exact(pick.period) * share) => Width::Share(share),
        WidthPick::AlmostAll if !pick.start => Width::Time(room - Ratio::new(1, 3)),
        WidthPick::AlmostNone => Width::Time(Ratio::new(1, 3)),
        WidthPick::Share(_) | WidthPick::AlmostAll => fall_back,
    };
    let shift = pick.shift.map_or(Ratio::from_integer(0), |(time, crumb, back)| {
        let time = ExactPs::from_integer(times.whole(time)) + crumb;
        if back { -time } else { time }
    });
    let timing = if pick.start {
        Timing::Start
    } else {
        Timing::Rate { period: pick.period, phase: pick.phase, swing: pick.swing }
    };
    Output { name: format!("output-{index}"), timing, width, shift }
}

fn make_path(pick: &PathPick, outputs: &[OutputPick], stages: usize, slow: bool) -> Path {
    // A reset comes from one of the slower outputs, mostly; a clock from one of the quicker.
    let mut order: Vec<usize> = (0..outputs.len()).collect();
    order.sort_by_key(|i| outputs[*i].period);
    if slow {
        order.reverse();
    }
    let n = order.len();
    let output = order[(pick.output % n).min(pick.output / n % n)];
    let stages = if stages == 0 { Vec::new() } else { pick.stages.iter().map(|s| s % stages).collect() };
    Path { source: Source::Output(output), stages }
}

/// The output that a path begins at.
fn rig_output(path: &Path) -> usize {
    let Source::Output(output) = path.source else { panic!("not yet") };
    output
}

/// Any rig, at any tempo.
pub(crate) fn any_rig() -> impl Strategy<Value = (Rig, Tempo)> {
    (
        tempo(),
        proptest::collection::vec(output(), 1..=4),
        proptest::collection::vec(time(), 0..=3),
        proptest::collection::vec(sequencer(), 1..=4),
        select([(4, 1), (8, 1), (16, 1), (9, 2), (33, 4), (1, 8), (12, 1)].map(|(n, d)| Ratio::new(n, d)).to_vec()),
        proptest::option::weighted(0.8, 0..8_usize),
        select(vec![["ox", "wren", "moth", "lantern"], ["d", "c", "b", "a"], ["a", "b", "c", "d"]]),
        any::<bool>(),
    )
        .prop_map(|(tempo, mut output_picks, stage_picks, mut sequencer_picks, end, one, names, calm)| {
            if calm {
                calm_down(&mut output_picks, &mut sequencer_picks);
            }
            let times = Times::of(&output_picks, tempo);
            let outputs: Vec<Output> =
                output_picks.iter().enumerate().map(|(i, pick)| make_output(i, pick, &times, tempo)).collect();
            let stages: Vec<Stage> = stage_picks
                .iter()
                .enumerate()
                .map(|(i, pick)| Stage {
                    name: format!("stage-{i}"),
                    kind: StageKind::Delay(rigs::both_edges(times.span(*pick))),
                })
                .collect();
            let sequencers: Vec<Sequencer> = sequencer_picks
                .iter()
                .zip(names)
                .map(|(pick, name)| Sequencer {
                    reset: pick.reset.as_ref().map(|(path, mode)| Reset {
                        path: make_path(path, &output_picks, stages.len(), true),
                        mode: match mode {
                            ModePick::ThisClock => rigs::this_clock(),
                            ModePick::NextClock(setup, reset_first) => ResetMode::NextClock {
                                setup_time: times.span(*setup),
                                on_tie: if *reset_first { OnTie::ResetFirst } else { OnTie::ClockFirst },
                            },
                            ModePick::Immediate(holdoff) => ResetMode::Immediate { holdoff: times.span(*holdoff) },
                            ModePick::Ignored => ResetMode::Ignored,
                        },
                    }),
                    latency: times.span(pick.latency),
                    power_up_step: pick.power_up_step,
                    idle_reset: pick.idle_reset.map(|idle| times.span(idle)).filter(|idle| idle.0 > 0),
                    own_one: pick.own_one,
                    ..Sequencer::new(
                        name,
                        make_path(&pick.clock, &output_picks, stages.len(), false),
                        pick.steps.clone(),
                        0,
                    )
                })
                .collect();
            let resets = || sequencers.iter().filter_map(|s| s.reset.as_ref()).map(|r| rig_output(&r.path));
            // The one is what somebody is reset by, mostly.
            let one = one.map(|pick| match resets().nth(pick) {
                Some(output) => output,
                None => resets().next().unwrap_or(pick % outputs.len()),
            });
            // At most 60 pulses of the quickest output.
            let quickest = output_picks.iter().map(|o| o.period).min().expect("one at least");
            let end = end.min(quickest * 60);
            let mut rig = rigs::rig(end, outputs, stages, sequencers, one);
            for (index, pick) in sequencer_picks.iter().enumerate() {
                if let Some((nth, beside)) = pick.tuned {
                    tune(&mut rig, tempo, index, nth, beside);
                }
            }
            (rig, tempo)
        })
}
