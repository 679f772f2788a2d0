//! Random rigs whose clock is turned, stopped, started and continued in the course of the piece.

use super::rigs;
use super::whole::{Knobs, whole_rig};
use hitgap::patch::{KnobTurn, Output, RateChange, Rig, Sequencer, Timing, Width};
use hitgap::time::{Beat, Span, Tempo};
use num_rational::Ratio;
use proptest::prelude::*;

/// Turns some knobs of an output, or all; which it passes on its way to another rate.
fn turned(before: &Output, tempo: Tempo, end: Beat, knobs: &mut Knobs) -> (Output, Vec<Output>) {
    let mut to = before.clone();
    let Timing::Rate { period, phase, swing } = &mut to.timing else { panic!("it has a rate") };
    let part = rigs::part;
    // Not so quick that there would be thousands of pulses.
    let periods = [(1, 4), (1, 2), (1, 1), (2, 1), (3, 1), (4, 1), (1, 3), (3, 4), (5, 3)].map(|(n, d)| part(n, d));
    let periods: Vec<Beat> = periods.into_iter().filter(|p| *p * 60 >= end).collect();
    let mut passes = Vec::new();
    if !periods.is_empty() && !knobs.once_in(4) {
        *period = periods[knobs.below(periods.len())];
        passes = (0..knobs.below(3)).map(|_| periods[knobs.below(periods.len())]).collect();
    }
    if knobs.once_in(3) {
        *phase = [(0, 1), (1, 100), (-1, 100), (1, 2), (-1, 4), (1, 3)].map(|(n, d)| part(n, d))[knobs.below(6)];
    }
    if knobs.once_in(4) {
        *swing = [(1, 2), (2, 3), (1, 3)].map(|(n, d)| part(n, d))[knobs.below(3)];
    }
    if knobs.once_in(4) {
        let shift = Ratio::from_integer(i128::from(knobs.time().0));
        to.shift = if knobs.once_in(2) { -shift } else { shift };
    }
    let fitted = |mut output: Output| {
        let Timing::Rate { period, swing, .. } = output.timing else { panic!("it has a rate") };
        // The checks of a patch refuse a width that reaches the next rise.
        let half = part(1, 2);
        let room = tempo.exact(period * 2 * swing.min(part(1, 1) - swing));
        let fits = match &output.width {
            Width::Time(time) => *time < room,
            Width::Share(share) => tempo.exact(period) * share < room,
            Width::Default => swing == half,
        };
        if !fits {
            output.width = Width::Time(room * half);
        }
        output
    };
    let passing = |rate: &Beat| {
        let mut output = to.clone();
        if let Timing::Rate { period, .. } = &mut output.timing {
            *period = *rate;
        }
        fitted(output)
    };
    (fitted(to.clone()), passes.iter().map(passing).collect())
}

/// A beat within the piece: on the grid of some output, often.
fn some_beat(rig: &Rig, knobs: &mut Knobs) -> Beat {
    let units = [(1, 4), (1, 1), (1, 3), (1, 7), (5, 8)].map(|(n, d)| rigs::part(n, d));
    let unit = units[knobs.below(units.len())];
    let most = (rig.end / unit).to_integer().max(1) as usize;
    unit * (1 + knobs.below(most)) as i128
}

fn change(rig: &mut Rig, tempo: Tempo, knobs: &mut Knobs) {
    let rated = |o: &usize| matches!(rig.outputs[*o].timing, Timing::Rate { .. });
    let rated: Vec<usize> = (0..rig.outputs.len()).filter(rated).collect();
    let mut switches: Vec<Beat> = (0..knobs.below(5)).map(|_| some_beat(rig, knobs)).collect();
    switches.sort_unstable();
    switches.dedup();
    let mut beats: Vec<Beat> = (0..1 + knobs.below(4)).map(|_| some_beat(rig, knobs)).collect();
    beats.sort_unstable();
    let outputs = beats.iter().map(|_| rated.get(knobs.below(rated.len().max(1))).copied()).collect::<Vec<_>>();
    let mut now = rig.outputs.clone();
    for (n, (&after, output)) in beats.iter().zip(&outputs).enumerate() {
        let &Some(output) = output else { continue };
        let (to, mut passes) = turned(&now[output], tempo, rig.end, knobs);
        // "A `dwell` with which it arrives" well before it is turned again, and before the clock stops or the piece ends: to
        // which side of that very instant it arrives is a matter of the last place.
        let later = beats.iter().zip(&outputs).skip(n + 1).filter(|(_, o)| **o == Some(output)).map(|(beat, _)| *beat);
        let until = later.chain(switches.iter().copied().filter(|s| *s > after)).chain([rig.end]).min();
        let left = tempo.exact(until.map_or(after, |until| until.max(after)) - after).to_integer() as i64;
        let share = [2, 3, 4][knobs.below(3)];
        let dwell = Span(left / share / passes.len().max(1) as i64);
        if dwell <= Span::ZERO {
            passes.clear();
        }
        now[output] = to.clone();
        let reading = if knobs.once_in(2) { RateChange::FromChange } else { RateChange::OnGrid };
        rig.course.turns.push(KnobTurn { after, output, to, reading, passes, dwell });
    }
    // A box whose clock has no rate counts starts; between two of them it is not agreed which of the two a reset means.
    let counts_starts = |s: &Sequencer| !rated.contains(&rig.origin(&s.clock));
    if rig.sequencers.iter().any(counts_starts) {
        switches.clear();
    }
    let starts = switches.iter().skip(1).step_by(2);
    rig.course.continues = starts.copied().filter(|_| knobs.once_in(2)).collect();
    rig.course.switches = switches;
    for sequencer in &mut rig.sequencers {
        sequencer.sounds_on_reset = !knobs.once_in(2);
    }
}

/// Any whole rig, and what is done to its clock while it plays.
pub(crate) fn changing_rig() -> impl Strategy<Value = (Rig, Tempo)> {
    (whole_rig(), proptest::collection::vec(any::<u16>(), 0..60)).prop_map(|((mut rig, tempo), list)| {
        let times = vec![0, 1, 40_000_000, 1_000_000_000, 5_000_000_000, 100_000_000_000];
        change(&mut rig, tempo, &mut Knobs { list, times });
        (rig, tempo)
    })
}
