use super::AdviseError;
use super::base::Base;
use super::ground::{AtTempo, Ground};
use super::meetings::numbered;
use super::test_bench::Care;
use super::window::Window;
use crate::judge::sure;
use crate::judge::target::{Input, Target, pure};
use crate::patch::{Component, Corner, EdgeKind, Rig, Scatter, Sequencer, StageKind};
use crate::rig::{Pulse, Reach, Run, latest_look, listen, play};
use crate::time::{Span, Tempo};
use rayon::prelude::*;
use std::cmp::Reverse;

/// How a component does over all tempos, the best first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fit {
    /// At every tempo, over all tolerances.
    Always,
    /// At some tempos.
    Sometimes,
    /// At no tempo for sure, and at some by chance.
    AtRisk,
    /// At none.
    Never,
}

/// How it does at one tempo.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Level {
    /// Over all tolerances, with the skew kept.
    Fits,
    /// By its usual value, or by luck.
    AtRisk,
    /// Not at all.
    Fails,
}

/// A component in the path.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// Its name.
    pub name: String,
    /// What it costs, in the file's own words.
    pub price: Option<String>,
    /// What the file says of it.
    pub note: Option<String>,
    /// How it does over all tempos.
    pub fit: Fit,
    /// Its delay over all tolerances and tempos; `None` if it lets no pulse through.
    pub delay: Option<Window>,
    /// Its usual delay at the first tempo.
    pub usual: Option<Span>,
    /// How much sooner and how much later it could come at every tempo and still be sure; negative where it is not. `None`
    /// where there is no window at some tempo.
    pub room: Option<Room>,
    /// Each tempo, in the order asked.
    pub at: Vec<PartAt>,
}

/// The margin to both ends of a window.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Room {
    /// To the least delay.
    pub sooner: Span,
    /// To the largest.
    pub later: Span,
}

/// A component at one tempo.
#[derive(Clone, Debug, PartialEq)]
pub struct PartAt {
    /// The tempo.
    pub tempo: Tempo,
    /// How it does.
    pub level: Level,
    /// Its delay over all tolerances.
    pub delay: Option<Window>,
    /// The margins to the window that it lies in or is nearest to.
    pub room: Option<Room>,
    /// For one that is left to chance: in how many of so many drawn runs all is well.
    pub chance: Option<(u64, u64)>,
}

/// How often one is drawn that is left to chance.
const DRAWS: u64 = 100;

/// The components in the path, the best first.
///
/// # Errors
/// If the rig cannot be played.
pub(super) fn parts(
    ground: &Ground<'_>,
    components: &[Component],
    bases: &[Base],
    tempos: &[AtTempo],
) -> Result<Vec<Part>, AdviseError> {
    let parts = components.par_iter().map(|c| part(ground, c, bases, tempos));
    let mut parts: Vec<Part> = parts.collect::<Result<_, _>>()?;
    // Those alike by how many tempos they fit, and then by the room that is left on the narrower side.
    let fits = |part: &Part| part.at.iter().filter(|at| at.level == Level::Fits).count();
    let room = |part: &Part| part.room.map_or(i64::MIN, |r| r.sooner.0.min(r.later.0));
    parts.sort_by_key(|part| (part.fit, Reverse(fits(part)), Reverse(room(part))));
    Ok(parts)
}

fn part(ground: &Ground<'_>, component: &Component, bases: &[Base], tempos: &[AtTempo]) -> Result<Part, AdviseError> {
    let at = bases.iter().zip(tempos).map(|(base, t)| part_at(ground, base, &component.kind, t));
    let at: Vec<PartAt> = at.collect::<Result<_, _>>()?;
    let count = |level: Level| at.iter().filter(|a| a.level == level).count();
    let fit = match (count(Level::Fits), count(Level::AtRisk)) {
        (fits, _) if fits == at.len() => Fit::Always,
        (0, 0) => Fit::Never,
        (0, _) => Fit::AtRisk,
        _ => Fit::Sometimes,
    };
    let delays = || at.iter().filter_map(|a| a.delay);
    let (least, most) = (delays().map(|d| d.least).min(), delays().map(|d| d.most).max());
    let rooms: Option<Vec<Room>> = at.iter().map(|a| a.room).collect();
    let room = rooms.filter(|all| !all.is_empty()).map(|all| Room {
        sooner: all.iter().map(|r| r.sooner).min().unwrap_or_default(),
        later: all.iter().map(|r| r.later).min().unwrap_or_default(),
    });
    let usual = tempos.first().and_then(|t| {
        let usual = component.kind.at_corner(Corner::Usual);
        self::delay(ground.rig, ground.target, &usual, t.tempo)
    });
    // What is left to chance has no usual delay: the middle of it.
    let usual = usual.map(|w| Span(w.least.0 + (w.most.0 - w.least.0) / 2));
    Ok(Part {
        name: component.name.clone(),
        price: component.price.clone(),
        note: component.note.clone(),
        fit,
        delay: least.zip(most).map(|(least, most)| Window { least, most }),
        usual,
        room,
        at,
    })
}

