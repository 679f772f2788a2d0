//! Who stands in the way of a path whatever is done there, and the rig without them.

use super::blame::{blame, blame_as_checked};
use super::{Advice, AdviseError, Question, Watch, advise_watched};
use crate::judge::{Reason, Target};
use crate::patch::{Path, Rig, Sequencer, Source, Wire};
use crate::time::Tempo;

/// Others than the box of a path, with whom no delay on it can pass.
#[derive(Clone, Debug, PartialEq)]
pub struct Aside {
    /// Each of them, as an index into the players of the rig, with what is wrong and the first tempo at which it is.
    pub players: Vec<(usize, Tempo, Reason)>,
    /// The rig without them.
    pub rig: Rig,
    /// The path there.
    pub target: Target,
}

/// Finds who stands in the way whatever delay is put in: those who miss the one or never play though nothing there moves them, and
/// of those that are apart from each other the ones apart from most, the furthest from the grid first. Nothing where nobody does,
/// and where a box hangs on one of them.
///
/// # Errors
/// If the rig cannot be played.
pub fn aside(rig: &Rig, question: &Question<'_>) -> Result<Option<Aside>, AdviseError> {
    let target = question.target;
    let followers = target.followers(rig);
    let moves = |player: usize| player == target.sequencer || followers.contains(&player);
    let out = blame(rig, &question.aim, question.tempos, moves)?;
    if out.is_empty() {
        return Ok(None);
    }
    let gone: Vec<usize> = out.iter().map(|(player, ..)| *player).collect();
    Ok(without(rig, target, &gone).map(|(rig, target)| Aside { players: out, rig, target }))
}

/// Where no delay will do at some tempo since others stand in the way: who they are, and the advice without them, if that has
/// anything to say.
///
/// # Errors
/// As [`advise_watched`].
pub fn apart(
    rig: &Rig,
    question: &Question<'_>,
    advice: &Advice,
    watch: &Watch<'_>,
) -> Result<Option<(Aside, Advice)>, AdviseError> {
    if advice.tempos.iter().all(|at| !at.passes.is_empty()) {
        return Ok(None);
    }
    let Some(aside) = aside(rig, question)? else { return Ok(None) };
    let without = advise_watched(&aside.rig, &Question { target: aside.target, ..question.clone() }, watch)?;
    Ok((!without.sure.is_empty()).then_some((aside, without)))
}

/// Who is at fault where more delay on a path mends it though its own box is fine, with the first tempo at which something is wrong.
///
/// # Errors
/// If the rig cannot be played.
pub fn blamed(
    rig: &Rig,
    question: &Question<'_>,
    advice: &Advice,
) -> Result<Option<(usize, Tempo, Reason)>, AdviseError> {
    let target = question.target;
    let needed = !advice.passes.is_empty() && !advice.passes.iter().any(|window| window.holds(crate::time::Span::ZERO));
    if !needed {
        return Ok(None);
    }
    let all = blame_as_checked(rig, &question.aim, question.tempos, |_| false)?;
    let moves = |player: usize| player == target.sequencer || target.followers(rig).contains(&player);
    Ok(if all.iter().any(|(player, ..)| moves(*player)) { None } else { all.into_iter().next() })
}

