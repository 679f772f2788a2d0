//! From hits to sound: what is to be played, when and how loud (`score`), and the bytes of it (`render`).

pub mod render;
pub mod score;
