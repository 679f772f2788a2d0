//! Over which tempos one setting holds, exactly: tempos are decimals of at most six places, so that there is a first and a
//! last one.
//!
//! An edge of a rig comes at `a·beat + b`. So two edges meet at one length of the beat, found from where they are at the
//! slowest and at the fastest tempo; between such tempos the worst gap is convex in the length of the beat. The simulator
//! has the last word: whatever changes between two tempos is found by halving.

use super::effort::Outlook;
use super::ground::Ground;
use super::meetings::{Heeds, Listed, Moments, numbered};
use super::outcome::{Care, NOTHING, Outcome};
use super::share_of;
use super::test_bench::judged;
use crate::hits::taken;
use crate::judge::Input;
use crate::judge::target::{pure, set};
use crate::patch::{ResetMode, Rig, Sequencer, Share, quantity, shown};
use crate::rig::{InputPulses, Pulse, Rehearsal, Run, listen, play, pulses};
use crate::time::{Instant, Span, Tempo};
use num_rational::Ratio;
use rayon::prelude::*;
use std::collections::BTreeMap;

/// Where tempos are followed unless others are asked for: slower and faster nobody drums (common practice, no source).
const USUAL: (u64, u64) = (20, 300);

/// The tempos between which settings are followed unless others are asked for: 20 to 300, and wider if those played are.
#[must_use]
pub fn usual_range(tempos: &[Tempo]) -> (Tempo, Tempo) {
    let (low, high) = (Tempo::whole(USUAL.0), Tempo::whole(USUAL.1));
    (tempos.iter().copied().fold(low, Tempo::min), tempos.iter().copied().fold(high, Tempo::max))
}

/// What somebody sets: a time, or a share of the period.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DialSetting {
    /// One time at every tempo.
    Time(Span),
    /// A share of the period of the path's output, the same time never.
    Share(Share),
}

impl DialSetting {
    /// Reads a share of the period, `1%` or `1pct`, from 0 % to less than 100 %; `None` for a text that is none, such as a time.
    ///
    /// # Errors
    /// A sentence, with what to write.
    pub fn share(text: &str) -> Option<Result<Self, String>> {
        let text = text.trim_end();
        (text.ends_with('%') || text.ends_with("pct")).then(|| {
            let share = quantity::share(text).map_err(|e| format!("{e}; {}", e.help()))?;
            let within = share >= Ratio::from_integer(0) && share < Ratio::from_integer(1);
            within.then_some(Self::Share(share)).ok_or_else(|| {
                format!("`{}` is out of bounds: write a share from 0 % to less than 100 %", shown(text.trim()))
            })
        })
    }
}

/// The range of tempos over which a setting passes, in the typical run.
#[derive(Clone, Debug, PartialEq)]
pub struct Hold {
    /// What is set, as it was asked.
    pub setting: DialSetting,
    /// The tempos that were looked at, both included.
    pub between: (Tempo, Tempo),
    /// Ranges of tempos, both ends included, in order.
    pub ranges: Vec<(Tempo, Tempo)>,
    /// Whether all tempos were accounted for; else there was too much to try.
    pub exact: bool,
}

/// Tempos between which nothing is known yet.
const FIRST_LOOK: u64 = 24;
/// The most tempos that are tried beside those at which edges meet.
const MOST_TRIED: usize = 4_000;
/// So many tempos are tried by one thread before another may take some of them over.
const AT_ONCE: usize = 4;
/// 60 s in ps, times a million: the length of a beat at a millionth of a quarter note a minute.
const BEAT_PS_MICRO: f64 = 60e18;

/// Finds the range of tempos over which a setting holds.
pub(super) fn hold(ground: &Ground<'_>, setting: DialSetting, between: (Tempo, Tempo), listed: &[Tempo]) -> Hold {
    let mut tried = Tried::new(ground, setting);
    let Places { tempos, all, .. } = tried.places(between, listed);
    let tries = tempos.par_iter().with_min_len(AT_ONCE);
    let known: Vec<(u64, Outcome)> =
        tries.map_init(|| tried.rig.clone(), |rig, &micro| (micro, tried.outcome(rig, micro))).collect();
    tried.known.extend(known);
    let most = tried.known.len().saturating_add(MOST_TRIED);
    let mut open: Vec<(u64, u64, bool)> = tempos.windows(2).map(|two| (two[0], two[1], true)).collect();
    while let Some((p, q, dips)) = open.pop() {
        if q - p < 2 {
            continue;
        }
        if tried.known.len() >= most {
            tried.spent = true;
            break;
        }
        if let Some((m, dips)) = tried.split(p, q, dips) {
            tried.at(m);
            open.extend([(p, m, dips), (m, q, dips)]);
        }
    }
    Hold { setting, between, ranges: tried.ranges(), exact: all && !tried.spent }
}

/// Estimates how much there is to try for a setting.
pub(super) fn outlook(ground: &Ground<'_>, setting: DialSetting, between: (Tempo, Tempo), listed: &[Tempo]) -> Outlook {
    let tried = Tried::new(ground, setting);
    let pulses = pulses(&tried.rig.0, between.0).unwrap_or(0);
    Outlook::of(tried.places(between, listed).tries, pulses)
}

