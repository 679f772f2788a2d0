//! What is worth saying where nothing that may be done does: who is at fault and kept, and who could be nudged.

use super::bench::Bench;
use super::catalogue::{Catalogue, moves};
use super::change::Change;
use super::examine::Scope;
use super::fault::Fault;
use crate::judge::Reason;
use crate::judge::advise::{Aim, blame_as_checked};
use crate::patch::Patch;
use crate::time::{Span, Tempo};

/// What would help, if its user allowed it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Hint {
    /// A nudge of a box of which nobody has said that it can be nudged takes away that it is apart from others.
    Nudge {
        /// Index of the box.
        player: usize,
        /// How late it is; negative for early.
        late: Span,
    },
    /// Who is at fault is kept as it is.
    Kept {
        /// Index of the player.
        player: usize,
        /// The wish that says so.
        by: String,
    },
}

impl Hint {
    /// Whether both speak of one player and say the same kind of thing.
    pub(super) fn is_of_one(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Nudge { player: a, .. }, Self::Nudge { player: b, .. }) => a == b,
            (Self::Kept { player: a, .. }, Self::Kept { player: b, .. }) => a == b,
            _ => false,
        }
    }
}

/// What is worth saying of those who are at fault, each once.
pub(super) fn hints(
    patch: &Patch,
    catalogue: &Catalogue,
    aim: &Aim,
    (tempos, plays): (&[Tempo], &[bool]),
) -> Vec<Hint> {
    let rig = &patch.original.rig;
    let Ok(faults) = blame_as_checked(rig, aim, tempos, |player| !plays[player]) else { return Vec::new() };
    let offered = |player: usize| {
        catalogue.offers.iter().any(|offer| matches!(offer.change, Change::Nudge { player: own } if own == player))
    };
    let mut all = Vec::new();
    for (player, _, reason) in faults {
        if let Some((_, by)) = catalogue.kept_players.iter().find(|(own, _)| *own == player) {
            all.push(Hint::Kept { player, by: by.clone() });
            continue;
        }
        let Reason::GapTooLarge { between, gap } = reason else { continue };
        if player >= rig.sequencers.len() || offered(player) || !moves(rig, player) {
            continue;
        }
        if helps(patch, aim, (tempos, plays), player) {
            let late = if between[1] == player { gap } else { Span(-gap.0) };
            all.push(Hint::Nudge { player, late });
        }
    }
    all
}

/// Whether a nudge of a box alone leaves it apart from nobody who plays as meant.
fn helps(patch: &Patch, aim: &Aim, (tempos, plays): (&[Tempo], &[bool]), player: usize) -> bool {
    let catalogue = Catalogue::of_nudge(&patch.original.rig, player);
    let bench = Bench::new(patch, &catalogue, *aim, tempos);
    let scope = Scope { plays: plays.to_vec(), ..Scope::whole(&bench) };
    let faults = bench.examine(&[0], &scope).faults;
    !faults.iter().any(|(fault, _)| match fault {
        Fault::Apart { between, .. } => between.contains(&player),
        Fault::Knot { pairs } => pairs.iter().flatten().any(|own| *own == player),
        Fault::Unplayable(_) => true,
        Fault::Box { .. } | Fault::MeetsNobody { .. } => false,
    })
}
