//! A component at its worst: the end of its data sheet with which its box is heard furthest from the others.

use super::component;
use super::effort::Outlook;
use super::{AdviseError, Question, Watch};
use crate::hits::{Taken, taken};
use crate::judge::target::{Input, Target, pure};
use crate::judge::{Brief, brief};
use crate::patch::{Corner, Poll, Rig, StageKind};
use crate::rig::{listen, play, pulses};
use crate::time::{Span, Tempo};

/// Where the values of a component stand at its worst.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Extreme {
    /// All of them so that what comes through comes soonest.
    Soonest,
    /// All of them so that it comes latest.
    Latest,
    /// Its loop looks first at this time, and from one look to the next it is so long.
    Looks {
        /// The first look.
        phase: Span,
        /// From one look to the next.
        period: Span,
    },
    /// What is left to chance comes to this delay, for all that passes.
    Late(Span),
}

/// How far a box is from where it should be: whether it is off the one, silent or alone, and how far its widest gap goes. Of two,
/// the worse is the larger.
type Harm = (bool, Span);

/// At so many pulses of each tempo it is looked at how a loop could come to look.
const LOOKED_AT: usize = 16;

/// Where the values of a component stand at its worst, and the stage that it is then; `None` where nothing of it is worse than it usually is. Gaps between others than the path's box and
/// those that hang on it do not count.
///
/// # Errors
/// If the rig cannot be played, or it is cancelled.
pub(super) fn worst(
    rig: &Rig,
    question: &Question<'_>,
    kind: &StageKind,
    watch: &Watch<'_>,
) -> Result<Option<(Extreme, StageKind)>, AdviseError> {
    if !kind.is_drawn() {
        return Ok(None);
    }
    let bench = Bench::new(rig, question);
    let mut worst = (bench.harm(kind, watch)?, None);
    for (stands, kind) in extremes(rig, question, kind)? {
        let harm = bench.harm(&kind, watch)?;
        if harm > worst.0 {
            worst = (harm, Some((stands, kind)));
        }
    }
    Ok(worst.1)
}

/// How much there is to play to find all components at their worst.
///
/// # Errors
/// If the rig cannot be played.
pub(super) fn outlook(rig: &Rig, question: &Question<'_>) -> Result<Outlook, AdviseError> {
    let tempos = question.tempos.len();
    let looks = 1 + 3 * 2 * LOOKED_AT * tempos;
    let each = |kind: &StageKind| match kind {
        StageKind::Poll(_) if kind.is_chance() => looks,
        _ if kind.is_drawn() => 3 + 2 * Corner::ALL.len(),
        _ => 0,
    };
    let plays = question.components.iter().map(|c| each(&c.kind) as u128).sum::<u128>();
    let mut all = Outlook::NOTHING;
    for &tempo in question.tempos {
        all = all.and(Outlook::of(plays, pulses(rig, tempo)?));
    }
    Ok(all)
}

/// A rig whose path is tried, at all tempos.
struct Bench<'a> {
    rig: &'a Rig,
    target: Target,
    /// The box of the path and those that hang on it.
    moved: Vec<usize>,
    tempos: Vec<(Tempo, Vec<Taken>)>,
}

impl<'a> Bench<'a> {
    fn new(rig: &'a Rig, question: &Question<'_>) -> Self {
        let target = question.target;
        let moved = std::iter::once(target.sequencer).chain(target.followers(rig)).collect();
        let tempos = question.tempos.iter().map(|&tempo| (tempo, taken(rig, tempo))).collect();
        Self { rig, target, moved, tempos }
    }

    /// The harm at the tempo at which there is most of it.
    fn harm(&self, kind: &StageKind, watch: &Watch<'_>) -> Result<Harm, AdviseError> {
        let (rig, _) = self.target.with(self.rig, kind);
        let mut most = (false, Span::ZERO);
        for (tempo, takes) in &self.tempos {
            if watch.is_cancelled() {
                return Err(AdviseError::Cancelled);
            }
            watch.played(u64::try_from(pulses(&rig, *tempo)?).unwrap_or(u64::MAX));
            // What cannot be played is a loop that keeps itself going: nobody meets anybody.
            let Ok(performance) = play(&rig, *tempo) else { return Ok((true, Span(i64::MAX))) };
            most = most.max(self.of(&brief(&rig, &performance, takes)));
        }
        Ok(most)
    }

