use super::Habit;
use crate::patch::Rig;

/// A rig in which a box reads its reset in this way, from the first beat to the last.
#[must_use]
pub fn reading(rig: &Rig, player: usize, habit: &Habit) -> Rig {
    let mut rig = rig.clone();
    rig.course.eras.iter_mut().for_each(|era| habit.give(&mut era.sequencers[player]));
    habit.give(&mut rig.sequencers[player]);
    rig
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::judge;
    use crate::patch::{Asked, Patch};
    use crate::rig::play;
    use crate::time::Tempo;

    /// As patched the bell waits for the next clock and is a pulse late; a bell that takes the pulse that is high is not.
    #[test]
    fn another_way_of_reading_plays_otherwise() {
        let text = include_str!("../../../patches/late-bell.toml");
        let patch = Patch::parse(text, &Asked::default()).expect("an example");
        let rig = &patch.original.rig;
        let wren = rig.sequencers.iter().position(|s| s.name == "wren").expect("a box");
        let right = |habit: &Habit| {
            let rig = reading(rig, wren, habit);
            let verdict = judge(&rig, &play(&rig, Tempo::whole(80)).expect("played"), patch.max_gap).expect("judged");
            verdict.standings.iter().all(|s| s.right)
        };
        let of = |lines: &[&str]| Habit::all().into_iter().find(|h| h.lines() == lines).expect("a way");
        assert!(right(&of(&["reset-mode = \"this-clock\""])));
        assert!(!right(&of(&["reset-mode = \"next-clock\""])));
        assert!(right(&of(&["reset-mode = \"next-clock\"", "on-tie = \"reset-first\""])));
    }
}
