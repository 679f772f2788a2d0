use crate::time::{Span, Tempo};

/// One thing that stands in the way of a set of changes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fault {
    /// The set cannot be made, or the rig that comes of it cannot be played.
    Unplayable(String),
    /// A box by itself.
    Box {
        /// Index of the sequencer.
        sequencer: usize,
        /// The first tempo at which it is so.
        tempo: Tempo,
        /// What is wrong with it.
        what: BoxFault,
    },
    /// A player whose hits have no due beat in common with anybody's.
    MeetsNobody {
        /// Index of the player.
        player: usize,
        /// The first tempo at which it is so.
        tempo: Tempo,
    },
    /// Two boxes whose hits are too far apart.
    Apart {
        /// Indices of the two players.
        between: [usize; 2],
        /// The first tempo at which it is so.
        tempo: Tempo,
        /// The widest gap there, the second minus the first.
        gap: Span,
        /// How far it is over the max gap, with what tolerances can add; `None` if nothing bounds that.
        over: Option<Span>,
    },
    /// Boxes that no nudges serve at once: these pairs stand against each other.
    Knot {
        /// The pairs.
        pairs: Vec<[usize; 2]>,
    },
}

/// What is wrong with a box by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BoxFault {
    /// It has no hit.
    NeverPlays,
    /// It misses the one.
    MissesTheOne {
        /// Its worst settled offset, in pulses of its clock.
        pulses_late: i64,
    },
    /// It is on the one as things usually go, and tolerances or less than the skew change that.
    AtRisk {
        /// What is left at the worst; `None` if that is not known.
        margin: Option<Span>,
    },
}

impl Fault {
    /// How far it is from passing, in picoseconds, where it is a matter of time; else more than any time.
    #[must_use]
    pub fn over(&self) -> i64 {
        match self {
            Self::Apart { over: Some(over), .. } => over.0,
            Self::Box { what: BoxFault::AtRisk { .. }, .. } => 0,
            _ => i64::MAX / 1024,
        }
    }
}
