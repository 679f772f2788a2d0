//! From a rig, or a listener's answers, to the figures that a picture shows. Pure: what is drawn is what the simulator and the
//! renderer made, and so is what a listening page plays.

mod advise_page;
mod basket;
mod flam;
mod gaps;
mod grid;
mod identify_page;
mod listening;
mod measured;
mod moment;
mod onset;
mod reel;
mod spread;
mod timing;
mod trainer;
mod training;
mod wave;
mod window;

pub use advise_page::{advice_window, advise_page, part_variants, ranked};
pub use basket::{MOST_HEARD, basket_page, basket_variants};
pub use flam::{FLAM_MAX_GAP, FlamPage, flam_page};
pub use gaps::{TEMPOS_BESIDE, gap_picture, tempo_range};
pub use grid::{GridRow, grid_page};
pub use identify_page::{Tried, identify_page, reading_variants};
pub use listening::{AS_SAVED, PageSource, Versions, comparison_page, page_voices};
pub use measured::{beginning_picture, late_picture, measured_spread, shot_picture};
pub use moment::{Moment, moment};
pub use onset::onset_picture;
pub use reel::reel_part;
pub use spread::spread_picture;
pub use timing::timing_picture;
pub use trainer::trainer;
pub use training::{class_picture, curve_picture, track_picture};
pub use wave::{Meeting, Performed, WaveError, meeting, wave_picture};
pub use window::window_picture;

use std::sync::atomic::AtomicBool;

/// For pictures that nobody gives up.
pub static NEVER: AtomicBool = AtomicBool::new(false);
