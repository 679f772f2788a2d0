//! From a rig, or a listener's answers, to the figures that a picture shows. Pure: what is drawn is what the simulator and the
//! renderer made.

mod gaps;
mod moment;
mod spread;
mod timing;
mod training;
mod wave;
mod window;

pub use gaps::{TEMPOS_BESIDE, gap_picture, tempo_range};
pub use moment::{Moment, moment};
pub use spread::spread_picture;
pub use timing::timing_picture;
pub use training::{class_picture, curve_picture, track_picture};
pub use wave::{Meeting, Played, WaveError, meeting, wave_picture};
pub use window::window_picture;
