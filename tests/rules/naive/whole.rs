//! Random rigs with everything that a box, a stage and a chain can be set to: a plain random rig, and a row of knobs that
//! change it here and there. A knob at nought changes nothing, so that what fails shrinks to what is needed.

use super::random::any_rig;
use super::{rigs, wires};
use hitgap::patch::{
    Delay, Divide, Does, EdgeKind, FiresOn, Logic, MidiCable, Multiply, NoteOffs, OneShot, Path, Poll, Reads,
    ResetMode, Rig, Source, Stage, StageKind, Tap, Timing, Tolerance, WhileBusy, Width, Wire,
};
use hitgap::time::{Span, Tempo};
use proptest::prelude::*;

pub(crate) struct Knobs {
    pub(crate) list: Vec<u16>,
    pub(crate) times: Vec<i64>,
}

impl Knobs {
    fn turn(&mut self) -> usize {
        usize::from(self.list.pop().unwrap_or(0))
    }

    /// Once in so many times; never with a knob at nought.
    pub(crate) fn once_in(&mut self, times: usize) -> bool {
        self.turn() % times == times - 1
    }

    pub(crate) fn below(&mut self, n: usize) -> usize {
        self.turn() % n
    }

    /// A time that has to do with the rig, or a picosecond beside it; not negative.
    pub(crate) fn time(&mut self) -> Span {
        let n = self.times.len();
        let index = self.below(n);
        let time = self.times[index];
        let beside = [0, 0, 0, 1, -1][self.below(5)];
        Span((time + beside).max(0))
    }

    /// One that is not nought.
    fn some_time(&mut self) -> Span {
        Span(self.time().0.max(1))
    }
}

fn stage(knobs: &mut Knobs, outputs: usize) -> StageKind {
    let straight = |knobs: &mut Knobs| rigs::straight(knobs.below(outputs));
    match knobs.below(9) {
        0 => {
            let (rise, fall) = (knobs.time(), knobs.time());
            let swallows = Span(if knobs.once_in(2) { knobs.time().0.min(rise.0).min(fall.0) } else { 0 });
            StageKind::Delay(Delay {
                rise: Tolerance::plain(rise),
                fall: Tolerance::plain(fall),
                swallows,
                one_shot: None,
            })
        }
        1 => {
            let rise = knobs.time();
            let swallows = Span(if knobs.once_in(2) { knobs.time().0.min(rise.0) } else { 0 });
            let while_busy = [WhileBusy::Ignores, WhileBusy::Passes, WhileBusy::Restarts][knobs.below(3)];
            let one_shot = Some(OneShot { width: Tolerance::plain(knobs.some_time()), while_busy });
            StageKind::Delay(Delay { rise: Tolerance::plain(rise), fall: Tolerance::plain(rise), swallows, one_shot })
        }
        2 | 3 => {
            let does = [Does::Or, Does::And, Does::Xor, Does::Not][knobs.below(4)];
            let with = (does != Does::Not).then(|| straight(knobs));
            let delay = knobs.time();
            let swallows = Span(if knobs.once_in(2) { delay.0 } else { 0 });
            StageKind::Logic(Logic { does, with, delay: Tolerance::plain(delay), swallows })
        }
        4 | 5 => {
            let by = 1 + knobs.below(5) as u32;
            let fires_on = if knobs.once_in(3) { FiresOn::Last } else { FiresOn::First };
            let reset = knobs.once_in(3).then(|| straight(knobs));
            let power_up = if knobs.once_in(4) { knobs.below(by as usize) as u32 } else { 0 };
            StageKind::Divide(Divide { by, fires_on, reset, power_up })
        }
        6 => StageKind::Multiply(Multiply { by: 1 + knobs.below(4) as u32 }),
        7 => poll(knobs),
        _ => cable(knobs),
    }
}

fn cable(knobs: &mut Knobs) -> StageKind {
    let note_offs = [NoteOffs::None, NoteOffs::AsNoteOn, NoteOffs::Own][knobs.below(3)];
    let start_lead = [Span::from_ms(1), Span::ZERO, knobs.time()][knobs.below(3)];
    let (running_status, song_position) = (knobs.once_in(2), knobs.once_in(2));
    StageKind::MidiCable(MidiCable { running_status, note_offs, start_lead, song_position, order: Vec::new() })
}

