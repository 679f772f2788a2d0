//! Who watches a search, and how it tells.

use std::sync::atomic::AtomicBool;

/// Who watches a search.
#[derive(Clone, Copy)]
pub struct Watch<'a> {
    /// Is told how a level goes on.
    pub progress: &'a (dyn Fn(Progress) + Sync),
    /// Is told every set that passes, as offers of the catalogue.
    pub found: &'a (dyn Fn(&[u16]) + Sync),
    /// Is told what was judged anew: how many sets, and their verdicts as bytes. All of these, one after the other, are what a
    /// search that goes on is handed as `known`.
    pub judged: &'a (dyn Fn(usize, &[u8]) + Sync),
    /// The verdicts of an earlier search for the same, as far as that went.
    pub known: &'a [u8],
    /// So many sets are judged anew at the most.
    pub limit: Option<u64>,
    /// Once it is set, the search ends with what it has.
    pub cancel: &'a AtomicBool,
}

/// How far a search is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// How many changes the sets have that are looked at now.
    pub changes: usize,
    /// How many of them have been dealt with.
    pub done: u64,
    /// How many there are at the most.
    pub of: u64,
    /// How many sets pass so far.
    pub found: usize,
}

static NEVER: AtomicBool = AtomicBool::new(false);

impl Watch<'static> {
    /// A watch of nobody.
    #[must_use]
    pub fn nobody() -> Self {
        Self { progress: &|_| {}, found: &|_| {}, judged: &|_, _| {}, known: &[], limit: None, cancel: &NEVER }
    }
}

impl std::fmt::Debug for Watch<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Watch").finish_non_exhaustive()
    }
}
