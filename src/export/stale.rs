//! What earlier runs left and this one does not make any more.

use super::{ExportError, OutputFolder};
use crate::store::Entry;
use crate::text::plain;

impl OutputFolder {
    /// Looks for files of earlier runs that this one does not make any more, and says or, where that is asked for, removes them.
    /// `remove` is whether it is asked for, `made` are the files of this run; `is_of` says of which entries it would be.
    ///
    /// # Errors
    /// Where the folder cannot be read, or a file not be removed.
    pub fn tidy(&self, remove: bool, made: &[String], is_of: impl Fn(&Entry) -> bool) -> Result<(), ExportError> {
        let left = self.store().left_over(made, is_of)?;
        if left.is_empty() {
            return Ok(());
        }
        let dir = plain(&self.store().dir().display().to_string());
        if !remove {
            let (files, they) = if left.len() == 1 { ("a file", "it") } else { ("files", "them") };
            self.say(&format!(
                "note: {dir} has {files} of earlier runs that this one does not make: {}; --tidy removes {they}",
                few(&left)
            ));
            return Ok(());
        }
        let tidied = self.store().tidy(&left)?;
        if !tidied.removed.is_empty() {
            self.say(&format!("removed from {dir}, left by earlier runs: {}", few(&tidied.removed)));
        }
        if !tidied.changed.is_empty() {
            self.say(&format!("note: changed since it was made, and left as it is: {}", few(&tidied.changed)));
        }
        Ok(())
    }
}

/// Names for a sentence; past some, the rest is counted.
fn few(names: &[String]) -> String {
    const MOST: usize = 6;
    let said = names.iter().take(MOST).map(|name| plain(name)).collect::<Vec<_>>().join(", ");
    if names.len() > MOST { format!("{said} and {} more", names.len() - MOST) } else { said }
}

/// Whether a file is one of a command's own of a patch: of this run of chance, or of the typical one.
#[must_use]
pub fn is_of(entry: &Entry, command: &str, patch: &str, run: Option<u64>) -> bool {
    let bare = |path: &str| path.strip_prefix("./").unwrap_or(path).to_owned();
    let of_patch = entry.facts.patch.as_deref().is_some_and(|made_from| bare(made_from) == bare(patch));
    entry.facts.command == command && of_patch && entry.facts.run == run
}
