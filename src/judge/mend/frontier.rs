//! The sets that fail, and what may be added to each: those of one level are what the next one is made of.

use super::set::{Set, packed, unpacked};

/// Sets with their costs and children, close together: there may be millions.
#[derive(Clone, Debug, Default)]
pub(super) struct Frontier {
    /// Each set as a word, its cost, and where its children end.
    open: Vec<(u64, u64, usize)>,
    children: Vec<u16>,
}

/// So many children are kept; some 400 MB.
const MOST_CHILDREN: usize = 200_000_000;

impl Frontier {
    pub(super) fn add(&mut self, set: &[u16], cost: u64, children: &[u16]) {
        self.children.extend_from_slice(children);
        self.open.push((packed(set.iter().copied()), cost, self.children.len()));
    }

    /// How many children there are.
    pub(super) const fn children(&self) -> u64 {
        self.children.len() as u64
    }

    /// Whether as much is kept as may be.
    pub(super) const fn is_full(&self) -> bool {
        self.children.len() > MOST_CHILDREN
    }

    /// Each set, its cost and its children, in the order in which they came.
    pub(super) fn iter(&self) -> impl Iterator<Item = (Set, u64, &[u16])> {
        let mut from = 0;
        self.open.iter().map(move |&(set, cost, to)| {
            let children = &self.children[from..to];
            from = to;
            (unpacked(set).collect(), cost, children)
        })
    }
}
