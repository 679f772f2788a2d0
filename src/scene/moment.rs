use crate::hits::list;
use crate::patch::{ResetMode, Rig};
use crate::rig::{Counting, Performance, listen, margins};
use crate::time::{Beat, Instant, PS_PER_MS, Span};
use std::collections::BTreeMap;

/// Where the action is: a beat at which a reset comes or, without one, hits are due.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Moment {
    /// The beat.
    pub beat: Beat,
    /// Its ideal time.
    pub at: Instant,
    /// The sequencers whose reset comes for it: when it rises at the input, and how far it may be moved before another
    /// step is played.
    pub margins: Vec<(usize, Instant, Span)>,
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
    // By beat: whether there is trouble, and the margins.
    let mut resets: BTreeMap<Beat, (bool, Vec<(usize, Instant, Span)>)> = BTreeMap::new();
    for (n, sequencer) in rig.sequencers.iter().enumerate() {
        let Some(reset) = sequencer.reset.as_ref().filter(|r| r.mode != ResetMode::Ignored) else { continue };
        let (numbers, from) = (Counting::of(rig, &reset.path), &performance.timelines[rig.origin(&reset.path)]);
        let known = margins(rig, sequencer, &performance.timelines, &heard[n]).unwrap_or_default();
        for pulse in &heard[n].reset {
            let beat = numbers.meant(from, pulse.number);
            if beat >= rig.end {
                continue;
            }
            let (trouble, of) = resets.entry(beat).or_default();
            let margin = known.iter().find(|m| m.at == pulse.rise);
            let one = rig.one.map_or(0, |o| performance.timelines[o].last_until(beat).max(0));
            let settled = &performance.tracks[n].settled;
            let off = settled.iter().any(|s| s.one == one && s.pulses_late != 0);
            *trouble |= off || margin.and_then(|m| m.distance).is_some_and(|d| d < SMALL);
            of.extend(margin.and_then(|m| Some((n, m.at, m.distance?))));
        }
    }
    let later = |beat: &Beat| *beat >= bar;
    let found = resets.iter().find(|(beat, (trouble, _))| later(beat) && *trouble);
    let found = found.or_else(|| resets.iter().find(|(beat, _)| later(beat))).or_else(|| resets.iter().next());
    let place = |beat: Beat, margins: &[_]| Moment { beat, at: clockwork.instant(beat), margins: margins.to_vec() };
    if let Some((beat, (_, margins))) = found {
        return Some(place(*beat, margins));
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
