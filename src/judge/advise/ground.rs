use super::base::Base;
use super::effort::Outlook;
pub(super) use super::findings::{AtTempo, Elsewhere};
use super::meetings::{Met, Moments};
use super::outcome::{Care, Outcome};
use super::sweep::{End, Stretch, Sweep};
use super::test_bench::{TestBench, allowances};
use super::watch::Watch;
use super::window::Window;
use super::{AdviseError, Aim};
use crate::judge::target::{Input, Target, pure};
use crate::judge::{runs::left_to_chance, sure};
use crate::patch::{ResetMode, Rig, Sequencer, StageKind, Timing};
use crate::rig::{InputPulses, Reach, Run, Sides, latest_look, listen};
use crate::time::{ExactPs, Span, Tempo};
use rayon::prelude::*;

/// All that is known of a path whatever the tempo.
pub(super) struct Ground<'a> {
    pub(super) rig: &'a Rig,
    pub(super) target: Target,
    pub(super) aim: &'a Aim,
    /// The rig with nothing between this box and its inputs.
    open: Rig,
    looks: Option<Span>,
    /// How far an end is kept away from a change of what is played: the least delay, and the most.
    kept: Option<[Span; 2]>,
    allowances: Vec<Option<Span>>,
    followers: Vec<usize>,
    /// Something behind the box does not move with it.
    grid: bool,
    pub(super) watch: &'a Watch<'a>,
}

/// What is to be tried at one tempo.
struct Places {
    /// The delays themselves, in picoseconds.
    beside: Vec<i64>,
    /// Whether all are there at which edges meet.
    all: bool,
    /// How many there would be.
    tries: u128,
    searched: Span,
    mine: InputPulses,
    moments: Moments,
}

/// So many delays are tried by one thread before another may take some of them over.
const AT_ONCE: usize = 16;
/// How many delays are tried where something queues or looks behind the box.
const GRID: i64 = 128;
/// How many drawn runs a window is tried with at its ends.
const DRAWS: u64 = 16;
/// The furthest that is looked when a box has no period.
const FURTHEST: i64 = 2 * crate::time::PS_PER_SECOND;

impl<'a> Ground<'a> {
    pub(super) fn new(rig: &'a Rig, target: Target, aim: &'a Aim, watch: &'a Watch<'a>) -> Self {
        let rigs = rig.in_turn();
        let mut open = rig.clone();
        open.sequencers[target.sequencer].poll = None;
        open.course.eras.iter_mut().for_each(|era| era.sequencers[target.sequencer].poll = None);
        let followers = target.followers(rig);
        let own = looks_of(&rigs, target.sequencer);
        // Those that hang on the box may be moved either way by what moves it.
        let widest = |moved: [i64; 2]| [moved[0].max(moved[1]); 2];
        let moved = followers
            .iter()
            .map(|&s| moved(rig, &rigs, Target { sequencer: s, input: Input::Clock }).map(widest))
            .chain([moved(rig, &rigs, target)])
            .reduce(|a, b| a.zip(b).map(|(a, b)| [a[0].max(b[0]), a[1].max(b[1])]))
            .flatten();
        let kept = moved.map(|moved| moved.map(|moved| Span(moved + aim.skew.0)));
        let of_box = |s: usize| looks_of(&rigs, s).unwrap_or(Span::ZERO);
        let queues = |rig: &Rig| {
            let out = &rig.sequencers[target.sequencer].out;
            out.iter().any(|&stage| is_queue(&rig.stages[stage].kind))
        };
        // A hit that is on its way when something is set anew there goes on by rules of its own.
        let behind = |rig: &Rig| {
            let out = rig.sequencers[target.sequencer].out.clone();
            out.into_iter().map(|stage| (stage, rig.stages[stage].kind.clone())).collect::<Vec<_>>()
        };
        let turned = rigs.windows(2).any(|two| behind(&two[0]) != behind(&two[1]));
        let grid = turned || !followers.is_empty() || rigs.iter().any(queues);
        Self { rig, target, aim, allowances: allowances(&rigs, of_box), open, looks: own, kept, followers, grid, watch }
    }

    /// The rig at a tempo, without anything put in.
    ///
    /// # Errors
    /// If it cannot be played.
    pub(super) fn base(&self, tempo: Tempo) -> Result<Base, AdviseError> {
        Base::new(self.rig, self.target, tempo, self.aim, &self.allowances, !self.grid)
    }

    /// A stand for the rig as it is.
    ///
    /// # Errors
    /// If it cannot be played.
    pub(super) fn stand<'s>(&'s self, base: &'s Base) -> Result<TestBench<'s>, AdviseError> {
        self.stand_of(self.rig, self.target, base)
    }

