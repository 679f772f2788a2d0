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

    /// The first tempo at which it is so, where it is at a tempo.
    pub(super) const fn tempo(&self) -> Option<Tempo> {
        match self {
            Self::Box { tempo, .. } | Self::MeetsNobody { tempo, .. } | Self::Apart { tempo, .. } => Some(*tempo),
            Self::Unplayable(_) | Self::Knot { .. } => None,
        }
    }

    /// Whether all is well as things usually go.
    pub(super) const fn is_risk(&self) -> bool {
        matches!(self, Self::Box { what: BoxFault::AtRisk { .. }, .. })
    }
}

/// How much is wrong: most for who plays another step or not at all, less for who is too far from others, least for who is at risk.
/// Of two that are apart, who is apart from more counts, so that one late box is one fault, from however many it is apart.
pub(super) fn weight<'f>(faults: impl Iterator<Item = &'f Fault>) -> u64 {
    let (mut sum, mut apart) = (0, Vec::new());
    for fault in faults {
        match fault {
            Fault::Unplayable(_) => sum += 1000,
            Fault::Box { .. } if fault.is_risk() => sum += 1,
            Fault::Box { .. } | Fault::MeetsNobody { .. } => sum += 3,
            Fault::Apart { between, .. } => apart.push(*between),
            Fault::Knot { pairs } => apart.extend(pairs),
        }
    }
    while let Some(worst) = apart.iter().flatten().copied().max_by_key(|&player| {
        let count = apart.iter().filter(|between| between.contains(&player)).count();
        (count, std::cmp::Reverse(player))
    }) {
        apart.retain(|between| !between.contains(&worst));
        sum += 2;
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: one box apart from three is one fault, two pairs of four are two; who misses the one counts more than either.
    #[test]
    fn a_late_box_is_one_fault() {
        let tempo = Tempo::whole(100);
        let apart = |a, b| Fault::Apart { between: [a, b], tempo, gap: Span::ZERO, over: None };
        let misses = Fault::Box { sequencer: 3, tempo, what: BoxFault::MissesTheOne { pulses_late: 1 } };
        let of = |faults: &[Fault]| weight(faults.iter());
        assert_eq!(of(&[apart(0, 3), apart(1, 3), apart(2, 3)]), of(&[apart(0, 3)]));
        assert_eq!(of(&[apart(0, 1), apart(2, 3)]), 2 * of(&[apart(0, 1)]));
        assert!(of(&[misses]) > of(&[apart(0, 3), apart(1, 3)]));
        assert_eq!(of(&[]), 0);
    }
}
