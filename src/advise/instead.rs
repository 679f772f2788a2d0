//! Where else a delay could go.

use super::at_tempo::Ground;
use super::{AdviseError, Input, Question, Target, in_all};
use crate::patch::Rig;

/// So many inputs are looked at, the other one of the same box first.
const MOST: usize = 16;

/// What another input would do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Instead {
    /// Some one delay there is sure at every tempo.
    On(Target),
    /// No other input is like that.
    Nowhere,
    /// None of those that were looked at, and there are more.
    Unknown,
}

/// Looks for another input at which some one delay is sure at every tempo: the first there is.
///
/// # Errors
/// As [`advise`](super::advise).
pub fn instead(rig: &Rig, question: &Question<'_>) -> Result<Instead, AdviseError> {
    let asked = question.target;
    let inputs = (0..rig.sequencers.len()).flat_map(|sequencer| {
        let of = |input| Target { sequencer, input };
        [of(Input::Clock), of(Input::Reset)]
    });
    let mut all: Vec<Target> = inputs.filter(|t| *t != asked && t.is_obeyed(rig)).collect();
    all.sort_by_key(|t| t.sequencer != asked.sequencer);
    for &target in all.iter().take(MOST) {
        let ground = Ground::new(rig, target, &question.aim);
        let at = question.tempos.iter().map(|&t| ground.at(&ground.base(t)?));
        let at = at.collect::<Result<Vec<_>, _>>()?;
        if !in_all(at.iter().map(|t| &t.sure)).is_empty() {
            return Ok(Instead::On(target));
        }
    }
    Ok(if all.len() > MOST { Instead::Unknown } else { Instead::Nowhere })
}
