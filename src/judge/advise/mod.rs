//! Which delay on one path puts everybody on the one at every tempo, and which component gives it.
//!
//! The delay is a stage put at the end of the path, and the simulator is the judge: no mode has a formula here. What is
//! worked out is only where to ask it. As a function of the delay, who plays what can change nowhere but where edges meet at
//! the inputs of one box, or are one of its waiting times apart; in between the worst gap is convex. Instants are whole
//! picoseconds, so that windows have exact ends.

mod alternative;
mod aside;
mod base;
mod basket;
mod blame;
mod card;
mod component;
mod effort;
mod findings;
mod ground;
mod hold;
mod meetings;
mod outcome;
mod outlook;
mod rc;
mod series;
mod songs;
mod survey;
mod sweep;
mod test_bench;
mod tried;
mod turns;
mod watch;
mod window;
mod worst;

pub(in crate::judge) use ground::{is_steady, looks_of};
pub(in crate::judge) use test_bench::allowances;

pub use alternative::{Alternative, alternative};
pub use aside::{Aside, apart, aside, blamed};
pub use basket::{Basket, Lot, basket, basket_outlook};
pub use card::{CARD_STEPS, Card, CardRow, Pick, Song, card, tempos_of};
pub use component::{Fit, Level, Part, PartAt, Room};
pub use effort::Outlook;
pub use findings::{AtTempo, Elsewhere};
pub use hold::{DialSetting, Hold, usual_range};
pub use outlook::outlook;
pub use rc::RcPair;
pub use series::{E12, E24, values};
pub use songs::{SongsError, songs};
pub use survey::{Found, Nearest, Planned, Standing, Survey, Surveyed, plan, survey};
pub use tried::{fitted, tried};
pub use turns::{Cure, Turn, Turns, turns};
pub use watch::Watch;
pub use window::{ShareWindow, Window, in_all, shares_in_all};
pub use worst::Extreme;

use crate::judge::Target;
use crate::patch::{Component, Patch, Rig};
use crate::rig::RigError;
use crate::time::{ExactPs, Span, Tempo, round_half_up};
use ground::Ground;
use num_rational::Ratio;
use rayon::prelude::*;

/// The reasons for which no advice can be given.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum AdviseError {
    /// The rig cannot be played.
    #[error("{0}")]
    Rig(#[from] RigError),
    /// Somebody wanted it to end.
    #[error("advice was stopped before it was done")]
    Cancelled,
}

/// The limits within which a setting counts as good enough.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Aim {
    /// The largest gap that is still acceptable.
    pub max_gap: Span,
    /// A margin under this is at risk.
    pub skew: Span,
}

/// A question about a delay on one path: what counts as good enough, at which tempos, with which parts.
#[derive(Clone, Debug, PartialEq)]
pub struct Question<'a> {
    /// Where the delay goes.
    pub target: Target,
    /// What is good enough.
    pub aim: Aim,
    /// The tempos at which it must do.
    pub tempos: &'a [Tempo],
    /// The components that are tried one by one.
    pub components: &'a [Component],
    /// How many steps a dial has for one period.
    pub dial_steps: Option<u32>,
    /// Settings whose range of tempos is wanted.
    pub settings: &'a [DialSetting],
    /// The tempos between which a setting is followed.
    pub between: (Tempo, Tempo),
    /// Whether a resistor and a capacitor are to be proposed.
    pub rc: bool,
}

impl<'a> Question<'a> {
    /// What a delay does at an input of a patch, by its own tempos, max gap and skew; nothing besides is tried.
    #[must_use]
    pub fn plain(patch: &'a Patch, target: Target) -> Self {
        Self {
            target,
            aim: Aim { max_gap: patch.max_gap, skew: patch.skew },
            tempos: &patch.tempos,
            components: &[],
            dial_steps: None,
            settings: &[],
            between: usual_range(&patch.tempos),
            rc: false,
        }
    }
}

/// The answer to a [`Question`]: which delays do, tempo by tempo and at all of them, and what gives them.
#[derive(Clone, Debug, PartialEq)]
pub struct Advice {
    /// Where the delay goes.
    pub target: Target,
    /// What is good enough.
    pub aim: Aim,
    /// Each tempo, in the order asked.
    pub tempos: Vec<AtTempo>,
    /// The delays that pass at every tempo in the typical run.
    pub passes: Vec<Window>,
    /// The delays that are sure at every tempo.
    pub sure: Vec<Window>,
    /// The shares of the period that are sure at every tempo; empty where there is no period.
    pub shares: Vec<ShareWindow>,
    /// For a dial, its steps, and those of its settings that are sure at every tempo.
    pub dial: Option<(u32, Vec<u32>)>,
    /// Over which tempos settings hold.
    pub holds: Vec<Hold>,
    /// The components, the best first.
    pub parts: Vec<Part>,
    /// What could be soldered.
    pub rc: Option<RcPair>,
}

