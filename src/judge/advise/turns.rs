//! What is to be done where a rig fails, in order: who is at fault, and which delay mends it.

use super::aside::without;
use super::blame::{Fault, blame_as_checked};
use super::{Advice, AdviseError, Part, Question, Watch, Window, advise_watched, outlook};
use crate::judge::{Reason, Target};
use crate::patch::Rig;
use crate::time::Tempo;

/// A player at fault, and what mends it.
#[derive(Clone, Debug, PartialEq)]
pub struct Turn {
    /// Who, as an index into the players of the rig.
    pub player: usize,
    /// The first tempo at which something is wrong.
    pub tempo: Tempo,
    /// What is wrong there.
    pub reason: Reason,
    /// Where a delay mends it, as if others at fault were not there.
    pub cure: Cure,
}

/// Which delay mends a player.
#[derive(Clone, Debug, PartialEq)]
pub enum Cure {
    /// These at an input: of its own or, where none there does, of another box that is made to wait for it.
    Delay {
        /// The input.
        on: Target,
        /// The delays that do at every tempo.
        windows: Vec<Window>,
        /// Whether they are sure; else they pass in the typical run only.
        sure: bool,
        /// The components, the best first.
        parts: Vec<Part>,
    },
    /// None at any input.
    None,
    /// It would be too much to try.
    Unknown,
}

/// What is to be done, in order.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Turns {
    /// Who is at fault, in the order in which they are mended: those first whom no delay mends, then those on whom others hang.
    pub turns: Vec<Turn>,
    /// Players that are off or apart only since they hang on others, and on whom.
    pub spoiled: Vec<(usize, Vec<usize>)>,
    /// Whether everybody is together at every tempo with all these delays put in, each in the middle of its window; those whom
    /// none mends, and who hangs on them, left aside. `None` where there is no delay to put in.
    pub works: Option<bool>,
}

impl Turns {
    /// The turn of a player who is at fault.
    #[must_use]
    pub fn of(&self, player: usize) -> Option<&Turn> {
        self.turns.iter().find(|turn| turn.player == player)
    }
}

/// So many inputs of others are looked at where no delay at a box's own mends it.
const MOST_OTHERS: usize = 16;

/// Says who is at fault and what mends them, in order. Of the question, the target does not count. No more than `most` pulses are played
/// for all delays and components together: beyond that, cures are unknown.
///
/// # Errors
/// As [`advise_watched`].
pub fn turns(rig: &Rig, question: &Question<'_>, most: u128, watch: &Watch<'_>) -> Result<Turns, AdviseError> {
    let (aim, tempos) = (&question.aim, question.tempos);
    let mut now = rig.clone();
    let mut all = Turns::default();
    // Who cannot be mended here, and who hangs on them.
    let mut gone: Vec<usize> = Vec::new();
    let mut left = most;
    // Each round mends somebody or gives somebody up.
    for _ in 0..rig.players() {
        let faults = blame_as_checked(&now, aim, tempos, |player| gone.contains(&player))?;
        let hangs = |player: usize, on: usize| player != on && hang_on(rig, on).contains(&player);
        let waits = |player: usize| faults.iter().any(|(on, ..)| hangs(player, *on) && !hangs(*on, player));
        let ripe = faults.iter().filter(|(player, ..)| !waits(*player) && all.of(*player).is_none());
        let ripe: Vec<Fault> = ripe.cloned().collect();
        if ripe.is_empty() {
            break;
        }
        let wait =
            faults.iter().map(|(player, ..)| *player).filter(|&player| waits(player) && all.of(player).is_none());
        for player in wait.collect::<Vec<_>>() {
            let on = ripe.iter().map(|(on, ..)| *on).filter(|&on| hangs(player, on)).collect();
            if !all.spoiled.iter().any(|(own, _)| *own == player) {
                all.spoiled.push((player, on));
            }
        }
        let mut round = Vec::new();
        for (player, tempo, reason) in ripe {
            let others = faults.iter().map(|(other, ..)| *other).chain(gone.iter().copied());
            let others = others.filter(|&other| other != player);
            // Nobody is heard without the one that it hangs on.
            let with: Vec<usize> = others.flat_map(|other| std::iter::once(other).chain(hang_on(rig, other))).collect();
            let others: Vec<usize> =
                (0..rig.players()).filter(|other| *other != player && with.contains(other)).collect();
            let cure = cure(&now, question, (player, &others), (&mut left, watch))?;
            round.push(Turn { player, tempo, reason, cure });
        }
        // Somebody else is made to wait only where nothing else is left to do: with others mended it may not do any more.
        let at_own = |turn: &Turn| matches!(turn.cure, Cure::Delay { on, .. } if on.sequencer == turn.player);
        if round.iter().any(at_own) {
            round.retain(|turn| at_own(turn) || !matches!(turn.cure, Cure::Delay { .. }));
        }
        round.sort_by_key(|turn| matches!(turn.cure, Cure::Delay { .. }));
        for turn in &round {
            match &turn.cure {
                Cure::Delay { on, windows, .. } => {
                    now = windows.first().map_or_else(|| now.clone(), |window| on.delayed(&now, window.middle()));
                }
                Cure::None | Cure::Unknown => {
                    gone.extend(std::iter::once(turn.player).chain(hang_on(rig, turn.player)));
                }
            }
        }
        all.turns.extend(round);
    }
    // In the order in which it is said, too: those first whom no delay mends.
    all.turns.sort_by_key(|turn| matches!(turn.cure, Cure::Delay { .. }));
    // Who was spoiled, and is at fault once that is mended, is at fault.
    let at_fault: Vec<usize> = all.turns.iter().map(|turn| turn.player).collect();
    all.spoiled.retain(|(player, _)| !at_fault.contains(player));
    if all.turns.iter().any(|turn| matches!(turn.cure, Cure::Delay { .. })) {
        all.works = Some(blame_as_checked(&now, aim, tempos, |player| gone.contains(&player))?.is_empty());
    }
    Ok(all)
}