/// The rig without some players; nothing where something hangs on one of them.
pub(super) fn without(rig: &Rig, target: Target, gone: &[usize]) -> Option<(Rig, Target)> {
    let boxes = rig.sequencers.len();
    let place = |index: usize| (!gone.contains(&index)).then(|| index - gone.iter().filter(|g| **g < index).count());
    let mut rig = rig.clone();
    // A second input that hangs on a box would have to be counted anew, too.
    let hangs = |path: &Path| matches!(path.source, Source::Sequencer { .. });
    if rig.in_turn().iter().flat_map(|rig| &rig.stages).any(|s| s.kind.second().is_some_and(|(_, path)| hangs(path))) {
        return None;
    }
    let moved = |path: &mut Path| -> Option<()> {
        if let Source::Sequencer { index, .. } = &mut path.source {
            *index = place(*index)?;
        }
        Some(())
    };
    let keep = |sequencers: &mut Vec<Sequencer>, wires: &mut Vec<Wire>| -> Option<()> {
        let mut n = 0;
        sequencers.retain(|_| {
            n += 1;
            !gone.contains(&(n - 1))
        });
        for sequencer in sequencers.iter_mut() {
            moved(&mut sequencer.clock)?;
            sequencer.reset.as_mut().map_or(Some(()), |reset| moved(&mut reset.path))?;
        }
        wires.iter_mut().try_for_each(|wire| moved(&mut wire.path))
    };
    keep(&mut rig.sequencers, &mut rig.wires)?;
    for era in &mut rig.course.eras {
        keep(&mut era.sequencers, &mut era.wires)?;
    }
    let mut n = boxes;
    rig.takes.retain(|_| {
        n += 1;
        !gone.contains(&(n - 1))
    });
    Some((rig, Target { sequencer: place(target.sequencer)?, ..target }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::Input;
    use crate::judge::advise::{Fit, advise};
    use crate::patch::{Asked, Patch};
    use crate::time::Span;

    /// Ox and Wren are on time, Anvil sounds 3.8 ms late, Heron waits for the pulse after the reset. By hand: Heron's clock
    /// needs more than nothing, so that it comes behind the reset, and at most the max gap of 2 ms, or Ox is too far; whatever it is,
    /// Anvil is 3.8 ms from Ox.
    fn rig(anvil: &str) -> Patch {
        let mut text = String::from(
            "tempos = [60, 120]\nbars = 8\n[clock.sixteenths]\nrate = \"4 per beat\"\n[clock.home]\nrate = \"1 per 16 beats\"\n\
             [component.gate]\nkind = \"delay\"\ndelay = \"40 us\"\n",
        );
        for (name, mode, more) in [
            ("anvil", "this-clock", anvil),
            ("ox", "this-clock", ""),
            ("wren", "this-clock", ""),
            ("heron", "next-clock", ""),
        ] {
            text += &format!(
                "[sequencer.{name}]\nclock = \"sixteenths\"\nreset = \"home\"\nreset-mode = \"{mode}\"\nsteps = \"X...x...\"\nvoice = \"kick\"\n{more}"
            );
        }
        Patch::parse(&text, &Asked::default()).expect("a patch")
    }

    #[test]
    fn who_stands_in_the_way_is_named_and_the_rest_is_advised_on() {
        let patch = rig("latency = \"3.8 ms\"\n");
        let target = Target { sequencer: 3, input: Input::Clock };
        let question = Question { components: &patch.components, ..Question::plain(&patch, target) };
        let aside = aside(&patch.original.rig, &question).expect("played").expect("somebody");
        let [(0, tempo, Reason::GapTooLarge { between: [0, 1], gap: Span(-3_800_000_000) })] = aside.players[..] else {
            panic!("{:?}", aside.players)
        };
        assert_eq!((tempo, aside.target), (patch.tempos[0], Target { sequencer: 2, input: Input::Clock }));
        let advice = advise(&aside.rig, &Question { target: aside.target, ..question }).expect("played");
        let window = advice.passes[0];
        assert_eq!((window.least, window.most), (Span(1), Span(2_000_000_000)));
        assert_eq!(advice.parts[0].fit, Fit::Always);
    }

    #[test]
    fn nobody_is_blamed_who_is_not_in_the_way() {
        let patch = rig("");
        let question = Question::plain(&patch, Target { sequencer: 3, input: Input::Clock });
        assert_eq!(aside(&patch.original.rig, &question), Ok(None));
    }

    /// What hangs on the one at fault cannot be heard without it.
    #[test]
    fn nobody_is_left_aside_on_whom_another_hangs() {
        let mut patch = rig("latency = \"3.8 ms\"\n");
        let question = Question::plain(&patch, Target { sequencer: 3, input: Input::Clock });
        let target = question.target;
        let (aim, tempos) = (question.aim, patch.tempos.clone());
        let reset = patch.original.rig.sequencers[1].reset.as_mut().expect("a reset");
        reset.path.source = Source::Sequencer { index: 0, tap: crate::patch::Tap::Step1 };
        let question = Question { aim, tempos: &tempos, ..Question::plain(&patch, target) };
        assert_eq!(aside(&patch.original.rig, &question), Ok(None));
    }
}