/// The delay that a dial of so many steps a period gives at a step: rounded once, as an output rounds.
pub(crate) fn dialled(period: ExactPs, step: u32, steps: u32) -> Option<Span> {
    share_of(period, Ratio::new(i128::from(step), i128::from(steps.max(1))))
}

/// A share of a period as a delay.
pub(crate) fn share_of(period: ExactPs, share: crate::patch::Share) -> Option<Span> {
    i64::try_from(round_half_up(period * share)).ok().map(Span)
}

/// Works out what is asked of a rig.
///
/// # Errors
/// If the rig cannot be played at one of the tempos; a checked patch mostly can.
pub fn advise(rig: &Rig, question: &Question<'_>) -> Result<Advice, AdviseError> {
    advise_watched(rig, question, &Watch::nobody())
}

/// Works out what is asked of a rig while somebody watches: [`outlook`] says how much there is to do.
///
/// # Errors
/// As [`advise`], and [`AdviseError::Cancelled`].
pub fn advise_watched(rig: &Rig, question: &Question<'_>, watch: &Watch<'_>) -> Result<Advice, AdviseError> {
    let ground = Ground::new(rig, question.target, &question.aim, watch);
    let bases = question.tempos.par_iter().map(|&t| ground.base(t)).collect::<Result<Vec<_>, _>>()?;
    let tempos = bases.par_iter().map(|base| ground.at(base)).collect::<Result<Vec<_>, _>>()?;
    let passes = in_all(tempos.iter().map(|t| &t.passes));
    let sure = in_all(tempos.iter().map(|t| &t.sure));
    let shares = shares_in_all(&tempos.iter().map(AtTempo::shares).collect::<Vec<_>>());
    let dial: Option<(u32, Vec<u32>)> = question.dial_steps.map(|steps| {
        let fits = |step: &u32| tempos.iter().all(|t| t.settings(steps).0.contains(step));
        let first = tempos.first().map(|t| t.settings(steps).0).unwrap_or_default();
        (steps, first.into_iter().filter(fits).collect())
    });
    let mut settings = question.settings.to_vec();
    if let (Some((steps, all)), true) = (&dial, settings.is_empty()) {
        settings.extend(worth_following(&tempos, *steps, all));
    }
    let holds = settings.par_iter().map(|&s| hold::hold(&ground, s, question.between, question.tempos)).collect();
    let parts = component::parts(&ground, question.components, &bases, &tempos)?;
    let rc = if question.rc { rc::propose(&ground, &bases, &tempos, &sure)? } else { None };
    // What was found since then is nothing.
    if watch.is_cancelled() {
        return Err(AdviseError::Cancelled);
    }
    Ok(Advice { target: question.target, aim: question.aim, tempos, passes, sure, shares, dial, holds, parts, rc })
}

/// Over which tempos a rig passes as it is, exactly, in the typical run; nothing where more than `most` pulses would have to be played
/// for that.
#[must_use]
pub fn holds(rig: &Rig, aim: &Aim, between: (Tempo, Tempo), tempos: &[Tempo], most: u128) -> Option<Hold> {
    let target = Target::all(rig).into_iter().next()?;
    let watch = Watch::nobody();
    let ground = Ground::new(rig, target, aim, &watch);
    let as_it_is = DialSetting::Time(Span::ZERO);
    let few = hold::outlook(&ground, as_it_is, between, tempos).pulses <= most;
    few.then(|| hold::hold(&ground, as_it_is, between, tempos))
}

/// The setting of a dial that fits at the most tempos, the smallest of those alike.
fn worth_following(tempos: &[AtTempo], steps: u32, all: &[u32]) -> Option<DialSetting> {
    let of: Vec<Vec<u32>> = tempos.iter().map(|t| t.settings(steps).0).collect();
    let known = of.iter().flatten().copied();
    let count = |step: &u32| of.iter().filter(|fits| fits.contains(step)).count();
    let best = all.first().copied().or_else(|| known.min_by_key(|step| (std::cmp::Reverse(count(step)), *step)));
    best.map(|step| DialSetting::Share(Ratio::new(i128::from(step), i128::from(steps.max(1)))))
}
