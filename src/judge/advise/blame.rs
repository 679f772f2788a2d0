//! Who is at fault: boxes that miss the one or never play, and of those that are apart the odd ones out.

use super::{AdviseError, Aim};
use crate::hits::taken;
use crate::judge::Reason;
use crate::judge::verdict::{Verdict, judge_pairs};
use crate::patch::Rig;
use crate::rig::{RigError, play};
use crate::time::{Span, Tempo};

/// A player at fault, as an index into those of the rig, with what is wrong and the first tempo at which it is.
pub(super) type Fault = (usize, Tempo, Reason);

/// Finds who is at fault, `spared` left aside: those who miss the one or never play, and of those that are apart from each other the
/// ones apart from most, the furthest from the grid first.
///
/// # Errors
/// If the rig cannot be played.
pub(super) fn blame(
    rig: &Rig,
    aim: &Aim,
    tempos: &[Tempo],
    spared: impl Fn(usize) -> bool,
) -> Result<Vec<Fault>, AdviseError> {
    let mut out = Vec::new();
    for &tempo in tempos {
        at_fault(&verdict(rig, aim, tempo)?, (aim, tempo), &spared, &mut out);
    }
    Ok(out)
}

/// The same of a rig as `check` judges it: at a tempo at which it passes, nobody is at fault. Who meets nobody is, too.
///
/// # Errors
/// If the rig cannot be played.
pub(super) fn blame_as_checked(
    rig: &Rig,
    aim: &Aim,
    tempos: &[Tempo],
    spared: impl Fn(usize) -> bool,
) -> Result<Vec<Fault>, AdviseError> {
    let mut out: Vec<Fault> = Vec::new();
    for &tempo in tempos {
        let verdict = verdict(rig, aim, tempo)?;
        if verdict.passes() {
            continue;
        }
        at_fault(&verdict, (aim, tempo), &spared, &mut out);
        for reason in &verdict.reasons {
            if let Reason::PairsWithNothing { sequencer } = *reason
                && !spared(sequencer)
                && !is_known(&out, sequencer)
            {
                out.push((sequencer, tempo, reason.clone()));
            }
        }
    }
    Ok(out)
}

fn verdict(rig: &Rig, aim: &Aim, tempo: Tempo) -> Result<Verdict, AdviseError> {
    let performance = play(rig, tempo)?;
    let verdict = judge_pairs(rig, &performance, &taken(rig, tempo), aim.max_gap, |_, _| {});
    verdict.map_err(|e| AdviseError::Rig(RigError::Time { output: String::new(), source: e }))
}

fn is_known(out: &[Fault], player: usize) -> bool {
    out.iter().any(|(own, ..)| *own == player)
}

/// Adds those who are at fault at a tempo and not known yet.
fn at_fault(verdict: &Verdict, (aim, tempo): (&Aim, Tempo), spared: &impl Fn(usize) -> bool, out: &mut Vec<Fault>) {
    for (player, standing) in verdict.standings.iter().enumerate().filter(|(player, _)| !spared(*player)) {
        let reason = if standing.hits == 0 {
            Reason::NeverPlays { sequencer: player }
        } else if !standing.right {
            let (scale, off_by) = (standing.scale, standing.off_by);
            let pulses_late = standing.late_worst.unwrap_or_default();
            Reason::MissesTheOne { sequencer: player, pulses_late, scale, off_by }
        } else {
            continue;
        };
        if !is_known(out, player) {
            out.push((player, tempo, reason));
        }
    }
    loop {
        let apart: Vec<([usize; 2], Span)> = verdict
            .gaps
            .iter()
            .filter(|gap| gap.between.iter().all(|&player| !spared(player) && !is_known(out, player)))
            .filter_map(|gap| Some((gap.between, gap.worst_signed()?)))
            .filter(|(_, gap)| gap.abs() > aim.max_gap)
            .collect();
        let late = |player: usize| {
            let lateness = verdict.standings[player].lateness;
            lateness.map_or(0, |stats| stats.median_twice.abs())
        };
        let count = |player: usize| apart.iter().filter(|(between, _)| between.contains(&player)).count();
        let worst = apart.iter().flat_map(|(between, _)| between).copied().max_by_key(|&p| (count(p), late(p), p));
        let Some(worst) = worst else { return };
        let furthest = apart.iter().filter(|(between, _)| between.contains(&worst)).min_by_key(|(_, gap)| -gap.abs().0);
        let Some(&(between, gap)) = furthest else { return };
        out.push((worst, tempo, Reason::GapTooLarge { between, gap }));
    }
}
