//! From the text of a patch to a checked [`Patch`].
//!
//! The text becomes a tree with places ([`toml`] reads it), fixes change a view of that tree, and each view is read into
//! a [`Rig`]. Every fault of a file is told at once, pointing at what is wrong.

mod build;
mod change;
mod chapter;
mod component;
mod decimal;
mod diagnose;
mod fault;
mod fields;
mod file_kind;
mod fix;
mod kit;
mod lesson;
mod measure;
mod model;
mod node;
mod output;
mod parse;
mod path;
pub mod pattern;
pub mod quantity;
mod refit;
mod schema;
mod sequencer;
mod sheet;
mod show;
mod stage;
mod take;
mod tempo_map;
mod top;
mod view;
mod voice;
mod ways;
mod wire;

pub use fault::{Fault, Faults, VariantError};
pub use file_kind::{FileKind, OtherKind, may_be_patch, other_kind};
pub use kit::{kit, kit_about};
pub use lesson::{Chapter, FlamSetting, Lesson, PatchSetting, Played, Spot};
pub use model::*;
pub use parse::{LARGEST_FILE, ORIGINAL};
pub use schema::SCHEMA;
pub use show::{is_unsafe, shown, tamed_json};
pub use top::Asked;