/// Who hangs on a player; a take has nobody.
fn hang_on(rig: &Rig, player: usize) -> Vec<usize> {
    if player >= rig.sequencers.len() {
        return Vec::new();
    }
    Target { sequencer: player, input: crate::judge::Input::Clock }.followers(rig)
}

/// The delay that mends a player: at an input of its own, or else at one of another's.
fn cure(
    rig: &Rig,
    question: &Question<'_>,
    (player, others): (usize, &[usize]),
    (left, watch): (&mut u128, &Watch<'_>),
) -> Result<Cure, AdviseError> {
    let kept: Vec<usize> = (0..rig.players()).filter(|p| !others.contains(p)).collect();
    let any = Target::all(rig).into_iter().find(|target| !others.contains(&target.sequencer));
    let (first, kept) = match any.and_then(|any| without(rig, any, others)) {
        Some((alone, _)) => (Some(alone), kept),
        None => (None, (0..rig.players()).collect()),
    };
    let alone = first.as_ref().unwrap_or(rig);
    let (own, of_others): (Vec<Target>, Vec<Target>) =
        Target::all(alone).into_iter().partition(|target| kept.get(target.sequencer) == Some(&player));
    let mut unknown = of_others.len() > MOST_OTHERS;
    let mut risky = None;
    for target in own.into_iter().chain(of_others.into_iter().take(MOST_OTHERS)) {
        let asked =
            Question { target, settings: &[], dial_steps: None, rc: false, components: &[], ..question.clone() };
        let Some(advice) = within(alone, &asked, left, watch)? else {
            unknown = true;
            continue;
        };
        let (windows, sure) = if advice.sure.is_empty() { (advice.passes, false) } else { (advice.sure, true) };
        if windows.is_empty() || (!sure && risky.is_some()) {
            continue;
        }
        let asked = Question { components: question.components, ..asked };
        let parts = within(alone, &asked, left, watch)?.map(|advice| advice.parts).unwrap_or_default();
        let on = Target { sequencer: kept[target.sequencer], ..target };
        let found = Cure::Delay { on, windows, sure, parts };
        if sure {
            return Ok(found);
        }
        risky = Some(found);
    }
    Ok(risky.unwrap_or(if unknown { Cure::Unknown } else { Cure::None }))
}

/// Advice, where that is not more than what is left to be played.
fn within(
    rig: &Rig,
    question: &Question<'_>,
    left: &mut u128,
    watch: &Watch<'_>,
) -> Result<Option<Advice>, AdviseError> {
    let pulses = outlook(rig, question)?.pulses;
    if pulses > *left {
        return Ok(None);
    }
    *left -= pulses;
    advise_watched(rig, question, watch).map(Some)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::judge;
    use crate::judge::{Input, advise::Fit};
    use crate::patch::{Asked, Patch};
    use crate::rig::play;
    use crate::time::Span;

    fn of(patch: &Patch) -> Turns {
        let rig = &patch.original.rig;
        let question = Question { components: &patch.components, ..Question::plain(patch, Target::all(rig)[0]) };
        turns(rig, &question, u128::MAX, &Watch::nobody()).expect("turns")
    }

    /// Boxes in sixteenths that a reset brings back: their names, modes, and what else is written of each.
    fn patch(boxes: &[(&str, &str, &str)]) -> Patch {
        let mut text = String::from(
            "tempos = [60, 120]\nbars = 8\n[clock.sixteenths]\nrate = \"4 per beat\"\n[clock.home]\nrate = \"1 per 16 beats\"\n\
             [component.gate]\nkind = \"delay\"\ndelay = \"40 us\"\n",
        );
        for (name, mode, more) in boxes {
            text += &format!("[sequencer.{name}]\nreset = \"home\"\nreset-mode = \"{mode}\"\nvoice = \"kick\"\n{more}");
        }
        Patch::parse(&text, &Asked::default()).unwrap_or_else(|faults| panic!("{}", faults.render("", &text, false)))
    }

    const PLAIN: &str = "clock = \"sixteenths\"\nsteps = \"X...x...\"\n";

    /// By hand: Anvil sounds 3.8 ms late, which no delay takes back; Heron waits for the pulse after the reset, and needs its clock later
    /// than that by the skew of 10 us at least, and by the max gap of 2 ms at most. Ox and Wren are fine.
    #[test]
    fn who_cannot_be_mended_goes_first_and_who_is_fine_is_not_named() {
        let late = format!("{PLAIN}latency = \"3.8 ms\"\n");
        let patch = patch(&[
            ("heron", "next-clock", PLAIN),
            ("ox", "this-clock", PLAIN),
            ("wren", "this-clock", PLAIN),
            ("anvil", "this-clock", &late),
        ]);
        let all = of(&patch);
        let [anvil, heron] = &all.turns[..] else { panic!("{all:?}") };
        assert_eq!((anvil.player, &anvil.cure, heron.player), (3, &Cure::None, 0));
        assert!(matches!(anvil.reason, Reason::GapTooLarge { gap: Span(3_800_000_000), .. }));
        let Cure::Delay { on, windows, sure, parts } = &heron.cure else { panic!("{heron:?}") };
        assert_eq!((*on, *sure), (Target { sequencer: 0, input: Input::Clock }, true));
        assert_eq!(windows[..], [Window { least: Span(10_000_000), most: Span(2_000_000_000) }]);
        assert_eq!(parts[0].fit, Fit::Always);
        assert_eq!((all.works, all.spoiled.len()), (Some(true), 0));
    }

    /// By hand: Moth counts what Wren plays. Once Wren is right, so is Moth: the fault is Wren's alone.
    #[test]
    fn who_hangs_on_another_is_not_blamed_for_it() {
        let moth = "clock = \"sequencer.wren.hits\"\nsteps = \"X.\"\n";
        let patch = patch(&[("moth", "this-clock", moth), ("ox", "this-clock", PLAIN), ("wren", "next-clock", PLAIN)]);
        let all = of(&patch);
        assert_eq!(all.turns.iter().map(|turn| turn.player).collect::<Vec<_>>(), [2], "{all:?}");
        assert_eq!((&all.spoiled[..], all.works), (&[(0, vec![2])][..], Some(true)));
    }

    /// By hand: Wren is 10 ms late, which no delay takes back; Ox, which is fine, can be made to wait: by 8 to 12 ms.
    #[test]
    fn where_no_delay_mends_a_box_another_is_made_to_wait() {
        let late = format!("{PLAIN}latency = \"10 ms\"\n");
        let patch = patch(&[("ox", "ignored", PLAIN), ("wren", "ignored", &late)]);
        let all = of(&patch);
        let [Turn { player: 1, cure: Cure::Delay { on, windows, .. }, .. }] = &all.turns[..] else { panic!("{all:?}") };
        assert_eq!(on.sequencer, 0);
        assert_eq!(windows[..], [Window { least: Span(8_000_000_000), most: Span(12_000_000_000) }]);
        assert_eq!(all.works, Some(true));
    }

    #[test]
    fn nobody_is_at_fault_where_all_pass() {
        let patch = patch(&[("ox", "this-clock", PLAIN), ("wren", "this-clock", PLAIN)]);
        assert_eq!(of(&patch), Turns::default());
    }

    /// Of every example: who is blamed stands in a reason of the verdict of `check`; where somebody is off the one there, so is
    /// somebody who is blamed; and where a patch passes, nobody is.
    #[test]
    fn only_those_are_blamed_whom_check_names() {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/patches");
        let mut seen = 0;
        for entry in std::fs::read_dir(folder).expect("the examples") {
            let path = entry.expect("a file").path();
            let text = std::fs::read_to_string(&path).unwrap_or_default();
            let Ok(mut patch) = Patch::parse(&text, &Asked::default()) else { continue };
            patch.components.clear();
            let rig = &patch.original.rig;
            if rig.sequencers.is_empty() || !rig.takes.is_empty() {
                continue;
            }
            seen += 1;
            let all = of(&patch);
            let mut named = Vec::new();
            for &tempo in &patch.tempos {
                let verdict = judge(rig, &play(rig, tempo).expect("played"), patch.max_gap).expect("judged");
                for reason in verdict.reasons {
                    match reason {
                        Reason::GapTooLarge { between, .. } => named.extend(between),
                        Reason::NeverPlays { sequencer }
                        | Reason::PairsWithNothing { sequencer }
                        | Reason::MissesTheOne { sequencer, .. } => named.push(sequencer),
                    }
                }
            }
            let names = |player: usize| (path.clone(), rig.player_name(player).to_owned());
            assert_eq!(all.turns.is_empty(), named.is_empty(), "{}", path.display());
            for turn in &all.turns {
                assert!(named.contains(&turn.player), "{:?}", names(turn.player));
            }
        }
        assert!(seen > 15, "{seen}");
    }
}
