//! Variants: what fixes and changes set, and the rig that comes of it.

pub(super) mod apply;
pub(super) mod build;
pub(super) mod course;
pub(super) mod refit;
