//! Pages: one file that opens by a double click, on a phone or a laptop, and asks the network for nothing.
//!
//! A page holds no recordings. It holds the kit's masters, as 16-bit numbers, and the hits of every version with all their
//! picoseconds, and mixes them as the renderer does: so it stays small, loops without a seam at any length, and every
//! version is at hand at once. A test holds what a browser mixes against what the renderer writes.
//!
//! A lesson is several of them in one file, a chapter each, with a teacher's text.

mod answer_sheet;
mod basket;
mod frame;
mod gallery;
mod identify;
mod lesson;
mod listen;
mod markdown;
mod measured;
mod modules;
mod song_card;
mod sounds;
mod train;

pub use answer_sheet::{answer_sheet, key_sheet};
pub use basket::shop_section;
pub use frame::escape;
pub use gallery::{GalleryRig, gallery_page};
pub use identify::{IdentifySection, IdentifyTest, IdentifyWay, identify_section};
pub use lesson::{LARGEST_PAGE, LessonPage, PageChapter, lesson_page, over_largest};
pub use listen::{
    BUDGET, Cell, Drawn, ListeningPage, PagePlayer, PageTempo, PageVariant, ServedMoment, ServedPage, ServedParts,
    listening_page, over_budget, served_moment, served_page, served_parts, served_picture,
};
pub use markdown::markdown;
pub use measured::measured_page;
pub use song_card::song_card;
pub use sounds::PageVoice;
pub use train::{TrainingBar, TrainingHit, TrainingPage, training_page};
