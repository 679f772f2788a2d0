//! From the text of a patch to a checked [`Patch`].

mod model;

pub use model::*;
