//! Where else a delay could go.

use super::ground::Ground;
use super::{AdviseError, Question, Watch, in_all, outlook};
use crate::judge::{Input, Target};
use crate::patch::Rig;
use rayon::prelude::*;

/// So many inputs are looked at, the other one of the same box first.
const MOST: usize = 16;

/// What another input would do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Alternative {
    /// Some one delay there is sure at every tempo.
    On(Target),
    /// No other input is like that.
    Nowhere,
    /// None of those that were looked at, and there are more, or some would take too long.
    Unknown,
}

/// Looks for another input at which some one delay is sure at every tempo: the first there is. Of inputs for which more than
/// `most` pulses would have to be played nothing is known.
///
/// # Errors
/// As [`advise_watched`](super::advise_watched).
pub fn alternative(
    rig: &Rig,
    question: &Question<'_>,
    most: u128,
    watch: &Watch<'_>,
) -> Result<Alternative, AdviseError> {
    let asked = question.target;
    let inputs = (0..rig.sequencers.len()).flat_map(|sequencer| {
        let of = |input| Target { sequencer, input };
        [of(Input::Clock), of(Input::Reset)]
    });
    let mut all: Vec<Target> = inputs.filter(|t| *t != asked && t.is_obeyed(rig)).collect();
    all.sort_by_key(|t| t.sequencer != asked.sequencer);
    let mut passed_over = all.len() > MOST;
    for &target in all.iter().take(MOST) {
        let ground = Ground::new(rig, target, &question.aim, watch);
        let bases = question.tempos.par_iter().map(|&t| ground.base(t)).collect::<Result<Vec<_>, _>>()?;
        if bases.iter().any(|base| ground.is_hopeless(base)) {
            continue;
        }
        let asked =
            Question { target, components: &[], settings: &[], dial_steps: None, rc: false, ..question.clone() };
        if outlook(rig, &asked)?.pulses > most {
            passed_over = true;
            continue;
        }
        let at = bases.par_iter().map(|base| ground.at(base));
        let at = at.collect::<Result<Vec<_>, _>>()?;
        if watch.is_cancelled() {
            return Err(AdviseError::Cancelled);
        }
        if !in_all(at.iter().map(|t| &t.sure)).is_empty() {
            return Ok(Alternative::On(target));
        }
    }
    Ok(if passed_over { Alternative::Unknown } else { Alternative::Nowhere })
}
