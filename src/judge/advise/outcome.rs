use crate::rig::Track;
use std::hash::{DefaultHasher, Hash, Hasher};

/// The result of playing a rig: whether all stand on the one, and how far its worst gap is over the max gap.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Outcome {
    /// Whether every sequencer stands on the one, and all that play meet each other.
    pub(super) right: bool,
    /// How far the worst gap is over the max gap, over all pairs; negative is room.
    pub(super) over: i64,
    /// How far it is over with what tolerances can add; `None` if nothing bounds that.
    pub(super) surely_over: Option<i64>,
    /// Equal prints: everybody plays the same steps on the same pulses.
    pub(super) print: u64,
}

/// The care of a judgement: with or without what tolerances can do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Care {
    /// As the typical run goes.
    Typical,
    /// Over all tolerances.
    Sure,
}

impl Outcome {
    pub(super) fn over(&self, care: Care) -> Option<i64> {
        match care {
            Care::Typical => Some(self.over),
            Care::Sure => self.surely_over,
        }
    }

    /// Right, and no gap over the max gap.
    pub(super) fn fits(&self, care: Care) -> bool {
        self.right && self.over(care).is_some_and(|over| over <= 0)
    }
}

/// The outcome of what cannot be played.
pub(super) const NOTHING: Outcome = Outcome { right: false, over: 0, surely_over: None, print: 0 };

/// A number that is equal for equal steps on equal pulses.
pub(super) fn print_of<'t>(tracks: impl IntoIterator<Item = &'t Track>) -> u64 {
    let mut print = DefaultHasher::new();
    for track in tracks {
        track.sounds.len().hash(&mut print);
        track.sounds.iter().for_each(|s| (s.pulse, s.step).hash(&mut print));
        track.settled.iter().for_each(|s| (s.one, s.pulses_late).hash(&mut print));
        track.moves.iter().for_each(|m| (m.pulse, m.pulses_late).hash(&mut print));
    }
    print.finish()
}
