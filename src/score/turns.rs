use crate::patch::{Meter, Rig};
use crate::rig::Performance;
use crate::time::{Beat, Clockwork, Instant, PS_PER_MS, Span, Tempo, round_half_up};

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
/// How much before its bar line a hit may sound and still be part of the bar: well within a rest.
pub const EARLY: Span = Span::from_ms(150);
/// The shortest rest between turns.
const SHORTEST_REST_MS: i64 = 600;

/// Plans an alternation of two variants at a tempo: the same bars as A, a rest, as B, a rest, then the next bars.
///
/// It begins with the first bar line by which the first reset has acted on every sequencer in both, since every
/// sequencer starts armed and the first bar can hide the fault. A turn is the fewest whole bars that last 3 s; a rest the
/// fewest beats that last 0.6 s, or the smallest half, quarter … of a beat that does. A patch that is over by then is
/// played from its start. Where the tempo changes, bars keep the tempos that they have in the piece, and rests that of its
/// start.
#[must_use]
pub fn turns(variants: [(&Rig, &Performance); 2], meter: Meter, clockwork: &Clockwork) -> Vec<Turn> {
    let tempo = clockwork.tempo();
    let bar = meter.bar();
    let end = variants[0].0.end;
    let start = begin(&variants, meter, clockwork);
    let (bars, rest) = (at_least(tempo, bar, SHORTEST_TURN_MS), rest(tempo));
    let mut all = Vec::new();
    let (mut from, mut now) = (start, Beat::from_integer(0));
    let mut at = Instant::START;
    while from < end {
        let mut to = from + if clockwork.is_even() { bars } else { bar };
        while !clockwork.is_even() && to < end && lasts(clockwork, from, to) < Span::from_ms(SHORTEST_TURN_MS) {
            to += bar;
        }
        let to = to.min(end);
        for side in [0, 1] {
            // At one tempo a turn is placed by its beat, so that it is rounded once.
            let even = clockwork.is_even();
            all.push(Turn { side, from, to, at: if even { tempo.instant(now) } else { at } });
            now += to - from + rest;
            at = at + lasts(clockwork, from, to) + (tempo.instant(rest) - Instant::START);
        }
        from = to;
    }
    all
}

/// The first bar line by which the first reset has acted on every sequencer in all of some variants; the start, where the
/// patch is over by then.
#[must_use]
pub fn begin(variants: &[(&Rig, &Performance)], meter: Meter, clockwork: &Clockwork) -> Beat {
    let acted = variants.iter().flat_map(|(_, p)| p.tracks.iter().filter_map(|t| t.reset_acted)).max();
    let start = clockwork.first_multiple(meter.bar(), acted.unwrap_or(Instant::START));
    let end = variants.iter().map(|(rig, _)| rig.end).min().unwrap_or(start);
    if start < end { start } else { Beat::from_integer(0) }
}

/// How many bars of a piece are heard of it where many versions are heard one after the other: the fewest that last 3 s
/// at a tempo.
#[must_use]
pub fn excerpt(meter: Meter, tempo: Tempo) -> Beat {
    at_least(tempo, meter.bar(), SHORTEST_TURN_MS)
}

/// How long the beats between two last.
fn lasts(clockwork: &Clockwork, from: Beat, to: Beat) -> Span {
    if clockwork.is_even() {
        return clockwork.instant(to - from) - Instant::START;
    }
    clockwork.instant(to) - clockwork.instant(from)
}

/// The fewest whole `units` of beats that last `ms` milliseconds at a tempo.
fn at_least(tempo: Tempo, unit: Beat, ms: i64) -> Beat {
    let unit_ps = round_half_up(tempo.exact(unit)).max(1);
    let count = (i128::from(ms) * i128::from(PS_PER_MS) + unit_ps - 1) / unit_ps;
    unit * count.max(1)
}

/// How long nobody plays between two turns.
fn rest(tempo: Tempo) -> Beat {
    let shortest = i128::from(SHORTEST_REST_MS) * i128::from(PS_PER_MS);
    let mut rest = at_least(tempo, Beat::from_integer(1), SHORTEST_REST_MS);
    while round_half_up(tempo.exact(rest / 2)) >= shortest {
        rest /= 2;
    }
    rest
}

impl Turn {
    /// Where in the alternation a hit sounds, `None` if it is not part of this turn.
    ///
    /// A turn takes what sounds from a little before its first bar line to as much before the one after its last, so
    /// that a hit that comes early stays with its bar, and nothing sounds in the other side's turn.
    #[must_use]
    pub fn place(&self, clockwork: &Clockwork, at: Instant) -> Option<Instant> {
        let (from, to) = (clockwork.instant(self.from), clockwork.instant(self.to));
        let moved = at + EARLY;
        (from <= moved && moved < to).then(|| self.at + (at - from))
    }

    /// How long the alternation lasts up to the end of this turn, as a span from its start.
    #[must_use]
    pub fn end(&self, clockwork: &Clockwork) -> Span {
        Span(self.at.0 + lasts(clockwork, self.from, self.to).0)
    }
}