/// A stage in the path at one tempo.
///
/// # Errors
/// If the rig cannot be played.
pub(super) fn part_at(ground: &Ground<'_>, base: &Base, kind: &StageKind, at: &AtTempo) -> Result<PartAt, AdviseError> {
    if ground.watch.is_cancelled() {
        return Err(AdviseError::Cancelled);
    }
    let mut stand = ground.stand(base)?;
    let fits: Vec<bool> =
        Corner::ALL.iter().map(|&end| stand.with(kind.at_corner(end), Run::Typical).fits(Care::Typical)).collect();
    let chance = kind.is_chance().then(|| {
        let runs = (1..=DRAWS).map(|number| Run::Drawn { seed: 1, number });
        (runs.filter(|run| stand.with(kind.clone(), *run).fits(Care::Typical)).count() as u64, DRAWS)
    });
    let delay = delay(ground.rig, ground.target, kind, at.tempo);
    let room = delay.and_then(|d| room(d, &at.sure).or_else(|| room(d, &at.passes)));
    let within = delay.is_some_and(|d| at.sure.iter().any(|w| w.holds(d.least) && w.holds(d.most)));
    let drawn = chance.is_none_or(|(well, of)| well == of);
    let none = fits.iter().all(|f| !f) && chance.is_none_or(|(well, _)| well == 0);
    let level = match (fits.iter().all(|f| *f) && drawn, none) {
        (true, _) if within && decides(ground, kind, at.tempo) => Level::Fits,
        (_, true) => Level::Fails,
        _ => Level::AtRisk,
    };
    Ok(PartAt { tempo: at.tempo, level, delay, room, chance })
}

/// How often the box or the rig is played for a stage at one tempo: with each end of its data sheet, for its delay and for how
/// its resets are decided, too; and once a draw.
pub(super) fn plays(kind: &StageKind) -> u128 {
    let each = 4 * Corner::ALL.len() as u128 + 1;
    each + if kind.is_chance() { u128::from(DRAWS) } else { 0 }
}

/// The margins to the window that a delay lies in, or to the nearest.
fn room(delay: Window, windows: &[Window]) -> Option<Room> {
    let of = |w: &Window| Room { sooner: Span(delay.least.0 - w.least.0), later: Span(w.most.0 - delay.most.0) };
    windows.iter().map(of).max_by_key(|room| room.sooner.0.min(room.later.0))
}

/// Whether every reset is decided with the skew to spare though the stage changes the width of pulses, which the windows
/// of plain delays say nothing of.
fn decides(ground: &Ground<'_>, kind: &StageKind, tempo: Tempo) -> bool {
    if matches!(kind, StageKind::Delay(d) if d.rise == d.fall && d.one_shot.is_none()) {
        return true;
    }
    let (target, rig) = ground.target.alone(ground.rig).unwrap_or_else(|| (ground.target, ground.rig.clone()));
    Corner::ALL.iter().all(|&end| {
        let (rig, _) = target.with(&rig, &kind.at_corner(end));
        let Ok(performance) = play(&rig, tempo) else { return false };
        // Where nothing can be said (an input that is polled), the windows of plain delays are all there is.
        let all = sure(&rig, &performance, ground.aim.skew);
        all.get(target.sequencer).copied().flatten().is_none_or(|s| s.at_risk == 0)
    })
}

/// How late a stage at the end of the path is, over all tolerances: from what comes to the input with it and without.
pub(super) fn delay(rig: &Rig, target: Target, kind: &StageKind, tempo: Tempo) -> Option<Window> {
    // Which edges it reads in the course of the piece.
    let reads = |s: &Sequencer| if target.input == Input::Clock { s.clock_edge } else { s.reset_edge };
    let edges: Vec<EdgeKind> = [EdgeKind::Rise, EdgeKind::Fall]
        .into_iter()
        .filter(|kind| rig.ever(target.sequencer).any(|s| reads(s) == *kind))
        .collect();
    match kind {
        StageKind::Delay(d) if d.one_shot.is_none() && d.swallows == Span::ZERO => {
            let sheets = || edges.iter().map(|edge| if *edge == EdgeKind::Rise { d.rise } else { d.fall });
            let (least, most) = (sheets().map(|s| s.min).min()?, sheets().map(|s| s.max).max()?);
            return Some(Window { least, most });
        }
        // Wherever its looks fall: the first of so many comes at once at best.
        StageKind::Poll(poll) if kind.is_chance() => {
            let least = Span(poll.period.0 * i64::from(poll.samples.max(1) - 1));
            return Some(Window { least, most: latest_look(poll) });
        }
        StageKind::Jitter(jitter) => {
            let each = jitter.each.map_or(0, |each| match each {
                Scatter::Gaussian(sd) => (sd.0 as f64 * 2.0 * crate::rig::CUT).ceil() as i64,
                Scatter::Uniform(range) => range.0,
            });
            let wander = jitter.wander.map_or(0, |w| 2 * w.most.0);
            return Some(Window { least: Span::ZERO, most: Span(each + wander) });
        }
        _ => {}
    }
    let (target, rig) = target.alone(rig).unwrap_or_else(|| (target, rig.clone()));
    let heard = |kind: StageKind| {
        let (rig, _) = target.with(&rig, &kind);
        let performance = play(&rig, tempo).ok()?;
        let all = listen(&rig, &performance).into_iter().nth(target.sequencer)?;
        Some(if target.input == Input::Clock { all.clock } else { all.reset })
    };
    let of = |p: &Pulse, edge: EdgeKind| if edge == EdgeKind::Rise { p.rise.0 } else { p.fall.0 };
    let without = heard(pure(Span::ZERO))?;
    let without = numbered(&without);
    let mut late: Vec<i64> = Vec::new();
    for end in Corner::ALL {
        let with = heard(kind.at_corner(end))?;
        // The number of a pulse behind a multiplier counts in smaller parts; what cannot be paired tells nothing.
        for (number, p) in numbered(&with) {
            let Some(alone) = without.get(&number) else { continue };
            late.extend(edges.iter().map(|&edge| of(p, edge) - of(alone, edge)));
        }
    }
    let reach = if kind.is_chance() { Reach::of_stage(&rig, kind).0?.0 } else { 0 };
    let (least, most) = (late.iter().min()?, late.iter().max()?);
    Some(Window { least: Span((least - reach).max(0)), most: Span(most + reach) })
}
