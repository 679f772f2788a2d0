//! From the text of a patch to a checked [`Patch`].
//!
//! The text becomes a tree with places ([`toml`] reads it), fixes change a view of that tree, and each view is read into
//! a [`Rig`]. Every fault of a file is told at once, pointing at what is wrong.

mod chapter;
mod check;
mod decimal;
mod edit;
mod fix;
mod like;
mod model;
mod outline;
mod parse;
mod read;
mod table;
mod variants;
mod ways;

pub use check::fault::{Fault, Faults, VariantError};
pub use check::node::LARGEST_FILE;
pub use check::show::{is_unsafe, nearest, shown, tamed_json};
pub use edit::{Edit, EditError, NewFix, Part, WithFix, Worth, edited, fix_lines, with_fix};

pub use like::box_kinds;
pub use model::*;
pub use outline::{Entry, Own, Sight, Slot, Stand};
pub use parse::{ORIGINAL, Patch};
pub use read::box_kind::{BoxKind, BoxKinds};
pub use read::file_kind::{FileKind, OtherKind, may_be_patch, other_kind};
pub use read::kit::{kit, kit_about};
pub use read::lesson::{Chapter, ChapterContent, FlamSetting, Lesson, PatchSetting, Spot};
pub use read::top::Asked;
pub use read::{pattern, quantity};
pub use table::{SCHEMA, keys, reference};
