//! Loops: bars of several versions that go round and round on a page, each with all that is due in it.

use super::comparison::PlayedVariant;
use super::score::{Bars, Ensemble, Version};
use crate::hits::{Hit, list};
use crate::patch::{Course, Meter, Rig};
use crate::rig::play;
use crate::time::{Beat, Clockwork, Instant, Span, wholes};
use rayon::prelude::*;

/// The bars of which loops are made at one tempo: the same for all versions.
#[derive(Clone, Debug)]
pub struct Loops {
    meter: Meter,
    clockwork: Clockwork,
    /// The bar line with which they begin.
    from: Beat,
    /// How long a bar is; all of the piece where bars differ.
    bar: Beat,
    /// How long a bar lasts.
    pub length: Span,
    /// How many bars there are.
    pub available: u32,
    /// After how many bars all that any version plays comes again; 2 where nothing does.
    pub repeat: u32,
}

/// A hit of a loop.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LoopHit {
    /// When it sounds, from the loop's beginning: before it where it is early, and goes round.
    pub at: Instant,
    /// Its master among those of the ensemble.
    pub voice: usize,
    /// The factor on that master.
    pub gain: f64,
    /// The bar in which it is due, from 0 on.
    pub bar: u32,
    /// Who plays it.
    pub player: usize,
    /// When its beat is, from the loop's beginning: where it would sound if nothing were late.
    pub due: Instant,
    /// Whether it is the first step of its pattern.
    pub first: bool,
}

/// What sounds of a hit, apart from when: who, and how strong.
type Stroke = (usize, u8, i32);

impl Loops {
    /// Finds the bars in which all of these versions, played at one tempo, play all that is due.
    ///
    /// # Panics
    /// If there is no version.
    #[must_use]
    pub fn new(meter: Meter, all: &[PlayedVariant<'_>]) -> Self {
        let clockwork = all[0].variant.rig.clockwork(all[0].performance.tempo);
        let versions: Vec<Version<'_>> = all.iter().map(PlayedVariant::version).collect();
        let bars = Bars::new(meter, &clockwork);
        let from = bars.begin(&versions);
        let end = bars.end(&versions, from);
        // Where the tempo changes, bars differ, and the loop is the whole.
        let even = clockwork.is_even();
        let bar = if even { bars.length() } else { end - from };
        let available = ((end - from) / bar).to_integer().clamp(1, 4096) as u32;
        // At one tempo it is rounded once, from wherever it is counted.
        let length = match even {
            true => clockwork.instant(bar) - Instant::START,
            false => clockwork.instant(from + bar) - clockwork.instant(from),
        };
        let mut loops = Self { meter, clockwork, from, bar, length, available, repeat: 2.min(available) };
        if even {
            loops.repeat = loops.repeats_after(all).unwrap_or(loops.repeat);
        }
        loops
    }

    /// The hits of a version that are due from the loops' beginning on.
    #[must_use]
    pub fn hits(&self, ensemble: &Ensemble, played: &PlayedVariant<'_>) -> Vec<LoopHit> {
        let bars = Bars::new(self.meter, &self.clockwork);
        let hit = |h: &Hit| {
            let (voice, gain) = ensemble.part(played.of, h);
            Some(LoopHit {
                at: self.after(h.at),
                voice,
                gain,
                bar: self.bar_of(h, &bars)?,
                player: h.sequencer,
                due: self.after(self.clockwork.instant(h.due)),
                first: h.step == 1,
            })
        };
        played.hits.iter().filter_map(hit).collect()
    }

    /// The beats of a bar, from the loop's beginning, and whether each begins a bar of the meter: where all bars are the loop's one, those of
    /// all of them, 4,096 at most.
    #[must_use]
    pub fn beats(&self) -> Vec<(Instant, bool)> {
        let bars = Bars::new(self.meter, &self.clockwork).length();
        let lines = (0_i64..).map(|n| bars * i128::from(n)).take_while(|line| *line < self.bar);
        let beats = lines.flat_map(|line| {
            let within = (0_i64..).map(|n| Beat::from_integer(i128::from(n))).take_while(move |beat| *beat < bars);
            within.map(move |beat| (line + beat, beat == Beat::from_integer(0)))
        });
        let placed = beats.take_while(|(beat, _)| *beat < self.bar);
        placed.take(4096).map(|(beat, line)| (self.after(self.clockwork.instant(self.from + beat)), line)).collect()
    }

    /// The bar to which a hit belongs, from 0 on; `None` before the first.
    fn bar_of(&self, hit: &Hit, bars: &Bars<'_>) -> Option<u32> {
        u32::try_from(wholes(self.from, bars.home(hit), self.bar)).ok()
    }

    /// A time, from the loops' beginning on.
    fn after(&self, at: Instant) -> Instant {
        Instant((at - self.clockwork.instant(self.from)).0)
    }

    /// After how many bars everything that any version plays comes again, from [`Self::repeat`] up to [`Self::available`]: looked
    /// at in pieces twice as long, since a piece may be over before it repeats. `None` where nothing does, and where something
    /// is changed in the course of the piece or comes from a take.
    fn repeats_after(&self, all: &[PlayedVariant<'_>]) -> Option<u32> {
        let (most, bars) = (i64::from(self.available), Bars::new(self.meter, &self.clockwork));
        // Each hit: the bar in which it is due, when it sounds, and what.
        let of = |played: &PlayedVariant<'_>| -> Option<Vec<(i64, i64, Stroke)>> {
            let rig = &played.variant.rig;
            if rig.course != Course::default() || !rig.takes.is_empty() {
                return None;
            }
            // Two bars more: what is due in the last may sound a bar later.
            let longer = Rig { end: self.from + self.bar * i128::from(2 * most + 2), ..rig.clone() };
            let hits = list(&longer, &play(&longer, played.performance.tempo).ok()?);
            let own = |h: &Hit| {
                let stroke = (h.sequencer, h.velocity, h.level_mdb);
                Some((i64::from(self.bar_of(h, &bars)?), self.after(h.at).0, stroke))
            };
            Some(hits.iter().filter_map(own).collect())
        };
        let heard: Vec<_> = all.par_iter().map(of).collect::<Option<_>>()?;
        let tempo = self.clockwork.tempo();
        let length = |bars: i64| (tempo.instant(self.bar * i128::from(bars)) - Instant::START).0;
        let again = |hits: &[(i64, i64, Stroke)], bars: i64| {
            let stretch = |n: i64| {
                let due = n * bars..(n + 1) * bars;
                let own = hits.iter().filter(|(bar, ..)| due.contains(bar));
                let mut own: Vec<(Stroke, i64)> = own.map(|(_, at, s)| (*s, at - length(n * bars))).collect();
                own.sort_unstable();
                own
            };
            // Pulses are rounded one by one: to a nanosecond.
            let alike = |a: &(Stroke, i64), b: &(Stroke, i64)| a.0 == b.0 && (b.1 - a.1).abs() < 1000;
            let first = stretch(0);
            (1..2 * most / bars)
                .map(stretch)
                .all(|s| s.len() == first.len() && s.iter().zip(&first).all(|(a, b)| alike(a, b)))
        };
        let found = (i64::from(self.repeat)..=most).find(|bars| heard.iter().all(|hits| again(hits, *bars)));
        found.map(|bars| bars as u32)
    }
}

#[cfg(test)]
mod tests;
