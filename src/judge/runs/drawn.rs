use crate::patch::{Path, Rig, Sheet, Source, StageKind};

/// The clock where it jitters by itself, and the stages whose doings differ from run to run, by name, in the order of the file: those that a sequencer's sound
/// depends on and that have a tolerance, scatter, or a loop of unknown phase or drift.
#[must_use]
pub fn left_to_chance(rig: &Rig) -> Vec<String> {
    let mut drawn = drawn(rig);
    for era in &rig.course.eras {
        drawn.iter_mut().zip(self::drawn(&era.rig(rig))).for_each(|(a, b)| *a |= b);
    }
    let stages = rig.stages.iter().zip(drawn).filter(|(_, drawn)| *drawn).map(|(stage, _)| stage.name.clone());
    rig.jitter.iter().map(|_| "the clock".to_owned()).chain(stages).collect()
}

fn drawn(rig: &Rig) -> Vec<bool> {
    let mut used = vec![false; rig.stages.len()];
    let mut wires = vec![false; rig.wires.len()];
    let mut paths: Vec<&Path> = Vec::new();
    for sequencer in &rig.sequencers {
        paths.push(&sequencer.clock);
        paths.extend(sequencer.reset.as_ref().map(|r| &r.path));
        sequencer.poll.iter().chain(&sequencer.out).for_each(|&s| used[s] = true);
    }
    while let Some(path) = paths.pop() {
        if let Source::Wire(wire) = path.source
            && !std::mem::replace(&mut wires[wire], true)
        {
            paths.push(&rig.wires[wire].path);
        }
        for &stage in &path.stages {
            if !std::mem::replace(&mut used[stage], true) {
                paths.extend(second(&rig.stages[stage].kind));
            }
        }
    }
    rig.stages.iter().zip(used).map(|(stage, used)| used && is_drawn(&stage.kind)).collect()
}

/// A stage's second path.
fn second(kind: &StageKind) -> Option<&Path> {
    match kind {
        StageKind::Logic(logic) => logic.with.as_ref(),
        StageKind::Divide(divide) => divide.reset.as_ref(),
        _ => None,
    }
}

fn is_drawn(kind: &StageKind) -> bool {
    fn any<T: Copy + PartialEq>(sheets: &[Sheet<T>]) -> bool {
        sheets.iter().any(|s| !s.is_plain())
    }
    match kind {
        StageKind::Delay(d) => any(&[d.rise, d.fall]) || d.one_shot.as_ref().is_some_and(|o| any(&[o.width])),
        StageKind::Rc(rc) => any(&[rc.r, rc.c, rc.threshold_rise, rc.threshold_fall]),
        StageKind::Envelope(e) => any(&[e.attack, e.decay]),
        StageKind::Logic(logic) => any(&[logic.delay]),
        StageKind::Divide(_) | StageKind::Multiply(_) | StageKind::MidiCable(_) => false,
        StageKind::Poll(poll) => poll.phase.is_none() || poll.drift > 0.0,
        StageKind::AudioBuffer(buffer) => buffer.phase.is_none() || buffer.drift > 0.0,
        StageKind::Air(air) => any(&[air.distance, air.temperature]),
        StageKind::Strike(s) => any(&[s.stroke, s.speed]) || any(&[s.rise]) || s.spread > crate::time::Span::ZERO,
        StageKind::Jitter(_) => true,
    }
}
