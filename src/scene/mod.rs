//! From a rig to the figures that a picture shows. Pure: what is drawn is what the simulator and the renderer made.

mod gaps;

pub use gaps::gap_picture;
