//! From the text of a patch to a checked [`Patch`].

mod decimal;
mod model;
pub mod quantity;
mod show;

pub use model::*;
pub use show::shown;
