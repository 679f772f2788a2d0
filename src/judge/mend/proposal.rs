//! A set of changes as it is proposed: written as a fix, read again and judged as a whole, by nothing that the search has kept.

use super::apply::lines;
use super::base::every_two;
use super::bench::safe;
use super::change::{Change, Kind, Place};
use super::group::Group;
use super::{Catalogue, Question};
use crate::hits::taken;
use crate::judge::advise::{Aim, allowances, looks_of};
use crate::judge::{brief, sure};
use crate::patch::{NewFix, Patch, Rig};
use crate::rig::play;
use crate::time::{Span, Tempo};

/// A set of changes that passes, and what is left then.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposal {
    /// Indices into the offers of the catalogue, in the order in which they are best done.
    pub changes: Vec<usize>,
    /// What it costs.
    pub cost: u64,
    /// For each player that is nudged, the offset that is written.
    pub nudges: Vec<(usize, Span)>,
    /// The fix that does it.
    pub fix: NewFix,
    /// The rig with it.
    pub rig: Rig,
    /// Each tempo.
    pub at: Vec<AtTempo>,
    /// How far the tightest decision may still move: a gap to the max gap, or an edge to another step, tolerances and skew taken
    /// off. `None` where nothing limits it.
    pub slack: Option<Span>,
}

/// What is left at one tempo.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AtTempo {
    /// The tempo.
    pub tempo: Tempo,
    /// The two players that are furthest apart, and by how much; `None` of one that plays alone.
    pub widest: Option<([usize; 2], Span)>,
    /// What is left of the max gap with what tolerances can add.
    pub room: Option<Span>,
    /// The box whose reset is nearest to another step, and how near over all tolerances.
    pub margin: Option<(usize, Span)>,
}

/// Of what and for whom a set is proposed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Asked<'a> {
    pub(super) patch: &'a Patch,
    pub(super) catalogue: &'a Catalogue,
    pub(super) aim: Aim,
    pub(super) tempos: &'a [Tempo],
    /// Which players are to be heard.
    pub(super) plays: &'a [bool],
}

impl<'a> Asked<'a> {
    pub(super) const fn of(question: &Question<'a>, plays: &'a [bool]) -> Self {
        let Question { patch, catalogue, aim, tempos, .. } = *question;
        Self { patch, catalogue, aim, tempos, plays }
    }
}

/// Writes and judges a set.
///
/// # Errors
/// Why it is no patch, or does not pass after all.
pub(super) fn propose(question: &Asked<'_>, set: &[u16], nudges: &[(usize, Span)]) -> Result<Proposal, String> {
    let (patch, catalogue) = (question.patch, question.catalogue);
    let original = &patch.original.rig;
    let written = lines(original, catalogue, set, nudges);
    let mut rig = match written.is_empty() {
        true => original.clone(),
        false => patch.changed(&written, None).map_err(|faults| faults.to_string())?,
    };
    // What is pinned here is what the patch's own rule might choose anew.
    let moved = original.one.filter(|one| Some(*one) != rig.one && !patch.names_its_one());
    let one = moved.map(|one| original.outputs[one].name.clone());
    rig.one = moved.or(rig.one);
    let at = question
        .tempos
        .iter()
        .map(|&tempo| stand(&rig, tempo, &question.aim, question.plays))
        .collect::<Result<Vec<_>, _>>()?;
    let skew = question.aim.skew;
    let least = |at: &AtTempo| {
        let margin = at.margin.map(|(_, margin)| Span(margin.0 - skew.0));
        at.room.into_iter().chain(margin).min()
    };
    let slack = at.iter().filter_map(least).min();
    let mut changes: Vec<usize> = set.iter().map(|n| usize::from(*n)).collect();
    let turn = |n: &usize| match catalogue.offers[*n].change.kind() {
        Kind::Part => 0,
        Kind::Cable => 1,
        Kind::Setting => 2,
        Kind::Dial => 3,
        Kind::Nudge => 4,
    };
    changes.sort_by_key(|n| (turn(n), *n));
    let cost = changes.iter().map(|&n| catalogue.offers[n].cost).sum();
    let name = changes.iter().map(|&n| word(question, &catalogue.offers[n].change)).collect::<Vec<_>>().join("-and-");
    let fix = NewFix { name, about: None, set: written, one };
    Ok(Proposal { changes, cost, nudges: nudges.to_vec(), fix, rig, at, slack })
}

/// A word for a name of the fix.
fn word(question: &Asked<'_>, change: &Change) -> String {
    let rig = &question.patch.original.rig;
    let player = |n: usize| rig.player_name(n).to_owned();
    match change {
        Change::Nudge { player: n } => format!("nudge-{}", player(*n)),
        Change::Route { target, .. } => format!("{}-cable", player(target.sequencer)),
        Change::Put { part, at } => {
            let at = match at {
                Place::Input(target) => player(target.sequencer),
                Place::Wire(wire) => rig.wires[*wire].name.clone(),
                Place::Output(output, _) | Place::Group(Group { output, .. }) => rig.outputs[*output].name.clone(),
            };
            format!("{}-{at}", question.catalogue.parts[*part].name)
        }
        Change::Turn { output, .. } => format!("turn-{}", rig.outputs[*output].name),
        Change::Set { path, .. } => path.split('.').skip(1).collect::<Vec<_>>().join("-"),
    }
}

/// Judges a whole rig at a tempo, over all tolerances and with the skew kept.
///
/// # Errors
/// What stands in its way.
fn stand(rig: &Rig, tempo: Tempo, aim: &Aim, plays: &[bool]) -> Result<AtTempo, String> {
    let performance = play(rig, tempo).map_err(|e| e.to_string())?;
    let mut brief = brief(rig, &performance, &taken(rig, tempo));
    // Of who is silent nothing is asked.
    brief.worst.retain(|(between, _)| between.iter().all(|n| plays[*n]));
    if !brief.are_right(plays) {
        return Err(format!("at {tempo} not everybody plays on the one"));
    }
    let sures = sure(rig, &performance, aim.skew);
    let mut margin: Option<(usize, Span)> = None;
    for sequencer in (0..rig.sequencers.len()).filter(|s| plays[*s]) {
        let name = || rig.player_name(sequencer);
        let left = safe(rig, sequencer, (&performance, &sures), aim)
            .map_err(|_| format!("{} is at risk at {tempo}", name()))?;
        if let Some(left) = left.filter(|left| margin.is_none_or(|(_, least)| *left < least)) {
            margin = Some((sequencer, left));
        }
    }
    let rigs = rig.in_turn();
    let allowed = allowances(&rigs, |s| looks_of(&rigs, s).unwrap_or(Span::ZERO));
    let (mut widest, mut room): (Option<([usize; 2], Span)>, Option<Span>) = (None, None);
    let allowed = every_two(rig.players()).zip(allowed).filter(|(between, _)| between.iter().all(|n| plays[*n]));
    for ((between, worst), (_, allowed)) in brief.worst.iter().zip(allowed) {
        let Some(worst) = *worst else { continue };
        let of = |n: usize| rig.player_name(n);
        let apart = || format!("{} and {} are too far apart at {tempo}", of(between[0]), of(between[1]));
        let left = Span(aim.max_gap.0 - worst.0 - allowed.ok_or_else(apart)?.0);
        if left < Span::ZERO {
            return Err(apart());
        }
        room = Some(room.map_or(left, |room| room.min(left)));
        if widest.is_none_or(|(_, most)| worst > most) {
            widest = Some((*between, worst));
        }
    }
    Ok(AtTempo { tempo, widest, room, margin })
}
