use crate::judge::Judged;
use crate::judge::Reason::{self, GapTooLarge, MissesTheOne, NeverPlays, PairsWithNothing};
use crate::time::Span;
use std::cmp::Reverse;

/// Who is off the one and why, in the order in which all that has no room for everybody names them: who never plays, then the furthest off in
/// time, then who meets nobody, which is often the fault of another; as they stand in the patch where that is the same.
pub(super) fn furthest_first<'a>(judged: &'a Judged<'_>) -> Vec<&'a Reason> {
    let off = judged.verdict.reasons.iter().filter(|reason| !matches!(reason, GapTooLarge { .. }));
    let rank = |reason: &Reason| match *reason {
        NeverPlays { .. } => (0, Reverse(None)),
        MissesTheOne { off_by, .. } => (1, Reverse(off_by.map(Span::abs))),
        PairsWithNothing { .. } | GapTooLarge { .. } => (2, Reverse(None)),
    };
    let mut all: Vec<&Reason> = off.collect();
    all.sort_by_key(|reason| rank(reason));
    all
}
