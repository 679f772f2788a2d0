//! From hits to sound: what is to be played, when and how loud (`score`), and the bytes of it (`render`). On these stand whole
//! pieces to listen to: a `comparison`, its `loops` on a page, the cells of a `grid`, a `flam`, the `class_audio` of a class pack,
//! the `reel` of a lesson.

pub mod class_audio;
pub mod comparison;
pub mod flam;
pub mod grid;
pub mod loops;
pub mod reel;
pub mod render;
pub mod score;
