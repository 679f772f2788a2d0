//! From hits to cues: which voice sounds, how loud, and from where. No audio is touched here.

mod bar;
mod bars;
mod cue_list;
mod duo;
mod ensemble;
mod passage;
mod players;
mod rendition;
mod segments;
mod signpost;
mod trial;

pub use bar::{Bar, BarHit};
pub use bars::{Bars, Version};
pub use cue_list::CueList;
pub use duo::Duo;
pub use ensemble::{Cast, Ensemble, Seating};
pub use passage::Passage;
pub use players::{players, solos, stroke};
pub use rendition::{MOST_KEPT, Part, Rendition};
pub use segments::{Segment, excerpt, segments};
pub use signpost::Signpost;
pub use trial::{trial, trial_hits};
