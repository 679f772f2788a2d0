use crate::patch::{Path, Rig, Source};

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
                paths.extend(rig.stages[stage].kind.second().map(|(_, path)| path));
            }
        }
    }
    rig.stages.iter().zip(used).map(|(stage, used)| used && stage.kind.is_drawn()).collect()
}
