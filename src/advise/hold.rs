//! Over which tempos one setting holds, exactly: tempos are decimals of at most six places, so that there is a first and a
//! last one.
//!
//! An edge of a rig comes at `a·beat + b`. So two edges meet at one length of the beat, found from where they are at the
//! slowest and at the fastest tempo; between such tempos the worst gap is convex in the length of the beat. The simulator
//! has the last word: whatever changes between two tempos is found by halving.

use super::at_tempo::Ground;
use super::meetings::{Moments, numbered, waits};
use super::share_of;
use super::stand::{Care, NOTHING, Outcome, judged};
use super::target::{pure, set};
use crate::patch::{ResetMode, Rig, Sequencer, Share};
use crate::rig::{Heard, Pulse, listen, play};
use crate::time::{Instant, Span, Tempo};
use std::collections::BTreeMap;

/// What somebody sets: a time, or a share of the period.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Setting {
    /// The same time at every tempo.
    Time(Span),
    /// A share of the period of the path's output, the same time never.
    Share(Share),
}

/// Over which tempos a setting passes, in the typical run.
#[derive(Clone, Debug, PartialEq)]
pub struct Hold {
    /// The setting.
    pub setting: Setting,
    /// The tempos that were looked at, both included.
    pub between: (Tempo, Tempo),
    /// Ranges of tempos, both ends included, in order.
    pub ranges: Vec<(Tempo, Tempo)>,
    /// Whether all tempos were accounted for; else there was too much to try.
    pub exact: bool,
}

/// Tempos between which nothing is known yet.
const FIRST_LOOK: u64 = 24;
/// The most tempos that are tried.
const MOST_TRIED: usize = 4_000;
/// 60 s in ps, times a million: the length of a beat at a millionth of a quarter note a minute.
const BEAT_PS_MICRO: f64 = 60e18;

pub(super) fn hold(ground: &Ground<'_>, setting: Setting, between: (Tempo, Tempo), listed: &[Tempo]) -> Hold {
    let (low, high) = (between.0.micro(), between.1.micro());
    let rig = ground.target.with(ground.rig, pure(Span::ZERO));
    let mut tried = Tried { ground, rig, setting, known: BTreeMap::new(), spent: false };
    let mut places = vec![low, high];
    places.extend(listed.iter().map(|t| t.micro()));
    let ratio = libm::log(high as f64 / low as f64);
    places.extend((1..FIRST_LOOK).map(|n| (low as f64 * libm::exp(ratio * n as f64 / FIRST_LOOK as f64)) as u64));
    places.extend(tried.meetings(low, high));
    places.retain(|m| (low..=high).contains(m));
    places.sort_unstable();
    places.dedup();
    places.iter().for_each(|&m| tried.at(m));
    let mut open: Vec<(u64, u64, bool)> = places.windows(2).map(|two| (two[0], two[1], true)).collect();
    while let Some((p, q, dips)) = open.pop() {
        if q - p < 2 {
            continue;
        }
        if tried.known.len() >= MOST_TRIED {
            tried.spent = true;
            break;
        }
        if let Some((m, dips)) = tried.split(p, q, dips) {
            tried.at(m);
            open.extend([(p, m, dips), (m, q, dips)]);
        }
    }
    Hold { setting, between, ranges: tried.ranges(), exact: !tried.spent }
}

struct Tried<'g, 'a> {
    ground: &'g Ground<'a>,
    /// The rig with a stage for the setting.
    rig: (Rig, usize),
    setting: Setting,
    known: BTreeMap<u64, Outcome>,
    spent: bool,
}

impl Tried<'_, '_> {
    fn delay(ground: &Ground<'_>, setting: Setting, tempo: Tempo) -> Option<Span> {
        match setting {
            Setting::Time(time) => Some(time),
            Setting::Share(share) => share_of(ground.period(tempo)?, share),
        }
    }

    fn at(&mut self, micro: u64) {
        if self.known.contains_key(&micro) {
            return;
        }
        // Every tempo is another performance: the whole rig is played.
        let outcome = Tempo::from_micro(micro).and_then(|tempo| {
            let (rig, slot) = &mut self.rig;
            set(rig, *slot, pure(Self::delay(self.ground, self.setting, tempo)?));
            Some(judged(rig, &play(rig, tempo).ok()?, self.ground.aim, &[])?.0)
        });
        self.known.insert(micro, outcome.unwrap_or(NOTHING));
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

    /// The tempos at which edges meet at the inputs of some box, and their neighbours.
    fn meetings(&self, low: u64, high: u64) -> Vec<u64> {
        let at = |micro: u64| -> Option<(f64, Vec<Heard>, Moments)> {
            let tempo = Tempo::from_micro(micro)?;
            let (rig, _) =
                self.ground.target.with(self.ground.rig, pure(Self::delay(self.ground, self.setting, tempo)?));
            let performance = play(&rig, tempo).ok()?;
            Some((BEAT_PS_MICRO / micro as f64, listen(&rig, &performance), Moments::of(&rig, tempo)))
        };
        let (Some((long, slow, then)), Some((short, fast, now))) = (at(low), at(high)) else { return Vec::new() };
        let pair = |(a, b): (&Instant, &Instant)| (a.0, b.0);
        let changes: Vec<(i64, i64)> = then.changes.iter().zip(&now.changes).map(pair).collect();
        let mut all = Vec::new();
        for n in 0..self.ground.rig.sequencers.len() {
            let obeys = |s: &Sequencer| s.reset.as_ref().is_some_and(|r| r.mode != ResetMode::Ignored);
            if changes.is_empty() && !self.ground.rig.ever(n).any(obeys) {
                continue;
            }
            let waits = waits(self.ground.rig.ever(n));
            let clock = both_ends(&slow[n].clock, &fast[n].clock);
            let reset = both_ends(&slow[n].reset, &fast[n].reset);
            let edges = |still: &[(i64, i64)], moved: &[(i64, i64)], all: &mut Vec<u64>| {
                for r in still {
                    for c in moved {
                        let (at_slow, at_fast) = ((r.0 - c.0) as f64, (r.1 - c.1) as f64);
                        for wait in waits.iter().map(|w| *w as f64) {
                            let (a, b) = (at_slow - wait, at_fast - wait);
                            if a != b && (a <= 0.0) != (b <= 0.0) || (a == 0.0) != (b == 0.0) {
                                let beat = short + (long - short) * b / (b - a);
                                let micro = (BEAT_PS_MICRO / beat) as u64;
                                all.extend(micro.saturating_sub(2)..=micro + 2);
                            }
                        }
                    }
                }
            };
            edges(&reset, &clock, &mut all);
            // Before and after a change an edge is read in two ways.
            edges(&changes, &clock, &mut all);
            edges(&changes, &reset, &mut all);
        }
        all.sort_unstable();
        all.dedup();
        all
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

/// Where each edge is at the slowest and at the fastest tempo, paired by the pulse.
fn both_ends(slow: &[Pulse], fast: &[Pulse]) -> Vec<(i64, i64)> {
    let never = |at: Instant| at.0 > i64::MAX / 4;
    let of = |(a, b): (&Pulse, &Pulse)| {
        let falls = if never(a.fall) || never(b.fall) { None } else { Some((a.fall.0, b.fall.0)) };
        std::iter::once((a.rise.0, b.rise.0)).chain(falls).collect::<Vec<_>>()
    };
    let (slow, fast) = (numbered(slow), numbered(fast));
    slow.iter().filter_map(|(number, a)| Some((*a, *fast.get(number)?))).flat_map(of).collect()
}