    fn of(&self, brief: &Brief) -> Harm {
        let own = |player: usize| self.moved.contains(&player);
        let gaps = || brief.worst.iter().filter(|(between, _)| between.iter().any(|&player| own(player)));
        let meets = |player: usize| gaps().any(|(between, worst)| between.contains(&player) && worst.is_some());
        let alone = brief.right.len() < 2;
        let well = |&player: &usize| brief.right[player] && brief.plays[player] && (alone || meets(player));
        let widest = gaps().filter_map(|(_, worst)| *worst).max();
        (!self.moved.iter().all(well), widest.unwrap_or(Span::ZERO))
    }
}

/// Where a component may stand at the worst, and what it is then.
fn extremes(rig: &Rig, question: &Question<'_>, kind: &StageKind) -> Result<Vec<(Extreme, StageKind)>, AdviseError> {
    let corners =
        [(Extreme::Soonest, Corner::Least), (Extreme::Latest, Corner::Most)].map(|(at, end)| (at, kind.at_corner(end)));
    match kind {
        StageKind::Poll(poll) if kind.is_chance() => looks(rig, question, poll),
        _ if kind.is_chance() => {
            let delays = question.tempos.iter();
            let delays = delays.filter_map(|&tempo| component::delay(rig, question.target, kind, tempo));
            let ends: Vec<Span> = delays.flat_map(|delay| [delay.least, delay.most]).collect();
            let ends = [ends.iter().min(), ends.iter().max()].into_iter().flatten();
            Ok(ends.map(|&end| (Extreme::Late(end), pure(end))).collect())
        }
        _ => Ok(corners.into()),
    }
}

