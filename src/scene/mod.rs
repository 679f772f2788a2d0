//! From a rig to the figures that a picture shows. Pure: what is drawn is what the simulator and the renderer made.

mod gaps;
mod moment;
mod timing;

pub use gaps::gap_picture;
pub use moment::{Moment, moment};
pub use timing::timing_picture;