fn poll(knobs: &mut Knobs) -> StageKind {
    // Not so short that there would be millions of looks.
    let period = Span(knobs.time().0.max(5_000_000_000));
    let phase = Some(Span(knobs.time().0 % period.0));
    let samples = 1 + knobs.below(3) as u32;
    let reads = if knobs.once_in(3) { Reads::Latched } else { Reads::Level };
    StageKind::Poll(Poll { period, phase, drift: 0.0, reads, samples })
}

/// The tempo is kept from being so slow that there would be too many looks of a loop.
fn change(rig: &mut Rig, tempo: Tempo, mut knobs: Knobs) {
    for output in &mut rig.outputs {
        if output.timing == Timing::Start {
            output.timing = [Timing::Start, Timing::Stop, Timing::Run][knobs.below(3)].clone();
            if output.timing != Timing::Start {
                // "nobody knows of a start or a stop before it comes"
                output.shift = output.shift.max(rigs::ms(0));
            }
            if output.timing == Timing::Run {
                output.width = Width::Default;
            }
        }
        if let Timing::Rate { period, .. } = output.timing {
            let period = tempo.exact(period).to_integer() as i64;
            knobs.times.extend([period / 2, period / 4, period / 8, period]);
        }
    }
    let outputs = rig.outputs.len();
    for _ in 0..knobs.below(4) {
        let kind = stage(&mut knobs, outputs);
        rig.stages.push(Stage { name: format!("stage-{}", rig.stages.len()), kind });
    }
    let stages = rig.stages.len();
    for index in 0..knobs.below(3) {
        let mut path = rigs::straight(knobs.below(outputs));
        if stages > 0 && knobs.once_in(2) {
            path.stages.push(knobs.below(stages));
        }
        rig.wires.push(Wire { name: format!("wire-{index}"), path });
    }
    let some_stages = |path: &mut Path, knobs: &mut Knobs| {
        if stages > 0 && knobs.once_in(2) {
            path.stages = (0..=knobs.below(2)).map(|_| stages - 1 - knobs.below(stages)).collect();
        }
    };
    let tap = |knobs: &mut Knobs| [Tap::Thru, Tap::Hits, Tap::Step1, Tap::End][knobs.below(4)];
    for index in 0..rig.sequencers.len() {
        let wires = rig.wires.len();
        let count = rig.sequencers.len();
        let shared = |path: &mut Path, knobs: &mut Knobs| {
            if wires > 0 && knobs.once_in(3) {
                path.source = Source::Wire(knobs.below(wires));
            }
        };
        let mut back = None;
        let mut sequencer = rig.sequencers[index].clone();
        some_stages(&mut sequencer.clock, &mut knobs);
        shared(&mut sequencer.clock, &mut knobs);
        if index > 0 && knobs.once_in(3) {
            sequencer.clock.source = Source::Sequencer { index: knobs.below(index), tap: tap(&mut knobs) };
        }
        if let Some(reset) = &mut sequencer.reset {
            if knobs.once_in(2) {
                reset.mode = match knobs.below(6) {
                    0 => ResetMode::Held,
                    1 => ResetMode::Sampled { setup_time: Span::ZERO },
                    2 => ResetMode::Sampled { setup_time: knobs.time() },
                    3 => ResetMode::ThisClock { grace: Some(knobs.time()) },
                    _ => reset.mode.clone(),
                };
            }
            some_stages(&mut reset.path, &mut knobs);
            shared(&mut reset.path, &mut knobs);
            if knobs.once_in(4) {
                let from = knobs.below(count);
                reset.path.source = Source::Sequencer { index: from, tap: tap(&mut knobs) };
                if from >= index {
                    // A loop needs a delay; and a box that plays at every reset would keep it going for ever.
                    back = Some(knobs.some_time());
                    if matches!(reset.mode, ResetMode::Held | ResetMode::Immediate { .. }) {
                        reset.mode = rigs::this_clock();
                    }
                }
            }
        }
        if index > 0 && knobs.once_in(4) {
            // A gate, or a divider, with a sequencer before it on its second input.
            let second = Path {
                source: Source::Sequencer { index: knobs.below(index), tap: tap(&mut knobs) },
                stages: Vec::new(),
            };
            let kind = if knobs.once_in(2) {
                let (by, fires_on) = (1 + knobs.below(4) as u32, [FiresOn::First, FiresOn::Last][knobs.below(2)]);
                StageKind::Divide(Divide { by, fires_on, reset: Some(second), power_up: 0 })
            } else {
                let does = [Does::Or, Does::And, Does::Xor][knobs.below(3)];
                let delay = knobs.time();
                let swallows = Span(if knobs.once_in(2) { delay.0 } else { 0 });
                StageKind::Logic(Logic { does, with: Some(second), delay: Tolerance::plain(delay), swallows })
            };
            rig.stages.push(Stage { name: format!("gate-{index}"), kind });
            let gate = rig.stages.len() - 1;
            match &mut sequencer.reset {
                Some(reset) if knobs.once_in(2) => reset.path.stages.push(gate),
                _ => sequencer.clock.stages.push(gate),
            }
        }
        if let (Some(delay), Some(reset)) = (back, &mut sequencer.reset) {
            rig.stages.push(rigs::delay(&format!("back-{index}"), delay));
            reset.path.stages.push(rig.stages.len() - 1);
        }
        if knobs.once_in(3) {
            sequencer.pulses_per_step = 1 + knobs.below(4) as u32;
            sequencer.reset_clears_count = !knobs.once_in(3);
        }
        if knobs.once_in(4) {
            sequencer.clock_edge = EdgeKind::Fall;
        }
        if knobs.once_in(4) {
            sequencer.reset_edge = EdgeKind::Fall;
        }
        if knobs.once_in(4) {
            sequencer.gathers = knobs.time();
        }
        if knobs.once_in(5) {
            let by = knobs.time();
            sequencer.offset = if knobs.once_in(2) { Span(-by.0) } else { by };
        }
        if knobs.once_in(6) {
            sequencer.min_high = knobs.time();
        }
        if knobs.once_in(6) {
            sequencer.min_low = knobs.time();
        }
        if knobs.once_in(6) {
            let kind = poll(&mut knobs);
            rig.stages.push(Stage { name: format!("loop-{index}"), kind });
            sequencer.poll = Some(rig.stages.len() - 1);
        }
        if knobs.once_in(5)
            && let Some(reset) = &mut sequencer.reset
        {
            // A serial box as it is wired everywhere: clock and start come down one cable.
            rig.stages.push(Stage { name: format!("cable-{index}"), kind: cable(&mut knobs) });
            let line = rig.stages.len() - 1;
            [&mut sequencer.clock, &mut reset.path].into_iter().for_each(|path| path.stages.push(line));
        }
        rig.sequencers[index] = sequencer;
    }
    let mut names: Vec<String> = rig.outputs.iter().map(|o| o.name.clone()).collect();
    names.extend(rig.sequencers.iter().map(|s| s.name.clone()));
    for stage in &mut rig.stages {
        if let StageKind::MidiCable(line) = &mut stage.kind
            && knobs.once_in(2)
        {
            let some = (0..knobs.below(names.len() + 1)).map(|_| names[knobs.below(names.len())].clone());
            line.order = some.collect();
        }
    }
    keep_short(rig);
}