/// How a loop of unknown phase or drift may look at worst: just before a pulse comes, so that it waits for the next look, or with it; each as
/// fast and as slow as the loop may be.
fn looks(rig: &Rig, question: &Question<'_>, poll: &Poll) -> Result<Vec<(Extreme, StageKind)>, AdviseError> {
    let target = question.target;
    let mut instants = Vec::new();
    for &tempo in question.tempos {
        let mut heard = listen(rig, &play(rig, tempo)?);
        let heard = heard.swap_remove(target.sequencer);
        let pulses = if target.input == Input::Clock { heard.clock } else { heard.reset };
        instants.extend(pulses.into_iter().take(LOOKED_AT).flat_map(|pulse| [pulse.rise.0, pulse.rise.0 - 1]));
    }
    let off = (poll.period.0 as f64 * poll.drift).floor() as i64;
    let mut all: Vec<(Extreme, StageKind)> = Vec::new();
    for period in [poll.period.0, poll.period.0 - off, poll.period.0 + off] {
        let phases = match poll.phase {
            Some(phase) => vec![phase.0],
            None => instants.iter().map(|at| at.rem_euclid(period)).collect(),
        };
        for phase in phases {
            let (phase, period) = (Span(phase), Span(period));
            let stands = Extreme::Looks { phase, period };
            if !all.iter().any(|(known, _)| *known == stands) {
                let kind = StageKind::Poll(Poll { phase: Some(phase), period, drift: 0.0, ..poll.clone() });
                all.push((stands, kind));
            }
        }
    }
    Ok(all)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::judge;
    use crate::patch::{Asked, Component, Patch};

    const PERIOD_PS: i64 = 4_000_000_000;

    /// Ox and Wren in sixteenths on one clock; Wren waits for the pulse after a reset, if it has one.
    fn patch(reset: bool, components: &str) -> Patch {
        let reset = if reset { "reset = \"home\"\nreset-mode = \"next-clock\"\n" } else { "" };
        let text = format!(
            "tempos = [60, 90]\nbars = 4\n[clock.sixteenths]\nrate = \"4 per beat\"\n[clock.home]\nrate = \"1 per 16 beats\"\n\
             [sequencer.ox]\nclock = \"sixteenths\"\nsteps = \"x...\"\nvoice = \"kick\"\n\
             [sequencer.wren]\nclock = \"sixteenths\"\n{reset}steps = \"x...\"\nvoice = \"kick\"\n{components}"
        );
        Patch::parse(&text, &Asked::default()).expect("a patch")
    }

    fn found(patch: &Patch, component: &Component) -> Option<(Extreme, StageKind)> {
        let target = Target::parse(&patch.original.rig, "sequencer.wren.clock").expect("a path");
        let question = Question { components: &patch.components, ..Question::plain(patch, target) };
        worst(&patch.original.rig, &question, &component.kind, &Watch::nobody()).expect("played")
    }

    /// The widest gap of a rig with a stage in Wren's clock, over its tempos, as `check` judges it.
    fn gap(patch: &Patch, kind: &StageKind) -> Span {
        let target = Target::parse(&patch.original.rig, "sequencer.wren.clock").expect("a path");
        let (rig, _) = target.with(&patch.original.rig, kind);
        let at = |&tempo: &Tempo| judge(&rig, &play(&rig, tempo).expect("played"), patch.max_gap).expect("judged");
        patch.tempos.iter().map(at).filter_map(|verdict| verdict.gaps[0].worst()).max().expect("a gap")
    }

    /// By hand: later than Ox by its delay, so that the longest is furthest; where Wren waits for a pulse after the reset, no delay at all is a
    /// pulse late, and that is worse than any.
    #[test]
    fn a_delay_is_worst_at_its_longest_unless_none_loses_the_one() {
        let part =
            "[component.part]\nkind = \"delay\"\ndelay = { min = \"0 us\", typ = \"250 us\", max = \"400 us\" }\n";
        let free = patch(false, part);
        let (stands, kind) = found(&free, &free.components[0]).expect("a worst");
        assert_eq!((stands, gap(&free, &kind)), (Extreme::Latest, Span(400_000_000)));
        let waits = patch(true, part);
        let (stands, kind) = found(&waits, &waits.components[0]).expect("a worst");
        // A sixteenth at 60.
        assert_eq!((stands, gap(&waits, &kind)), (Extreme::Soonest, Span(250_000_000_000)));
    }

    #[test]
    fn what_has_no_tolerance_is_never_worse() {
        let plain = patch(true, "[component.part]\nkind = \"delay\"\ndelay = \"40 us\"\n");
        assert_eq!(found(&plain, &plain.components[0]), None);
    }

    /// An edge is late by RC·ln(V/(V − threshold)), the most with the largest of all three (closed form): 10.5 kΩ and 24.2 nF up to
    /// 3.5 of 5 V. To the picosecond of its rounding.
    #[test]
    fn an_rc_is_worst_with_all_at_their_largest() {
        let rc = patch(
            false,
            "[component.part]\nkind = \"rc\"\nr = { value = \"10 kohm\", tolerance = \"5 %\" }\nc = { value = \"22 nF\", tolerance = \"10 %\" }\n\
             threshold-rise = { min = \"1.5 V\", typ = \"2.5 V\", max = \"3.5 V\" }\nthreshold-fall = { min = \"1.5 V\", typ = \"2.5 V\", max = \"3.5 V\" }\n",
        );
        let (stands, kind) = found(&rc, &rc.components[0]).expect("a worst");
        let late = 10_500.0 * 24.2e-9 * (5.0_f64 / 1.5).ln() * 1e12;
        assert_eq!(stands, Extreme::Latest);
        // What is left of the pulse before adds less than exp(-240 ms / 0.25 ms).
        assert!((gap(&rc, &kind).0 as f64 - late).abs() <= 1.0, "{:?} against {late}", gap(&rc, &kind));
    }

    /// By hand: a pulse that comes just after a look waits for the next, a period less a picosecond; at 60 and at 90, sixteenths are
    /// 250 and 166.667 ms apart. With its drift the loop may be slower by 30 millionths, 120 ns in 4 ms.
    #[test]
    fn a_loop_is_worst_where_it_has_just_looked() {
        let still = patch(false, "[component.part]\nkind = \"poll\"\nperiod = \"4 ms\"\ndrift = \"0 ppm\"\n");
        let (_, kind) = found(&still, &still.components[0]).expect("a worst");
        assert_eq!(gap(&still, &kind), Span(PERIOD_PS - 1));
        let drifts = patch(false, "[component.part]\nkind = \"poll\"\nperiod = \"4 ms\"\n");
        let (_, kind) = found(&drifts, &drifts.components[0]).expect("a worst");
        let (least, most) = (Span(PERIOD_PS - 1), Span(PERIOD_PS + 120_000 - 1));
        assert!((least..=most).contains(&gap(&drifts, &kind)), "{:?}", gap(&drifts, &kind));
    }
}
