use crate::hits::list;
use crate::patch::{ResetMode, Rig, Sequencer};
use crate::rig::{Moved, Performance, Resets, listen, margins};
use crate::time::{Beat, Instant, PS_PER_MS, Span};
use std::collections::BTreeMap;

/// Where the action is: a beat at which a reset comes or, without one, hits are due.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Moment {
    /// In quarter notes from the beginning of the piece.
    pub beat: Beat,
    /// Its ideal time.
    pub at: Instant,
    /// The sequencers whose reset comes for it: when it rises at the input, and how far it may be moved before another
    /// step is played.
    pub margins: Vec<(usize, Instant, Span)>,
}

/// What there is at a beat: whether somebody is off or nearly so, and the margins.
#[derive(Default)]
struct Found {
    trouble: bool,
    margins: Vec<(usize, Instant, Span)>,
}

/// A margin under this is small.
const SMALL: Span = Span(PS_PER_MS);

/// The first reset from the second bar on at which somebody is off the one or decides by less than a millisecond; if there
/// is none, the first one from there on; without resets, the beat with the widest gap, from there on if there is one.
///
/// `bar` is the length of a bar. `None` if nothing ever sounds.
#[must_use]
pub fn moment(rig: &Rig, performance: &Performance, bar: Beat) -> Option<Moment> {
    let heard = listen(rig, performance);
    let clockwork = rig.clockwork(performance.tempo);
    let mut resets: BTreeMap<Beat, Found> = BTreeMap::new();
    let obeys = |s: &Sequencer| s.reset.as_ref().is_some_and(|r| r.mode != ResetMode::Ignored);
    for n in 0..rig.sequencers.len() {
        let mut ever = std::iter::once(&rig.sequencers).chain(rig.course.eras.iter().map(|era| &era.sequencers));
        if !ever.any(|sequencers| obeys(&sequencers[n])) {
            continue;
        }
        let from = Resets::of(rig, n, performance);
        let known = margins(rig, n, performance, &heard[n], Moved::default()).unwrap_or_default();
        for pulse in &heard[n].reset {
            let Some(beat) = from.beat(pulse.number, pulse.rise).filter(|beat| *beat < rig.end) else { continue };
            let found = resets.entry(beat).or_default();
            let margin = known.iter().find(|m| m.at == pulse.rise);
            let one = rig.one.map_or(0, |o| performance.timelines[o].last_until(beat).max(0));
            let settled = &performance.tracks[n].settled;
            let off = settled.iter().any(|s| s.one == one && s.pulses_late != 0);
            found.trouble |= off || margin.and_then(|m| m.distance).is_some_and(|d| d < SMALL);
            found.margins.extend(margin.and_then(|m| Some((n, m.at, m.distance?))));
        }
    }
    let later = |beat: &Beat| *beat >= bar;
    let found = resets.iter().find(|(beat, found)| later(beat) && found.trouble);
    let found = found.or_else(|| resets.iter().find(|(beat, _)| later(beat))).or_else(|| resets.iter().next());
    let place = |beat: Beat, margins: &[_]| Moment { beat, at: clockwork.instant(beat), margins: margins.to_vec() };
    if let Some((beat, found)) = found {
        return Some(place(*beat, &found.margins));
    }
    let mut due: BTreeMap<Beat, [Instant; 2]> = BTreeMap::new();
    for hit in list(rig, performance) {
        let ends = due.entry(hit.due).or_insert([hit.at; 2]);
        *ends = [ends[0].min(hit.at), ends[1].max(hit.at)];
    }
    let widest = |all: &mut dyn Iterator<Item = (&Beat, &[Instant; 2])>| {
        all.max_by_key(|(beat, [a, b])| (*b - *a, std::cmp::Reverse(**beat))).map(|(beat, _)| *beat)
    };
    let beat = widest(&mut due.iter().filter(|(b, _)| later(b))).or_else(|| widest(&mut due.iter()))?;
    Some(place(beat, &[]))
}
