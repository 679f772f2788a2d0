//! What commands make as files: sound, pages and pictures, rendered on all cores into one folder, whole or not at all.
//!
//! A file's bytes depend on the patch, variant, tempo, seed and sound settings, never on what else the run makes.
//!
//! ```
//! use hitgap::export::{Destination, Draw, Renders, Silent, SoundSettings, renders};
//! use hitgap::source::{Talk, Wanted, load};
//! use hitgap::time::Span;
//! use std::path::Path;
//! use std::sync::Arc;
//!
//! let talk = Talk { color: false, say: |warning| eprintln!("{warning}") };
//! let loaded = load(Path::new("patches/thin-ice.toml"), Wanted { bars: Some(1), ..Wanted::default() }, talk)?;
//! let folder = tempfile::tempdir()?;
//! let sound = SoundSettings { sample_rate: 8_000, bits: 16, seed: 1, lead_in: Span::from_ms(100) };
//! let to = Destination { dir: folder.path().to_owned(), overwrite: false, sound, progress: Arc::new(Silent) };
//! let variants = std::slice::from_ref(&loaded.patch.original);
//! let files = renders(&Renders { loaded: &loaded, variants, stems: true, draw: Draw(None), tidy: false }, &to)?;
//! // At every tempo a mix, and each player alone.
//! assert_eq!(files.len(), loaded.patch.tempos.len() * (1 + loaded.patch.original.rig.players()));
//! assert!(files.iter().all(|file| file.is_file()));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod advice_page;
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
mod readings_page;
mod reel;
mod renders;
mod settings;
mod stale;
mod trials;
mod workbench;

pub use advice_page::AdvicePage;
pub use album::{hang, put};
pub use class_pack::{ClassPack, class_pack};
pub use comparison::{ComparisonAsked, ComparisonFiles, comparison, comparison_listening};
pub use error::ExportError;
pub use file_spec::FileSpec;
pub use flams::{FlamAsked, Flams, flam_listening, flams};
pub use folder::OutputFolder;
pub use grid::{ChosenCells, GridAsked, GridFiles, grid_files};
pub use kit_alone::kit_alone;
pub use progress::{Progress, Silent};
pub use readings_page::ReadingsPage;
pub use reel::{reel, reel_masters, reel_work};
pub use renders::{Renders, renders};
pub use settings::{Destination, Draw, SoundSettings};
pub use stale::is_of;
pub use trials::{TrialFiles, trial_files};
pub use workbench::{Depth, Laid, Workbench};
