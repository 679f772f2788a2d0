//! What a file is checked with: its tree with places, its named tables, and faults that point into it.

pub(super) mod diagnose;
pub(super) mod fault;
mod mend;
mod mend_value;
pub(super) mod node;
pub(super) mod show;
pub(super) mod unused;
pub(super) mod view;
