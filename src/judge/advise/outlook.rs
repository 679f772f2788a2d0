//! How much there is to work out, before it is begun.

use super::effort::Outlook;
use super::ground::Ground;
use super::watch::Watch;
use super::{AdviseError, DialSetting, Question, component, hold, rc};
use crate::patch::{Rig, Share};
use rayon::prelude::*;

/// Looks at how much there is to try for a question: the piece is played once at each tempo for that.
///
/// # Errors
/// As [`advise`](super::advise).
pub fn outlook(rig: &Rig, question: &Question<'_>) -> Result<Outlook, AdviseError> {
    let watch = Watch::nobody();
    let ground = Ground::new(rig, question.target, &question.aim, &watch);
    let parts: u128 = question.components.iter().map(|c| component::plays(&c.kind)).sum();
    let parts = parts + if question.rc { rc::plays() } else { 0 };
    let delays = question.tempos.par_iter().map(|&tempo| ground.outlook(&ground.base(tempo)?, parts));
    let delays = delays.collect::<Result<Vec<_>, AdviseError>>()?;
    let mut settings = question.settings.to_vec();
    if let (Some(steps), true) = (question.dial_steps, settings.is_empty()) {
        // Which step will be followed is not known yet: the first stands for it.
        settings.push(DialSetting::Share(Share::new(1, i128::from(steps.max(2)))));
    }
    let tempos = settings.par_iter().map(|&s| hold::outlook(&ground, s, question.between, question.tempos));
    let tempos: Vec<Outlook> = tempos.collect();
    Ok(delays.into_iter().chain(tempos).fold(Outlook::NOTHING, Outlook::and))
}
