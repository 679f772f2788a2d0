//! What a sound file says of itself.

use super::output_folder::FileSpec;
use crate::sound::render::Info;
use std::path::Path;

impl FileSpec {
    /// What the file says of itself: what it is called, and what made it.
    pub(super) fn info(&self, seed: u64) -> Info {
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
