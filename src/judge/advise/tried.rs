use crate::judge::Target;
use crate::patch::{Component, Corner, Rig, StageKind};

/// The rig with a component at the end of the path, as its data sheet has it usually: what is heard of a part, where the advice
/// speaks of all of its tolerances.
#[must_use]
pub fn tried(rig: &Rig, target: Target, component: &Component) -> Rig {
    fitted(rig, target, &component.name, &component.kind.at_corner(Corner::Usual))
}

/// The rig with a stage of this name at the end of the path: with a component's own values, what a fix makes of it that writes the
/// component as a stage there.
#[must_use]
pub fn fitted(rig: &Rig, target: Target, name: &str, kind: &StageKind) -> Rig {
    let (mut rig, slot) = target.with(rig, kind);
    rig.course.eras.iter_mut().for_each(|era| name.clone_into(&mut era.stages[slot].name));
    name.clone_into(&mut rig.stages[slot].name);
    rig
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::judge;
    use crate::patch::{Asked, Patch};
    use crate::rig::play;
    use crate::time::Span;

    /// A part of 0.1 to 0.4 ms, usually 0.25: the gate's path has then that much more, and the bell is as much later than the drum.
    #[test]
    fn a_part_is_heard_at_its_usual_delay() {
        let text = include_str!("../../../patches/late-bell.toml");
        let patch = Patch::parse(text, &Asked::default()).expect("an example");
        let parts =
            "[component.part]\nkind = \"delay\"\ndelay = { min = \"0.1 ms\", typ = \"0.25 ms\", max = \"0.4 ms\" }\n";
        let parts = patch.read_components(parts).expect("a component");
        let rig = &patch.original.rig;
        let target = Target::parse(rig, "sequencer.wren.clock").expect("a path");
        let with = tried(rig, target, &parts[0]);
        for &tempo in &patch.tempos {
            let verdict = judge(&with, &play(&with, tempo).expect("played"), patch.max_gap).expect("judged");
            assert_eq!(verdict.gaps[0].worst(), Some(Span(250_000_000)), "{tempo}");
            assert!(verdict.standings.iter().all(|s| s.right));
        }
        assert!(with.stages.iter().any(|s| s.name == "part"));
    }
}
