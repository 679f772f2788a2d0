use crate::judge::Judged;
use crate::judge::Reason::{self, GapTooLarge, MissesTheOne};
use crate::time::Span;
use std::cmp::Reverse;

/// Who is off the one and why, in the order in which all that has no room for everybody names them: the furthest off in time first, as
/// they stand in the patch where that is the same.
pub(super) fn furthest_first<'a>(judged: &'a Judged<'_>) -> Vec<&'a Reason> {
    let off = judged.verdict.reasons.iter().filter(|reason| !matches!(reason, GapTooLarge { .. }));
    let size = |reason: &Reason| match *reason {
        MissesTheOne { off_by, .. } => off_by.map(Span::abs),
        _ => None,
    };
    let mut all: Vec<&Reason> = off.collect();
    all.sort_by_key(|reason| Reverse(size(reason)));
    all
}