/// The tempos that have to be tried, whether these are all, and how many there would be.
struct Places {
    tempos: Vec<u64>,
    all: bool,
    tries: u128,
}

struct Tried<'g, 'a> {
    ground: &'g Ground<'a>,
    /// The rig with a stage for the setting.
    rig: (Rig, usize),
    setting: DialSetting,
    known: BTreeMap<u64, Outcome>,
    spent: bool,
}

impl<'g, 'a> Tried<'g, 'a> {
    fn new(ground: &'g Ground<'a>, setting: DialSetting) -> Self {
        let rig = ground.target.with(ground.rig, &pure(Span::ZERO));
        Self { ground, rig, setting, known: BTreeMap::new(), spent: false }
    }

    fn delay(&self, tempo: Tempo) -> Option<Span> {
        match self.setting {
            DialSetting::Time(time) => Some(time),
            DialSetting::Share(share) => share_of(self.ground.period(tempo)?, share),
        }
    }

    fn places(&self, between: (Tempo, Tempo), listed: &[Tempo]) -> Places {
        let (low, high) = (between.0.micro(), between.1.micro());
        let (meetings, found) = self.meetings(low, high);
        let all = meetings.is_some();
        let mut tempos = meetings.unwrap_or_default();
        tempos.extend([low, high]);
        tempos.extend(listed.iter().map(|t| t.micro()));
        let ratio = libm::log(high as f64 / low as f64);
        tempos.extend((1..FIRST_LOOK).map(|n| (low as f64 * libm::exp(ratio * n as f64 / FIRST_LOOK as f64)) as u64));
        tempos.retain(|m| (low..=high).contains(m));
        tempos.sort_unstable();
        tempos.dedup();
        let tries = if all { tempos.len() as u128 } else { found };
        Places { tempos, all, tries }
    }

    /// What the setting comes to at a tempo: every tempo is another performance, and the whole rig is played.
    fn outcome(&self, (rig, slot): &mut (Rig, usize), micro: u64) -> Outcome {
        let outcome = Tempo::from_micro(micro).filter(|_| !self.ground.watch.is_cancelled()).and_then(|tempo| {
            set(rig, *slot, pure(self.delay(tempo)?));
            // A tempo that changes takes longer to work out than to play: once for all who hang on an output.
            let performance = Rehearsal::new(rig, tempo).ok()?.keeping().run(Run::Typical);
            if !performance.rests {
                return None;
            }
            let pulses = performance.tracks.iter().map(|track| track.pulses).sum();
            self.ground.watch.played(pulses);
            Some(judged(rig, &performance, &taken(rig, tempo), self.ground.aim, &[]))
        });
        outcome.unwrap_or(NOTHING)
    }

    fn at(&mut self, micro: u64) {
        if !self.known.contains_key(&micro) {
            let mut rig = self.rig.clone();
            let outcome = self.outcome(&mut rig, micro);
            self.known.insert(micro, outcome);
        }
    }

    /// Where between two tempos something has to be tried.
    fn split(&mut self, p: u64, q: u64, dips: bool) -> Option<(u64, bool)> {
        let middle = p + (q - p) / 2;
        let (a, b) = (&self.known[&p], &self.known[&q]);
        if a.print != b.print || (a.right && a.fits(Care::Typical) != b.fits(Care::Typical)) {
            return Some((middle, dips));
        }
        if !a.right || a.over <= 0 || !dips {
            return None;
        }
        // Both are over the max gap: a convex function may dip between them. Its lowest point, by thirds.
        let (mut low, mut high) = (p, q);
        while high - low > 2 {
            let third = ((high - low) / 3).max(1);
            let (m, n) = (low + third, high - third);
            self.at(m);
            self.at(n);
            let (m_over, n_over) = (self.known[&m].over, self.known[&n].over);
            if m_over <= 0 || n_over <= 0 {
                return Some((if m_over <= 0 { m } else { n }, false));
            }
            // Where it only climbs or falls there is nothing to find further in.
            if m_over < n_over {
                high = n;
            } else {
                low = m;
            }
            let ends = (self.known[&p].over, self.known[&q].over);
            if (m_over >= ends.0 && n_over >= m_over) || (n_over >= ends.1 && m_over >= n_over) {
                return None;
            }
        }
        None
    }

