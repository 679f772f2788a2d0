//! From hits to cues: which voice sounds, how loud, and from where. No audio is touched here.

mod ensemble;
mod sheet;
mod turns;

pub(crate) use ensemble::factor;
pub use ensemble::{Ensemble, Seating};
pub use sheet::Sheet;
pub use turns::{EARLY, Turn, begin, excerpt, turns};
