//! What commands make as files: sound, pages and pictures, rendered on all cores into one folder, whole or not at all.
//!
//! A file's bytes depend on the patch, variant, tempo, seed and sound settings, never on what else the run makes.

mod album;
mod class_pack;
mod comparison;
mod error;
mod file_spec;
mod flams;
mod folder;
mod grid;
mod kit_alone;
mod progress;
mod renders;
mod settings;
mod stale;
mod trials;

pub use album::hang;
pub use class_pack::{ClassPack, class_pack};
pub use comparison::{ComparisonAsked, ComparisonFiles, comparison, comparison_listening};
pub use error::ExportError;
pub use file_spec::FileSpec;
pub use flams::{FlamAsked, Flams, flam_listening, flams};
pub use folder::OutputFolder;
pub use grid::{ChosenCells, GridAsked, GridFiles, grid_files};
pub use kit_alone::kit_alone;
pub use progress::Progress;
pub use renders::{Renders, renders};
pub use settings::{Destination, Draw, SoundSettings};
pub use stale::is_of;
pub use trials::trial_files;