    /// The tempos at which edges meet at the inputs of some box, and their neighbours, if they are not too many; and how many
    /// there are, each as often as edges meet at it.
    fn meetings(&self, low: u64, high: u64) -> (Option<Vec<u64>>, u128) {
        let at = |micro: u64| -> Option<(f64, Vec<InputPulses>, Moments)> {
            let tempo = Tempo::from_micro(micro)?;
            let (rig, _) = self.ground.target.with(self.ground.rig, &pure(self.delay(tempo)?));
            let performance = play(&rig, tempo).ok()?;
            Some((BEAT_PS_MICRO / micro as f64, listen(&rig, &performance), Moments::of(&rig, tempo)))
        };
        let (Some((long, slow, then)), Some((short, fast, now))) = (at(low), at(high)) else {
            return (Some(Vec::new()), 0);
        };
        let changes = Edges::new(then.changes.iter().zip(&now.changes).map(|(a, b)| (a.0, b.0)));
        let (mut all, mut found) = (Listed::new(), 0_u128);
        for n in 0..self.ground.rig.sequencers.len() {
            let obeys = |s: &Sequencer| s.reset.as_ref().is_some_and(|r| r.mode != ResetMode::Ignored);
            if changes.0.is_empty() && !self.ground.rig.ever(n).any(obeys) {
                continue;
            }
            let heeds = Heeds::of(self.ground.rig.ever(n));
            let clock = both_ends(&slow[n].clock, &fast[n].clock);
            let reset = both_ends(&slow[n].reset, &fast[n].reset);
            let mut each = |(a, b): (i64, i64)| {
                let (a, b) = (a as f64, b as f64);
                let beat = short + (long - short) * b / (b - a);
                let micro = (BEAT_PS_MICRO / beat) as u64;
                found += 5;
                (micro.saturating_sub(2)..=micro + 2).for_each(|micro| all.add(micro));
            };
            let (resets, waits) = (seen(&reset, heeds.seen(Input::Reset)), heeds.waits(Input::Clock));
            for moved in seen(&clock, heeds.seen(Input::Clock)) {
                for still in resets.iter().flat_map(|edges| &edges.0) {
                    waits.iter().for_each(|wait| moved.crossed((still.0 + wait, still.1 + wait), &mut each));
                }
            }
            // Before and after a change an edge is read in two ways, whichever it is.
            for moved in clock.iter().chain(&reset) {
                for still in &changes.0 {
                    heeds.ages().iter().for_each(|age| moved.crossed((still.0 - age, still.1 - age), &mut each));
                }
            }
        }
        (all.close(), found)
    }

    fn ranges(&self) -> Vec<(Tempo, Tempo)> {
        let mut all: Vec<(Tempo, Tempo)> = Vec::new();
        let mut fitted = false;
        for (&micro, outcome) in &self.known {
            let fits = outcome.fits(Care::Typical);
            if let (true, Some(tempo)) = (fits, Tempo::from_micro(micro)) {
                match all.last_mut() {
                    Some(open) if fitted => open.1 = tempo,
                    _ => all.push((tempo, tempo)),
                }
            }
            fitted = fits;
        }
        all
    }
}

/// Where edges of one kind are at the slowest and at the fastest tempo, in order.
struct Edges(Vec<(i64, i64)>, bool);

impl Edges {
    fn new(edges: impl Iterator<Item = (i64, i64)>) -> Self {
        let mut all: Vec<(i64, i64)> = edges.collect();
        all.sort_unstable();
        // Mostly they stand in one order at every tempo.
        let in_order = all.is_sorted_by_key(|edge| edge.1);
        Self(all, in_order)
    }

    /// Those that something passes between the two tempos, each by how far it is before the edge at the slow and at the fast
    /// one; what it meets at one end alone is among them.
    fn crossed(&self, at: (i64, i64), mut each: impl FnMut((i64, i64))) {
        let all = &self.0;
        let (from, to) = if self.1 {
            let slow = (all.partition_point(|c| c.0 < at.0), all.partition_point(|c| c.0 <= at.0));
            let fast = (all.partition_point(|c| c.1 < at.1), all.partition_point(|c| c.1 <= at.1));
            (slow.0.min(fast.0), slow.1.max(fast.1))
        } else {
            (0, all.len())
        };
        for (a, b) in all[from..to].iter().map(|c| (at.0 - c.0, at.1 - c.1)) {
            if a != b && (a <= 0) != (b <= 0) || (a == 0) != (b == 0) {
                each((a, b));
            }
        }
    }
}

/// When rises and falls are seen: each kind as late as it may be.
fn seen([rises, falls]: &[Edges; 2], (high, low): &(Vec<i64>, Vec<i64>)) -> Vec<Edges> {
    let late = |edges: &Edges, age: &i64| Edges::new(edges.0.iter().map(|(a, b)| (a + age, b + age)));
    let rises = high.iter().map(|age| late(rises, age));
    rises.chain(low.iter().map(|age| late(falls, age))).collect()
}

/// Rises and falls at the slowest and at the fastest tempo, paired by the pulse.
fn both_ends(slow: &[Pulse], fast: &[Pulse]) -> [Edges; 2] {
    let never = |at: Instant| at.0 > i64::MAX / 4;
    let (slow, fast) = (numbered(slow), numbered(fast));
    let both: Vec<(&Pulse, &Pulse)> = slow.iter().filter_map(|(n, a)| Some((*a, *fast.get(n)?))).collect();
    let falls = both.iter().filter(|(a, b)| !never(a.fall) && !never(b.fall));
    [Edges::new(both.iter().map(|(a, b)| (a.rise.0, b.rise.0))), Edges::new(falls.map(|(a, b)| (a.fall.0, b.fall.0)))]
}
