//! Outputs: what the clock sends.

use super::Exact;
use super::signal::{Pulse, on_one_wire};
use super::turning::{self, Meant};
use hitgap::patch::{Output, Rig, Timing, Width};
use hitgap::time::Tempo;

/// The beat of pulse *k* of an output, *k* below nought and past the end included.
pub(crate) fn beat_by_formula(rig: &Meant<'_>, output: usize, k: i128) -> Exact {
    if rig.course.is_steady() { on_grid(&rig.outputs[output], k) } else { rig.beat(output, k) }
}

/// The beat of pulse *k* of a clock that nobody turns or stops.
pub(crate) fn on_grid(output: &Output, k: i128) -> Exact {
    match &output.timing {
        // "one pulse … when the clock starts": it is meant for beat 0, and there is no period to count on by.
        Timing::Start | Timing::Stop | Timing::Run => Exact::from_integer(0),
        Timing::Rate { period, swing, .. } => {
            if k.rem_euclid(2) == 0 {
                // "Pulse *k* = 0, 1, 2 … of an output with rate `N per M beats` is meant for beat `k·M/N`."
                period * k
            } else {
                // "pulse 2*j*+1 is *meant* for the beat `2jP + s·2P`"
                let j = k.div_euclid(2);
                period * (2 * j) + swing * period * 2
            }
        }
    }
}

/// Whether the output has a pulse *k* at all, sent or not.
fn has_pulse(output: &Output, k: i128) -> bool {
    match output.timing {
        Timing::Start | Timing::Stop | Timing::Run => k == 0,
        Timing::Rate { .. } => k >= 0,
    }
}

/// "the number of the first of its clock output's pulses, sent or not, that is meant for beat *b* or later": `None`
/// where there is no such pulse, which only an output that pulses once can say.
pub(crate) fn first_pulse_meant_for(rig: &Meant<'_>, output: usize, beat: Exact) -> Option<i128> {
    if !rig.course.is_steady() {
        return rig.first_for(output, beat);
    }
    let output = &rig.outputs[output];
    (0..).take_while(|k| has_pulse(output, *k)).find(|k| on_grid(output, *k) >= beat)
}

/// The beats of all pulses, sent or not, that are meant for a beat before the end of the patch.
pub(crate) fn beats_before_the_end(rig: &Rig, output: usize) -> Vec<Exact> {
    if !rig.course.is_steady() {
        return turning::beats_before_the_end(rig, output);
    }
    let output = &rig.outputs[output];
    let numbers = (0..).take_while(|k| has_pulse(output, *k));
    numbers.map(|k| on_grid(output, k)).take_while(|beat| *beat < rig.end).collect()
}

/// "it is `floor(exact + 1/2)`, rounded once, at the output"
pub(crate) fn rounded(exact: Exact) -> i64 {
    let half = Exact::new(1, 2);
    i64::try_from((exact + half).floor().to_integer()).expect("the random patches are short")
}

/// How long a number of beats lasts, in picoseconds: a minute has 60·10¹² of them.
pub(crate) fn lasts(tempo: Tempo, beats: Exact) -> Exact {
    let tempo = Exact::new(i128::from(tempo.micro()), 1_000_000);
    beats * 60_000_000_000_000 / tempo
}

pub(crate) fn width(output: &Output, tempo: Tempo) -> Exact {
    let five_ms = Exact::from_integer(5_000_000_000);
    match (&output.width, &output.timing) {
        (Width::Time(time), _) => *time,
        (Width::Share(share), Timing::Rate { period, .. }) => *share * lasts(tempo, *period),
        // "(default: the shorter of 5 ms and half the period)"
        (Width::Default, Timing::Rate { period, .. }) => (lasts(tempo, *period) / 2).min(five_ms),
        // "one pulse of 5 ms (unless width says else) when the clock starts"
        (Width::Default, _) => five_ms,
        (Width::Share(_), _) => panic!("a share of no period"),
    }
}

/// What an output sends.
pub(crate) fn sent(rig: &Rig, output: usize, tempo: Tempo) -> Vec<Pulse> {
    if !rig.course.is_steady() {
        return turning::sent(rig, output, tempo);
    }
    let meant = beats_before_the_end(rig, output);
    let output = &rig.outputs[output];
    let stops = lasts(tempo, rig.end) + output.shift;
    let once = |rise: Exact, fall: Exact| {
        let pulse = Pulse { k: 0, rise: rounded(rise), fall: rounded(fall), k_fall: 0 };
        on_one_wire(vec![pulse])
    };
    match output.timing {
        // "`"stop"`: when it stops", which without a change is at the end of the patch
        Timing::Stop => return once(stops, stops + width(output, tempo)),
        // "`"run"`: a level, high while it runs"
        Timing::Run => return once(output.shift, stops),
        Timing::Start | Timing::Rate { .. } => {}
    }
    let phase_in_beats = match &output.timing {
        Timing::Rate { period, phase, .. } => phase * period,
        Timing::Start | Timing::Stop | Timing::Run => Exact::from_integer(0),
    };
    let mut pulses = Vec::new();
    // "nor is one sent that is meant for a beat at or past the end of the patch"
    for (k, beat) in (0..).zip(meant) {
        // "It rises at the ideal time of that beat, plus `phase` of the output's own period at that tempo, plus
        // `shift`, and falls after `width` …, each instant rounded once from its exact value."
        let rise = lasts(tempo, beat + phase_in_beats) + output.shift;
        let fall = rise + width(output, tempo);
        let pulse = Pulse { k, rise: rounded(rise), fall: rounded(fall), k_fall: k };
        // "A pulse that would rise before the clock starts is not sent but keeps its number"
        if pulse.rise >= 0 {
            pulses.push(pulse);
        }
    }
    // One pulse has one number: "first number".
    on_one_wire(pulses).into_iter().map(|p| Pulse { k_fall: p.k, ..p }).collect()
}
