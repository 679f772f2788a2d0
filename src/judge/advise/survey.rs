//! Every input of a rig at once: at which of them a delay helps.

use super::ground::Ground;
use super::{AdviseError, AtTempo, Outlook, Question, Watch, Window, in_all};
use crate::judge::runs::left_to_chance;
use crate::judge::{Reason, Target, judge};
use crate::patch::Rig;
use crate::rig::{play, pulses};
use crate::time::{Span, Tempo};
use rayon::prelude::*;

/// How often the piece is played at a tempo for an input besides the delays that are tried there: for what lies ahead, for the
/// windows, and for why they end. Counted, rounded up.
const BESIDES: u128 = 8;
/// The same where something is drawn: the ends of windows are looked at in runs too.
const BESIDES_DRAWN: u128 = 50;

/// What a delay would do at each input of a rig.
#[derive(Clone, Debug, PartialEq)]
pub struct Survey {
    /// What stands against the rig as it is, tempo by tempo.
    pub now: Vec<(Tempo, Vec<Reason>)>,
    /// Every input, in the order of the patch.
    pub inputs: Vec<Surveyed>,
}

/// What a delay would do at one input.
#[derive(Clone, Debug, PartialEq)]
pub struct Surveyed {
    /// The input.
    pub target: Target,
    /// What was found there; `None` where it would have been too much to try.
    pub found: Option<Found>,
}

/// The delays that will do at one input.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// Each tempo, in the order asked.
    pub tempos: Vec<AtTempo>,
    /// The delays that pass at every tempo in the typical run.
    pub passes: Vec<Window>,
    /// The delays that are sure at every tempo.
    pub sure: Vec<Window>,
}

/// How an input stands as it is, with no delay more.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// It passes at every tempo, over all tolerances.
    Sure,
    /// It passes at every tempo in the typical run only.
    AtRisk,
    /// It fails at some tempo.
    Fails,
}

/// The one delay that does at the most tempos.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Nearest {
    /// From the shortest that does at so many up to the longest in one stretch with it.
    pub window: Window,
    /// Those tempos.
    pub tempos: Vec<Tempo>,
    /// Whether it is sure there; else it passes in the typical run only.
    pub sure: bool,
}

impl Found {
    /// How the input stands as it is.
    #[must_use]
    pub fn now(&self) -> Standing {
        let none = |windows: &[Window]| windows.iter().any(|w| w.holds(Span::ZERO));
        match (none(&self.sure), none(&self.passes)) {
            (true, _) => Standing::Sure,
            (_, true) => Standing::AtRisk,
            _ => Standing::Fails,
        }
    }

    /// The delay that does at the most tempos, the shortest of those alike: one that is sure somewhere, or else one that passes
    /// somewhere; `None` where none does.
    #[must_use]
    pub fn nearest(&self) -> Option<Nearest> {
        let best = |sure: bool| {
            let windows = |at: &AtTempo| if sure { at.sure.clone() } else { at.passes.clone() };
            let does = |delay: Span| {
                let at = self.tempos.iter().filter(|&at| windows(at).iter().any(|w| w.holds(delay)));
                at.map(|at| at.tempo).collect::<Vec<_>>()
            };
            // Of delays that do at the same tempos the shortest is where a window begins.
            let begins = self.tempos.iter().flat_map(|at| windows(at).into_iter().map(|w| w.least));
            let least = begins.max_by_key(|&delay| (does(delay).len(), std::cmp::Reverse(delay)))?;
            let around = self.tempos.iter().flat_map(windows).filter(|w| w.holds(least));
            let most = around.map(|w| w.most).min()?;
            Some(Nearest { window: Window { least, most }, tempos: does(least), sure })
        };
        best(true).or_else(|| best(false))
    }
}

/// An input that is to be looked at, and how much there is to try for it; `None` for one that is passed over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Planned {
    /// The input.
    pub target: Target,
    /// How much there is to try.
    pub outlook: Option<Outlook>,
}