    fn stand_of<'s>(&'s self, rig: &Rig, target: Target, base: &'s Base) -> Result<TestBench<'s>, AdviseError> {
        Ok(TestBench::new(rig, target, base, (self.aim, &self.allowances, self.watch))?)
    }

    /// The period of the output from which the path stems.
    pub(super) fn period(&self, tempo: Tempo) -> Option<ExactPs> {
        let output = self.rig.origin(self.target.path(self.rig)?);
        match &self.rig.outputs[output].timing {
            Timing::Rate { period, .. } => Some(tempo.exact(*period)),
            _ => None,
        }
    }

    /// The delays that have to be tried at a tempo, up to which one, and whether these are all: a list that would be too long
    /// is a grid instead. What comes to the box is told as well.
    fn places(&self, base: &Base) -> Places {
        let moments = Moments::of(self.rig, base.tempo);
        let mut heard = listen(&self.open, &base.performance);
        let searched = self.searched(base.tempo, &heard[self.target.sequencer]);
        let own = [(self.target.sequencer, vec![self.target.input])];
        // What hangs on this box moves with it.
        let hang = self.followers.iter().map(|&follower| (follower, vec![Input::Clock, Input::Reset]));
        let mut met = Met::new((0, searched.0 - 1));
        for (sequencer, inputs) in own.into_iter().chain(hang) {
            let ever: Vec<&Sequencer> = self.open.ever(sequencer).collect();
            inputs.into_iter().for_each(|input| met.add(&ever, &heard[sequencer], input, &moments));
        }
        let found = met.found;
        let listed = met.close();
        let all = listed.is_some();
        let mut places = listed.unwrap_or_default();
        places.extend([0, searched.0 - 1]);
        let mut beside: Vec<i64> = places.iter().flat_map(|p| [p - 1, *p, p + 1]).collect();
        if self.grid || !all {
            beside.extend((0..GRID).map(|n| (searched.0 - 1) / GRID * n));
        }
        beside.retain(|d| (0..searched.0).contains(d));
        beside.sort_unstable();
        beside.dedup();
        let tries = if all { beside.len() as u128 } else { found.saturating_mul(3) };
        Places { beside, all, tries, searched, mine: heard.swap_remove(self.target.sequencer), moments }
    }

    /// Whether something that no delay on this path can change keeps the rig from passing.
    pub(super) fn is_hopeless(&self, base: &Base) -> bool {
        let moves = |player: &usize| *player == self.target.sequencer || self.followers.contains(player);
        let brief = &base.brief;
        let still = || (0..brief.right.len()).filter(|player| !moves(player));
        let apart = |(between, worst): &([usize; 2], Option<Span>)| {
            !between.iter().any(moves) && worst.is_some_and(|worst| worst > self.aim.max_gap)
        };
        still().any(|player| !brief.right[player] || !brief.plays[player]) || brief.worst.iter().any(apart)
    }

    /// How much there is to try at a tempo; `parts` are the plays of all components.
    ///
    /// # Errors
    /// If the rig cannot be played.
    pub(super) fn outlook(&self, base: &Base, parts: u128) -> Result<Outlook, AdviseError> {
        let stand = self.stand_of(&self.open, self.target, base)?;
        Ok(Outlook::of(self.places(base).tries.saturating_add(parts), stand.pulses()))
    }

    /// What delays fit at a tempo.
    ///
    /// # Errors
    /// If the rig cannot be played.
    pub(super) fn at(&self, base: &Base) -> Result<AtTempo, AdviseError> {
        let tempo = base.tempo;
        let Places { beside, all, searched, mine, moments, .. } = self.places(base);
        let mut stand = self.stand_of(&self.open, self.target, base)?;
        let known = beside.par_iter().with_min_len(AT_ONCE);
        let known: Vec<(i64, Outcome)> =
            known.map_init(|| stand.clone(), |stand, &delay| (delay, stand.delayed(delay))).collect();
        let mut sweep = Sweep::new(|delay| stand.delayed(delay));
        sweep.know(known);
        sweep.refine();
        let before = self.before(base, &mine, &moments)?;
        let windows = |stretches: Vec<Stretch>| stretches.iter().map(window).collect::<Vec<_>>();
        let passes = windows(sweep.stretches(Care::Typical));
        let sure = self.sure(&sweep, before);
        let (below, above) = told(&sweep, &passes, searched);
        let exact = all && !self.grid && !sweep.is_spent();
        drop(sweep);
        let mut reasons = |delay: Option<i64>| delay.map(|d| stand.reasons(d)).unwrap_or_default();
        let (below, above) = (reasons(below), reasons(above));
        let sure = self.confirmed(base, sure)?;
        Ok(AtTempo {
            tempo,
            period: self.period(tempo),
            searched,
            passes,
            sure,
            elsewhere: self.elsewhere(&base.performance),
            below,
            above,
            kept: self.kept.map(|[least, most]| least.max(most)),
            looks: self.looks,
            exact,
        })
    }

