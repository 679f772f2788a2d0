//! A program that looks at its input now and then.
//!
//! Look *n* comes at `phase + n·period·(1 + drift)`, from the first on, each rounded once from its exact value. An edge
//! is seen by the first look at its instant or after. Two edges *d* apart are seen by different looks with probability
//! min(1, *d*/*period*), and are then a whole period apart: a poll does not hide a small difference, it makes it rare
//! and large.
//!
//! - `reads = "level"`: a look sees the level of that moment. Pulses that no look falls into are lost, gaps that none
//!   falls into make two pulses one. With `samples = n` a new level counts once *n* looks in a row have seen it.
//! - `reads = "latched"`: a flag keeps a rise until the next look, however short the pulse; only a second rise before the
//!   same look is not told from the first. Falls are kept in the same way, but one look later than the rise of their
//!   pulse at least. A look that sees a fall and then a rise must pass both on: the fall goes out a picosecond before
//!   that look, so that there is a gap. `samples` has no meaning here.
//!
//! The loop's phase, where it is not given, and its drift are drawn once a run. Without chance the phase is the middle, half
//! a period, and there is no drift. Nothing is done at looks that cannot change anything.
//!
//! Source of the probabilities: closed forms (uniform phase), beside the tests.

use super::grid::Grid;
use super::{Out, Stage};
use crate::patch::{self, Reads, StageKind};
use crate::rig::{Chance, Edge};
use crate::time::{Instant, Span};

/// The moments at which a loop looks at its inputs.
#[derive(Clone, Copy, Debug)]
pub struct Looks {
    grid: Grid,
    /// How fast or slow this device is among all: from −1 to 1 of its drift.
    standing: f64,
}

impl Looks {
    /// The looks of one run.
    #[must_use]
    pub fn new(settings: &patch::Poll, mut device: Chance) -> Self {
        let period = settings.period.0;
        // Both are drawn whether or not the phase is given, so that giving it leaves the drift as it was.
        let drawn = Span((device.uniform() * period as f64) as i64);
        let standing = 2.0 * device.uniform() - 1.0;
        let first = Instant::START + settings.phase.unwrap_or(drawn);
        Self::from(first, settings, standing)
    }

    fn from(first: Instant, settings: &patch::Poll, standing: f64) -> Self {
        let grid = Grid::new(first, i128::from(settings.period.0), 1, standing * settings.drift);
        Self { grid, standing }
    }

    /// Sets the loop anew: the next look comes when it would have come, and from there the new period holds.
    pub(in crate::rig) fn turn(&mut self, settings: &patch::Poll, now: Instant) {
        *self = Self::from(self.at_or_after(now), settings, self.standing);
    }

    /// The first look at a moment or after.
    #[must_use]
    pub fn at_or_after(&self, at: Instant) -> Instant {
        self.grid.tick(self.grid.at_or_after(at).max(0))
    }

    /// The first look after a moment.
    #[must_use]
    pub fn after(&self, at: Instant) -> Instant {
        self.at_or_after(Instant(at.0.saturating_add(1)))
    }
}

/// The stage at work.
#[derive(Clone, Debug)]
pub struct Poll {
    looks: Looks,
    reads: Reads,
    samples: u32,
    level: bool,
    /// Of the pulse that came last.
    latest: i64,
    /// How many pulses have risen since a look last saw what there was.
    unseen: u64,
    /// How many looks in a row have seen another level than the output has.
    seen: u32,
    /// Of the pulse that looks have begun to see, or that is out.
    number: i64,
    /// The look that is waited for.
    asked: Option<Instant>,
}

impl Poll {
    /// A loop with these settings; phase and drift are drawn here, once a run.
    #[must_use]
    pub fn new(settings: &patch::Poll, device: Chance) -> Self {
        Self {
            looks: Looks::new(settings, device),
            reads: settings.reads,
            samples: settings.samples.max(1),
            level: false,
            latest: 0,
            unseen: 0,
            seen: 0,
            number: 0,
            asked: None,
        }
    }

    fn ask(&mut self, look: Instant, out: &mut Out) {
        if self.asked.is_none() {
            self.asked = Some(look);
            out.wake(look);
        }
    }

