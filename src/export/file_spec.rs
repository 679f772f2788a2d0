//! A file to be made, and what its entry says.

use crate::sound::render::{Channels, Info};
use crate::store::Kind;
use crate::time::Tempo;
use std::path::Path;

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
    /// What it is called, for people: the patch's title.
    pub title: Option<String>,
    /// What it holds where no patch stands behind it.
    pub about: Option<String>,
}

impl FileSpec {
    /// A file that no patch stands behind.
    #[must_use]
    pub fn bare(name: String, kind: Kind, command: &'static str, tempo: Option<Tempo>, channels: Channels) -> Self {
        let tempo_bpm = tempo.map(Tempo::bpm);
        Self {
            name,
            kind,
            command,
            patch: None,
            variant: None,
            sequencer: None,
            tempo_bpm,
            run: None,
            channels,
            title: None,
            about: None,
        }
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

    /// What the file says of itself: what it is called, and what made it.
    #[must_use]
    pub fn info(&self, seed: u64) -> Info {
        let stem =
            self.patch.as_ref().and_then(|p| Path::new(&p.0).file_stem()).map(|s| s.to_string_lossy().into_owned());
        let bare = || self.name.trim_end_matches(".wav").to_owned();
        let what = self.about.clone().or(stem).unwrap_or_else(bare);
        let mut comment = what.clone();
        let mut say = |some: Option<String>| some.iter().for_each(|some| comment.extend([", ", some]));
        say(self.variant.as_ref().map(|name| format!("variant {name}")));
        say(self.sequencer.as_ref().map(|name| format!("{name} alone")));
        say(self.tempo_bpm.map(|tempo| format!("{tempo} quarter notes a minute")));
        say(self.run.map(|run| format!("run {run}")));
        // From the seed of a class's trials their answers could be worked out.
        say((self.command != "train").then(|| format!("seed {seed}")));
        Info { title: self.title.clone().unwrap_or(what), comment }
    }
}