    /// Up to which delay it makes sense to look: by then the next pulse of the box's own clock has come.
    fn searched(&self, tempo: Tempo, mine: &InputPulses) -> Span {
        let steps = mine.clock.windows(2).map(|two| (two[1].rise - two[0].rise).0).max();
        let period = self.period(tempo).map(|p| crate::time::round_half_up(p) as i64);
        // A clock that is started late has a longer gap; a period is a period.
        let most = match (self.target.input, steps, period) {
            (Input::Clock, _, Some(period)) => period.max(steps.unwrap_or(0).min(period * 2)),
            (_, Some(steps), _) => steps,
            (_, None, period) => period.unwrap_or(FURTHEST),
        };
        Span(most.max(2))
    }

    /// Where, on the far side of no delay at all, the box would first play something that does not fit: delaying its other
    /// input is the same as hurrying this one. Nothing if that is further than ends are kept away.
    fn before(&self, base: &Base, mine: &InputPulses, moments: &Moments) -> Result<Option<i64>, AdviseError> {
        let other = self.target.other();
        let Some([kept, _]) = self.kept.filter(|_| other.path(&self.open).is_some()) else { return Ok(None) };
        let ever: Vec<&Sequencer> = self.open.ever(self.target.sequencer).collect();
        let mut stand = self.stand_of(&self.open, other, base)?;
        let typical = stand.delayed(0);
        let fits = |o: &Outcome| o.print == typical.print || o.fits(Care::Sure);
        let mut met = Met::new((1, kept.0));
        met.add(&ever, mine, other.input, moments);
        // Where they are too many to be tried, nothing is sure so near.
        let Some(places) = met.close() else { return Ok(Some(0)) };
        let beside = places.iter().flat_map(|p| [p - 1, *p, p + 1]);
        Ok(beside.filter(|d| *d > 0).find(|&d| !fits(&stand.delayed(d))))
    }

    /// The windows over all tolerances.
    fn sure(&self, sweep: &Sweep<'_>, before: Option<i64>) -> Vec<Window> {
        let Some([Span(kept), Span(from_most)]) = self.kept else { return Vec::new() };
        let narrowed = |s: Stretch| {
            let least = match s.low {
                End::Decision => s.least - 1 + kept,
                End::Search => before.map_or(s.least, |before| (kept - before).max(s.least)),
                End::Gap => s.least,
            };
            let most = if s.high == End::Decision { s.most + 1 - from_most } else { s.most };
            (least <= most).then_some(Window { least: Span(least), most: Span(most) })
        };
        sweep.stretches(Care::Sure).into_iter().filter_map(narrowed).collect()
    }

    /// Those windows that hold in drawn runs too, at both ends: where pulses are too short to be looked at, none does.
    fn confirmed(&self, base: &Base, windows: Vec<Window>) -> Result<Vec<Window>, AdviseError> {
        if left_to_chance(self.rig).is_empty() {
            return Ok(windows);
        }
        let mut stand = self.stand(base)?;
        let mut holds = |delay: Span| {
            let drawn = (1..=DRAWS).map(|number| Run::Drawn { seed: 1, number });
            std::iter::once(Run::Typical).chain(drawn).all(|run| stand.with(pure(delay), run).fits(Care::Typical))
        };
        Ok(windows.into_iter().filter(|w| holds(w.least) && holds(w.most)).collect())
    }

    /// The sequencers that hang on nothing here and are at risk by themselves.
    fn elsewhere(&self, performance: &crate::rig::Performance) -> Vec<Elsewhere> {
        let all = sure(self.rig, performance, self.aim.skew);
        let own = |s: &usize| *s == self.target.sequencer || self.followers.contains(s);
        // Of inputs that are filtered, gathered or polled no margin is known: it stands where nothing can move them.
        let rigs = self.rig.in_turn();
        let moves = |s: usize| {
            let of = |rig: &Rig| {
                let sequencer = &rig.sequencers[s];
                let reset = sequencer.reset.as_ref().filter(|r| r.mode != ResetMode::Ignored)?;
                let reach = Reach::between(rig, &performance.timelines, &sequencer.clock, &reset.path).0;
                Some(reach != Some(Span::ZERO) || sequencer.poll.is_some())
            };
            rigs.iter().filter_map(of).reduce(|a, b| a || b)
        };
        let at_risk = all.iter().enumerate().filter(|(s, _)| !own(s)).filter_map(|(sequencer, sure)| match sure {
            Some(sure) if sure.at_risk > 0 => {
                Some(Elsewhere { sequencer, margin: sure.margin.filter(|_| sure.bounded) })
            }
            Some(_) => None,
            None => moves(sequencer)?.then_some(Elsewhere { sequencer, margin: None }),
        });
        at_risk.collect()
    }
}

