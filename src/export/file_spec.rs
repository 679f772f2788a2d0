//! A file to be made, and what its entry says.

use crate::sound::render::Channels;
use crate::store::Kind;
use crate::time::Tempo;

/// A file to be made.
#[derive(Clone, Debug)]
pub struct FileSpec {
    /// Its name in the folder.
    pub name: String,
    /// What it holds.
    pub kind: Kind,
    /// The command that makes it.
    pub command: &'static str,
    /// The patch's path and the checksum of its text.
    pub patch: Option<(String, String)>,
    /// Which variant is heard, where there is a patch.
    pub variant: Option<String>,
    /// Whose part it is, for a stem.
    pub sequencer: Option<String>,
    /// Quarter notes a minute.
    pub tempo_bpm: Option<f64>,
    /// Which run's draws it plays; `None` for the typical run.
    pub run: Option<u64>,
    /// Mono from the centre, or stereo.
    pub channels: Channels,
}

impl FileSpec {
    /// A file that no patch stands behind.
    #[must_use]
    pub fn bare(name: String, kind: Kind, command: &'static str, tempo: Option<Tempo>, channels: Channels) -> Self {
        let tempo_bpm = tempo.map(Tempo::bpm);
        Self { name, kind, command, patch: None, variant: None, sequencer: None, tempo_bpm, run: None, channels }
    }

    /// A file of a variant, from the centre. The patch is given as [`Loaded::origin`](crate::source::Loaded::origin) tells it.
    #[must_use]
    pub fn of_variant(
        name: String,
        kind: Kind,
        command: &'static str,
        (patch, variant): (&(String, String), &str),
        tempo: Option<Tempo>,
    ) -> Self {
        let (patch, variant) = (Some(patch.clone()), Some(variant.to_owned()));
        Self { patch, variant, ..Self::bare(name, kind, command, tempo, Channels::Mono) }
    }
}