    fn look_at_level(&mut self, at: Instant, out: &mut Out) {
        let is_high = out.level(0);
        let unseen = std::mem::take(&mut self.unseen);
        match (self.level, is_high) {
            (true, true) => out.tally.merged += unseen,
            (false, _) => out.tally.lost += unseen,
            // The first look of a row sees the pulse that came last; all before are past.
            (true, false) if self.seen == 0 => {
                out.tally.lost += unseen.saturating_sub(1);
                self.number = self.latest;
            }
            (true, false) => out.tally.merged += unseen,
        }
        if self.level == is_high {
            // A row of looks that had begun to see a rise has come to nothing.
            out.tally.lost += u64::from(!is_high && self.seen > 0);
            self.seen = 0;
            return;
        }
        self.seen += 1;
        if self.seen < self.samples {
            self.ask(self.looks.after(at), out);
            return;
        }
        self.seen = 0;
        out.send(0, Edge { at, rise: self.level, number: self.number });
    }

    /// Passes a fall on: just before the next look, or now if that is it.
    fn let_go(&self, now: Instant, next: Instant, out: &mut Out) {
        let at = now.max(Instant(next.0 - 1));
        out.send(0, Edge { at, rise: false, number: self.number });
    }

    fn look_at_flag(&mut self, at: Instant, out: &mut Out) {
        let kept = std::mem::take(&mut self.unseen);
        if kept == 0 {
            return;
        }
        out.tally.merged += kept - 1;
        out.send(0, Edge { at, rise: true, number: self.number });
        if !self.level {
            self.let_go(at, self.looks.after(at), out);
        }
    }
}

impl Stage for Poll {
    fn edge(&mut self, _port: usize, edge: Edge, out: &mut Out) {
        self.level = edge.rise;
        let look = self.looks.at_or_after(edge.at);
        match (edge.rise, self.reads) {
            (true, Reads::Level) => (self.latest, self.unseen) = (edge.number, self.unseen + 1),
            (true, Reads::Latched) => {
                if self.unseen == 0 {
                    self.number = edge.number;
                }
                self.unseen += 1;
            }
            (false, Reads::Level) => {}
            (false, Reads::Latched) => {
                // What no look has seen rise cannot fall yet.
                if self.unseen == 0 {
                    self.let_go(edge.at, look, out);
                }
                return;
            }
        }
        self.ask(look, out);
    }

    fn wake(&mut self, at: Instant, out: &mut Out) {
        if self.asked != Some(at) {
            return;
        }
        self.asked = None;
        match self.reads {
            Reads::Level => self.look_at_level(at, out),
            Reads::Latched => self.look_at_flag(at, out),
        }
    }

    fn turn(&mut self, kind: &StageKind, now: Instant, out: &mut Out) {
        let StageKind::Poll(settings) = kind else { return };
        self.looks.turn(settings, now);
        self.samples = settings.samples.max(1);
        let read = std::mem::replace(&mut self.reads, settings.reads);
        let kept = self.unseen;
        match (read, self.reads) {
            (Reads::Level, Reads::Latched) => {
                // The flag is set by what rises from now on, and by what has risen and is still high.
                let waits = self.level && !out.level(0);
                let gone = kept.saturating_sub(u64::from(waits));
                if self.level && out.level(0) {
                    out.tally.merged += gone;
                } else {
                    out.tally.lost += gone + u64::from(!waits && self.seen > 0 && !out.level(0));
                }
                (self.unseen, self.seen) = (u64::from(waits), 0);
                if waits {
                    self.number = self.latest;
                }
                if !self.level {
                    self.let_go(now, self.looks.at_or_after(now), out);
                }
            }
            // What the flag has kept and no look has read is a level again, or gone.
            (Reads::Latched, Reads::Level) => self.latest = self.number,
            _ => {}
        }
        if self.unseen > 0 || (self.reads == Reads::Level && self.level != out.level(0)) {
            self.ask(self.looks.at_or_after(now), out);
        }
    }

    fn settled(&mut self, inputs: &[bool]) -> Vec<bool> {
        self.level = inputs[0];
        inputs.to_vec()
    }
}

#[cfg(test)]
mod tests;
