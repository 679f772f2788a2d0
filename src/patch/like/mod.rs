//! `like`: what a kind of box says, filled into the tables of the sequencers that are like it, before anything is read.

mod bench;
mod fill;
mod kit;
mod known;
mod merge;
mod set;

pub(in crate::patch) use bench::read;
pub use kit::box_kinds;
pub(in crate::patch) use merge::merged;