/// Says which inputs can be looked at without playing more than `most` pulses in all: as many as that allows, in the order of
/// the patch. Of the question, target, components, settings, dial and parts to solder do not count.
///
/// # Errors
/// As [`advise`](super::advise).
pub fn plan(rig: &Rig, question: &Question<'_>, most: u128) -> Result<Vec<Planned>, AdviseError> {
    let mut piece: u128 = 0;
    for &tempo in question.tempos {
        piece = piece.saturating_add(pulses(rig, tempo)?);
    }
    let besides = piece.saturating_mul(if left_to_chance(rig).is_empty() { BESIDES } else { BESIDES_DRAWN });
    let watch = Watch::nobody();
    // What stands against the rig as it is, is played first.
    let mut spent = piece;
    let mut planned = Vec::new();
    for target in Target::all(rig) {
        let left = most.saturating_sub(spent);
        let mut outlook = None;
        if besides <= left {
            let ground = Ground::new(rig, target, &question.aim, &watch);
            let ahead = question.tempos.par_iter().map(|&tempo| ground.outlook(&ground.base(tempo)?, 0));
            let ahead = ahead.collect::<Result<Vec<_>, _>>()?.into_iter().fold(Outlook::NOTHING, Outlook::and);
            spent = spent.saturating_add(besides);
            if besides.saturating_add(ahead.pulses) <= left {
                spent = spent.saturating_add(ahead.pulses);
                outlook = Some(ahead);
            }
        }
        planned.push(Planned { target, outlook });
    }
    Ok(planned)
}

/// Works out what a delay would do at each input that was planned to be looked at.
///
/// # Errors
/// As [`advise_watched`](super::advise_watched).
pub fn survey(
    rig: &Rig,
    question: &Question<'_>,
    planned: &[Planned],
    watch: &Watch<'_>,
) -> Result<Survey, AdviseError> {
    let now = |&tempo: &Tempo| {
        let performance = play(rig, tempo)?;
        // An instant that does not fit never comes out of a checked patch.
        let reasons = judge(rig, &performance, question.aim.max_gap).map(|verdict| verdict.reasons);
        Ok((tempo, reasons.unwrap_or_default()))
    };
    let now = question.tempos.par_iter().map(now).collect::<Result<Vec<_>, AdviseError>>()?;
    let mut inputs = Vec::new();
    for &Planned { target, outlook } in planned {
        let found = outlook.map(|_| found(rig, target, question, watch)).transpose()?;
        if watch.is_cancelled() {
            return Err(AdviseError::Cancelled);
        }
        inputs.push(Surveyed { target, found });
    }
    Ok(Survey { now, inputs })
}

