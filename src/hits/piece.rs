//! What takes say of the piece that they are part of.

use super::{last_due, tempo_meant};
use crate::patch::{Meter, MidiFacts, Outline, Recorded};
use crate::time::{Beat, Clockwork, Instant, LONGEST_PIECE_PS, Tempo};

/// What the takes of a patch say of what it leaves open, as soon as their files have been read: the tempo is that of the first
/// that gives one, the meter likewise, and there are as many bars as hold all their hits at every tempo. The longest piece is
/// not made longer.
#[must_use]
pub fn recorded(outline: &Outline) -> Recorded {
    let original = outline.variants.first().map_or(&[][..], Vec::as_slice);
    let mut facts = original.iter().filter_map(|take| take.recording.midi.as_ref());
    let meter = facts.clone().find_map(meter).filter(|_| outline.meter.is_none());
    let tempo = facts.find_map(|facts| tempo_meant(facts.tempo.filter(|tempo| tempo.given)?.micros));
    let tempo = tempo.filter(|_| outline.tempos.is_empty());
    let bar = outline.meter.or(meter).unwrap_or(Meter::USUAL).bar();
    let bars = || {
        let tempos =
            if outline.tempos.is_empty() { vec![tempo.unwrap_or(Tempo::USUAL)] } else { outline.tempos.clone() };
        let of = |tempo| bars_of(outline, bar, &Clockwork::new(tempo, &outline.tempo_map));
        // All tempos have the same bars, and at none is the piece too long.
        let all: Vec<[i128; 2]> = tempos.into_iter().map(of).collect();
        let (filled, most) = (all.iter().map(|b| b[0]).max()?, all.iter().map(|b| b[1]).min()?);
        u64::try_from(filled.min(most)).ok().filter(|bars| *bars > 0)
    };
    let bars = outline.bars.is_none().then(bars).flatten();
    Recorded { tempo, meter, bars }
}

/// How many bars the takes fill at a tempo, and how many there may be at most.
fn bars_of(outline: &Outline, bar: Beat, clockwork: &Clockwork) -> [i128; 2] {
    let longest = Instant(LONGEST_PIECE_PS);
    let most = (clockwork.beat_at(longest) / bar).floor().to_integer();
    // The beat is rounded, which may be a bar too many.
    let most = if clockwork.instant(bar * most) > longest { most - 1 } else { most };
    let last = outline.variants.iter().filter_map(|takes| last_due(takes, clockwork, bar * most)).max();
    [last.map_or(0, |due| (due / bar).floor().to_integer() + 1), most]
}

/// The meter of a file, if a patch may have it.
fn meter(facts: &MidiFacts) -> Option<Meter> {
    let (count, power) = facts.meter?;
    Meter::new(count.into(), 1_u32.checked_shl(power.into())?)
}
