//! What is made of the table of keys: the JSON Schema, and the pages of reference.

mod boxes_page;
mod pattern;
pub mod reference;
mod schema;
mod shape;

pub use schema::SCHEMA;

use crate::patch::model::Keys;
use crate::patch::read::top_keys;

/// The table of keys: those at the top of a patch, and through them all others.
#[must_use]
pub fn keys() -> &'static Keys {
    &top_keys::KEYS
}