fn found(rig: &Rig, target: Target, question: &Question<'_>, watch: &Watch<'_>) -> Result<Found, AdviseError> {
    let ground = Ground::new(rig, target, &question.aim, watch);
    let tempos = question.tempos.par_iter().map(|&tempo| ground.at(&ground.base(tempo)?));
    let tempos = tempos.collect::<Result<Vec<_>, _>>()?;
    let (passes, sure) = (in_all(tempos.iter().map(|t| &t.passes)), in_all(tempos.iter().map(|t| &t.sure)));
    Ok(Found { tempos, passes, sure })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::advise::advise;
    use crate::patch::{Asked, Patch};

    fn patch(name: &str) -> Patch {
        let file = format!("{}/patches/{name}.toml", env!("CARGO_MANIFEST_DIR"));
        Patch::parse(&std::fs::read_to_string(file).expect("an example"), &Asked::default()).expect("a patch")
    }

    /// What is said of an input is what is said of it when it alone is asked for.
    #[test]
    fn every_input_is_told_as_it_is_told_alone() {
        for name in ["late-bell", "thin-ice", "moth-wakes-on-seven"] {
            let patch = patch(name);
            let rig = &patch.original.rig;
            let all = Target::all(rig);
            let question = |target| Question::plain(&patch, target);
            let planned = plan(rig, &question(all[0]), u128::MAX).expect("a plan");
            let survey = survey(rig, &question(all[0]), &planned, &Watch::nobody()).expect("a survey");
            assert_eq!(survey.inputs.iter().map(|i| i.target).collect::<Vec<_>>(), all);
            for input in survey.inputs {
                let alone = advise(rig, &question(input.target)).expect("advice");
                let found = input.found.expect("looked at");
                assert_eq!(
                    (found.tempos, found.passes, found.sure),
                    (alone.tempos, alone.passes, alone.sure),
                    "{name}"
                );
            }
        }
    }

    /// However little is allowed, no more than that is planned, and what is left out is told.
    #[test]
    fn no_more_is_planned_than_is_allowed() {
        let patch = patch("late-bell");
        let rig = &patch.original.rig;
        let question = Question::plain(&patch, Target::all(rig)[0]);
        let piece: u128 = patch.tempos.iter().map(|&t| pulses(rig, t).expect("pulses")).sum();
        let cost = |planned: &Planned| planned.outlook.map_or(0, |o| o.pulses + BESIDES * piece);
        let whole = plan(rig, &question, u128::MAX).expect("a plan");
        let most: u128 = piece + whole.iter().map(cost).sum::<u128>();
        assert!(whole.iter().all(|p| p.outlook.is_some()) && whole.len() == 4);
        let mut counts = Vec::new();
        for allowed in [0, most / 8, most / 4, most / 2, most - 1, most] {
            let planned = plan(rig, &question, allowed).expect("a plan");
            assert_eq!(planned.len(), whole.len());
            assert!(planned.iter().map(cost).sum::<u128>() + piece <= allowed.max(piece), "{allowed}");
            counts.push(planned.iter().filter(|p| p.outlook.is_some()).count());
        }
        assert!(counts[0] == 0 && counts[4] == 3 && counts[5] == 4 && counts.is_sorted(), "{counts:?}");
    }

    #[test]
    fn the_nearest_delay_does_at_the_most_tempos_and_is_the_shortest_of_those() {
        let at = |tempo: u32, sure: &[(i64, i64)], passes: &[(i64, i64)]| {
            let windows = |list: &[(i64, i64)]| {
                list.iter().map(|&(least, most)| Window { least: Span(least), most: Span(most) }).collect()
            };
            AtTempo {
                tempo: Tempo::whole(tempo.into()),
                period: None,
                searched: Span(100),
                passes: windows(passes),
                sure: windows(sure),
                elsewhere: Vec::new(),
                below: Vec::new(),
                above: Vec::new(),
                kept: Some(Span::ZERO),
                looks: None,
                exact: true,
            }
        };
        let found = |tempos: Vec<AtTempo>| Found {
            passes: in_all(tempos.iter().map(|t| &t.passes)),
            sure: in_all(tempos.iter().map(|t| &t.sure)),
            tempos,
        };
        let of = |found: &Found| found.nearest().map(|n| (n.window.least.0, n.window.most.0, n.tempos.len(), n.sure));
        // By hand: 10 to 20 and 15 to 30 share 15 to 20; the third stands apart.
        let three =
            found(vec![at(60, &[(10, 20)], &[(9, 21)]), at(90, &[(15, 30)], &[(1, 40)]), at(120, &[(50, 60)], &[])]);
        assert_eq!((of(&three), three.now()), (Some((15, 20, 2, true)), Standing::Fails));
        let risky = found(vec![at(60, &[], &[(0, 21)]), at(90, &[], &[(0, 4), (7, 9)])]);
        assert_eq!((of(&risky), risky.now()), (Some((0, 4, 2, false)), Standing::AtRisk));
        let well = found(vec![at(60, &[(0, 5)], &[(0, 6)])]);
        assert_eq!((of(&well), well.now()), (Some((0, 5, 1, true)), Standing::Sure));
        assert_eq!(of(&found(vec![at(60, &[], &[])])), None);
    }
}
