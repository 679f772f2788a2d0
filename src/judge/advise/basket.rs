//! All components of a list in one path: how each does, as it usually is and at its worst.

use super::worst::{Extreme, worst};
use super::{Advice, AdviseError, Aside, Outlook, Part, Question, Watch, advise_watched, apart, outlook};
use crate::patch::{Rig, StageKind};
use rayon::prelude::*;

/// What a list of components comes to in one path.
#[derive(Clone, Debug)]
pub struct Basket {
    /// The advice on the path.
    pub advice: Advice,
    /// Where others stand in the way whatever is put in: who, and the advice without them.
    pub aside: Option<(Aside, Advice)>,
    /// The components that are heard, the best first.
    pub lots: Vec<Lot>,
    /// Those that are left out since there are too many, the best first.
    pub left_out: Vec<Part>,
}

/// A component and the stages as which it is heard.
#[derive(Clone, Debug, PartialEq)]
pub struct Lot {
    /// How it does.
    pub part: Part,
    /// The component itself, its tolerances and all.
    pub usual: StageKind,
    /// Where its values stand at its worst and the stage that it is then, where that is worse than it usually is.
    pub worst: Option<(Extreme, StageKind)>,
}

impl Basket {
    /// The advice by which components are judged: without those in the way where somebody is.
    #[must_use]
    pub fn judged_by(&self) -> &Advice {
        self.aside.as_ref().map_or(&self.advice, |(_, advice)| advice)
    }

    /// Whether a player stands in the way.
    #[must_use]
    pub fn is_in_the_way(&self, player: usize) -> bool {
        self.aside.iter().flat_map(|(aside, _)| &aside.players).any(|(own, ..)| *own == player)
    }
}

/// Puts the components of a question into its path, the `most` best of them to be heard.
///
/// # Errors
/// As [`advise_watched`].
pub fn basket(rig: &Rig, question: &Question<'_>, most: usize, watch: &Watch<'_>) -> Result<Basket, AdviseError> {
    let advice = advise_watched(rig, question, watch)?;
    let aside = apart(rig, question, &advice, watch)?;
    let mut parts = aside.as_ref().map_or(&advice, |(_, advice)| advice).parts.clone();
    let left_out = parts.split_off(most.min(parts.len()));
    // At worst for this box alone, whoever else stands in the way.
    let (clear, target) = aside.as_ref().map_or((rig, question.target), |(aside, _)| (&aside.rig, aside.target));
    let of = Question { target, ..question.clone() };
    let lots = parts.into_par_iter().filter_map(|part| {
        let component = question.components.iter().find(|c| c.name == part.name)?;
        let worst = worst(clear, &of, &component.kind, watch);
        Some(worst.map(|worst| Lot { part, usual: component.kind.clone(), worst }))
    });
    let lots = lots.collect::<Result<Vec<_>, _>>()?;
    Ok(Basket { advice, aside, lots, left_out })
}

/// How much there is to try for a basket, all in all.
///
/// # Errors
/// As [`advise`](super::advise).
pub fn basket_outlook(rig: &Rig, question: &Question<'_>) -> Result<Outlook, AdviseError> {
    Ok(outlook(rig, question)?.and(super::worst::outlook(rig, question)?))
}