/// Whether a box plays the same however tolerances, looks and the skew move its inputs against each other: for those of whose
/// resets no margins are known, since their inputs are polled, gathered or filtered.
///
/// # Errors
/// If the rig cannot be played.
pub(in crate::judge) fn is_steady(rig: &Rig, sequencer: usize, aim: &Aim, tempo: Tempo) -> Result<bool, AdviseError> {
    let watch = Watch::nobody();
    for input in [Input::Clock, Input::Reset] {
        let ground = Ground::new(rig, Target { sequencer, input }, aim, &watch);
        if ground.kept.is_none() {
            return Ok(false);
        }
        let base = ground.base(tempo)?;
        let mine = listen(&ground.open, &base.performance).swap_remove(sequencer);
        if ground.before(&base, &mine, &Moments::of(rig, tempo))?.is_some() {
            return Ok(false);
        }
    }
    Ok(true)
}

/// How late the loop of a box may look, at the latest in the course of the piece; nothing for a box without one.
pub(in crate::judge) fn looks_of(rigs: &[Rig], sequencer: usize) -> Option<Span> {
    let of = |rig: &Rig| match rig.sequencers[sequencer].poll.map(|stage| &rig.stages[stage].kind) {
        Some(StageKind::Poll(poll)) => Some(latest_look(poll)),
        _ => None,
    };
    rigs.iter().filter_map(of).max()
}

/// How far tolerances and looks move an input of a box against its other one, at the most in the course of the piece: to the front, and
/// to the back.
///
/// `None` too where anything is drawn for a box that is set anew in the piece: an edge that is moved across that moment
/// takes another way.
fn moved(rig: &Rig, rigs: &[Rig], target: Target) -> Option<[i64; 2]> {
    let s = target.sequencer;
    if rig.is_refitted(s) && !rigs.iter().all(|rig| Reach::is_still(rig, &[], s)) {
        return None;
    }
    let between = |rig: &Rig| {
        let sequencer = &rig.sequencers[s];
        let reset = sequencer.reset.as_ref().filter(|r| r.mode != ResetMode::Ignored);
        let sides = match (reset, target.input) {
            (None, _) => Sides::default(),
            (Some(reset), Input::Clock) => Sides::between(rig, &[], &sequencer.clock, &reset.path)?,
            (Some(reset), Input::Reset) => Sides::between(rig, &[], &reset.path, &sequencer.clock)?,
        };
        Some([sides.early, sides.late].map(|moved| moved.0 + Reach::swing(rig).0))
    };
    let all = rigs.iter().map(between).collect::<Option<Vec<[i64; 2]>>>()?;
    let looks = looks_of(rigs, s).unwrap_or(Span::ZERO).0;
    all.into_iter().reduce(|a, b| [a[0].max(b[0]), a[1].max(b[1])]).map(|moved| moved.map(|moved| moved + looks))
}

/// Whether a hit may be held up by another one there, or waits for something that does not move with it.
fn is_queue(kind: &StageKind) -> bool {
    matches!(kind, StageKind::MidiCable(_) | StageKind::Poll(_) | StageKind::AudioBuffer(_) | StageKind::Strike(_))
}

fn window(stretch: &Stretch) -> Window {
    Window { least: Span(stretch.least), most: Span(stretch.most) }
}

/// Just below the first window and just above the last, for what is in the way there; where there is no window, the delay that
/// comes nearest to fitting.
fn told(sweep: &Sweep<'_>, windows: &[Window], searched: Span) -> (Option<i64>, Option<i64>) {
    match (windows.first(), windows.last()) {
        (Some(first), Some(last)) => {
            let above = Some(last.most.0 + 1).filter(|d| *d < searched.0);
            (Some(first.least.0 - 1).filter(|d| *d >= 0), above)
        }
        _ => (sweep.tried().iter().min_by_key(|(delay, o)| (!o.right, o.over, **delay)).map(|(d, _)| *d), None),
    }
}
