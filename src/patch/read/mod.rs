//! From the tree of a file to the model: a file for each table and for each sort of value.

pub(super) mod box_kind;
pub(super) mod change;
pub(super) mod component;
pub(super) mod fields;
pub(super) mod file_kind;
pub(super) mod kinds;
pub(super) mod kit;
pub(super) mod lesson;
mod lesson_keys;
pub(super) mod output;
pub(super) mod path;
pub mod pattern;
pub(super) mod quantities;
pub mod quantity;
pub(super) mod sequencer;
pub(super) mod set;
pub(super) mod stage;
pub(super) mod tables;
pub(super) mod take;
pub(super) mod tempo;
pub(super) mod tempo_map;
pub(super) mod top;
pub(super) mod top_keys;
pub(super) mod values;
pub(super) mod voice;
pub(super) mod wire;
pub(super) mod words;
