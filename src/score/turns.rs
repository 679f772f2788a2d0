use crate::patch::{Meter, Rig, Sequencer};
use crate::rig::Timeline;
use crate::time::{Beat, Instant, PS_PER_MS, Span, Tempo, round_half_up};

/// One stretch of an alternation: some bars of a patch, played by one of the two variants.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Turn {
    /// 0 for the first variant (A), 1 for the second (B).
    pub side: usize,
    /// The beat with which the stretch begins.
    pub from: Beat,
    /// The beat before which it ends.
    pub to: Beat,
    /// When `from` sounds, from the start of the alternation.
    pub at: Instant,
}

/// The shortest turn: long enough to hear a pattern, short enough to have the last one still in the ear.
const SHORTEST_TURN_MS: i64 = 3_000;
/// The shortest rest between turns.
const SHORTEST_REST_MS: i64 = 600;

/// Plans an alternation of two variants at a tempo: the same bars as A, a rest, as B, a rest, then the next bars.
///
/// It begins with the first bar line after the first reset has acted in both, since every sequencer starts armed and
/// the first bar can hide the fault. A turn is the fewest whole bars that last 3 s; a rest the fewest beats that last
/// 0.6 s. A patch that is over by then is played from its start.
#[must_use]
pub fn turns(variants: [(&Rig, &[Timeline]); 2], meter: Meter, tempo: Tempo) -> Vec<Turn> {
    let bar = meter.bar();
    let end = variants[0].0.end;
    let acted = variants.iter().map(|(rig, lines)| first_reset_acted(rig, lines)).max().unwrap_or_default();
    let start = (acted / bar).ceil() * bar;
    let start = if start < end { start } else { Beat::from_integer(0) };
    let bars = at_least(tempo, bar, SHORTEST_TURN_MS);
    let rest = at_least(tempo, Beat::from_integer(1), SHORTEST_REST_MS);
    let mut all = Vec::new();
    let (mut from, mut now) = (start, Beat::from_integer(0));
    while from < end {
        let to = (from + bars).min(end);
        for side in [0, 1] {
            all.push(Turn { side, from, to, at: tempo.instant(now) });
            now += to - from + rest;
        }
        from = to;
    }
    all
}

/// The fewest whole `units` of beats that last `ms` milliseconds at a tempo.
fn at_least(tempo: Tempo, unit: Beat, ms: i64) -> Beat {
    let unit_ps = round_half_up(tempo.exact(unit)).max(1);
    let count = (i128::from(ms) * i128::from(PS_PER_MS) + unit_ps - 1) / unit_ps;
    unit * count.max(1)
}

/// The beat by which every sequencer with a reset has met a clock pulse after its first reset.
fn first_reset_acted(rig: &Rig, timelines: &[Timeline]) -> Beat {
    let acted = |s: &Sequencer| {
        let reset = s.reset.as_ref()?;
        let first = timelines[reset.path.output].pulses(rig.end).next()?;
        let beat = timelines[reset.path.output].meant(first.number);
        let clock = &timelines[s.clock.output];
        Some(clock.meant(clock.last_until(beat) + 1))
    };
    rig.sequencers.iter().filter_map(acted).max().unwrap_or_default()
}

impl Turn {
    /// Where in the alternation a hit sounds, `None` if it is not part of this turn.
    ///
    /// A hit belongs to the bars in which its pulse's beat lies, so that one that comes early stays with its bar.
    #[must_use]
    pub fn place(&self, tempo: Tempo, beat: Beat, at: Instant) -> Option<Instant> {
        let within = self.from <= beat && beat < self.to;
        within.then(|| self.at + (at - tempo.instant(self.from)))
    }

    /// How long the alternation lasts up to the end of this turn, as a span from its start.
    #[must_use]
    pub fn end(&self, tempo: Tempo) -> Span {
        Span(self.at.0 + tempo.instant(self.to - self.from).0)
    }
}