/// Multipliers one behind the other would make so many pulses that the naive way is busy for minutes.
fn keep_short(rig: &mut Rig) {
    const MOST: i128 = 32;
    let most = |rig: &Rig| {
        let paths = rig.sequencers.iter().flat_map(|s| [Some(&s.clock), s.reset.as_ref().map(|r| &r.path)]);
        paths.flatten().map(|path| wires::scale(rig, path)).max()
    };
    while most(rig).is_some_and(|scale| scale > MOST) {
        let multipliers = rig.stages.iter_mut().filter_map(|stage| match &mut stage.kind {
            StageKind::Multiply(multiply) => Some(multiply),
            _ => None,
        });
        let most = multipliers.max_by_key(|multiply| multiply.by);
        most.into_iter().for_each(|multiply| multiply.by -= 1);
    }
}

/// Any rig of all that there is, at any tempo from 20 on.
pub(crate) fn whole_rig() -> impl Strategy<Value = (Rig, Tempo)> {
    (any_rig(), proptest::collection::vec(any::<u16>(), 0..190)).prop_map(|((mut rig, tempo), list)| {
        let tempo = tempo.max(Tempo::whole(20));
        let times = vec![0, 0, 1, 40_000_000, 1_000_000_000, 1_000_000_000, 5_000_000_000, 5_000_000_000];
        change(&mut rig, tempo, Knobs { list, times });
        (rig, tempo)
    })
}
