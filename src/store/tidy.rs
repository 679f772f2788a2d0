//! What earlier runs left.

use super::Store;
use super::entry::Entry;
use super::error::{Act, StoreError};
use super::lock::Lock;
use super::manifest::Manifest;
use super::standing::Standing;
use std::fs;

/// What became of files that were to be removed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Tidied {
    /// Those that are gone.
    pub removed: Vec<String>,
    /// Those that were changed since they were made, and stay.
    pub changed: Vec<String>,
}

impl Store {
    /// The files of earlier runs that are there and of which `is_of` says so, but for those of these names: by the manifest, without
    /// reading them.
    ///
    /// # Errors
    ///
    /// When folder or manifest cannot be read.
    pub fn left_over(&self, made: &[String], is_of: impl Fn(&Entry) -> bool) -> Result<Vec<String>, StoreError> {
        let folded = |name: &str| if self.folder.ignores_case { name.to_lowercase() } else { name.to_owned() };
        let made: std::collections::BTreeSet<String> = made.iter().map(|name| folded(name)).collect();
        let mut left = Vec::new();
        for entry in Manifest::read(&self.folder.dir)?.files.into_values() {
            let there = !made.contains(&folded(&entry.file)) && is_of(&entry);
            if there && self.folder.found(&entry.file)?.is_some_and(|found| found.is_file()) {
                left.push(entry.file);
            }
        }
        Ok(left)
    }

    /// Removes files that are just as the manifest says, by their checksums; all others stay: those that it does not list, those
    /// that were changed, and whatever is no file.
    ///
    /// A run that dies between leaves entries of files that are gone, which the next one drops.
    ///
    /// # Errors
    ///
    /// When a file cannot be read or removed, or the manifest cannot be written.
    pub fn tidy(&self, names: &[String]) -> Result<Tidied, StoreError> {
        let _lock = Lock::take(&self.folder.dir)?;
        let _gate = self.traces.enter();
        let mut manifest = Manifest::read(&self.folder.dir)?;
        let mut tidied = Tidied::default();
        for name in names {
            // Read now, whatever was read before.
            match self.folder.look(name, &manifest, None)? {
                Standing::Own(_) => {
                    let path = self.folder.dir.join(name);
                    fs::remove_file(&path).map_err(|e| StoreError::io(Act::Remove, &path, e))?;
                    manifest.files.remove(name);
                    tidied.removed.push(name.clone());
                }
                Standing::Foreign(_) => tidied.changed.push(name.clone()),
                Standing::Absent => {}
            }
        }
        if !tidied.removed.is_empty() {
            manifest.write(&self.folder.dir, &self.run)?;
        }
        Ok(tidied)
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Facts, Kind};
    use super::*;
    use std::error::Error;
    use std::io::Write;
    use std::path::Path;

    fn put(store: &Store, name: &str, command: &str) -> Result<(), Box<dyn Error>> {
        let draft = store.begin(name)?;
        draft.file().write_all(name.as_bytes())?;
        draft.commit(Facts::silent(Kind::Page, command, Some(("p.toml".into(), "0".repeat(64))), 1))?;
        Ok(())
    }

    fn listed(dir: &Path) -> Result<Vec<String>, Box<dyn Error>> {
        Ok(Manifest::read(dir)?.files.into_keys().collect())
    }

    #[test]
    fn what_is_as_the_manifest_says_goes_and_nothing_else() -> Result<(), Box<dyn Error>> {
        let dir = tempfile::tempdir()?;
        let dir = dir.path();
        {
            let store = Store::open(dir, false)?;
            for name in ["made.html", "stale.html", "same-size.html", "longer.html", "gone.html", "now-a-folder.html"] {
                put(&store, name, "compare")?;
            }
            put(&store, "of-another.html", "render")?;
        }
        fs::write(dir.join("same-size.html"), "SAME-SIZE.HTML")?;
        fs::write(dir.join("longer.html"), "longer.html and more")?;
        fs::remove_file(dir.join("gone.html"))?;
        fs::remove_file(dir.join("now-a-folder.html"))?;
        fs::create_dir(dir.join("now-a-folder.html"))?;
        fs::write(dir.join("foreign.html"), "foreign.html")?;
        let store = Store::open(dir, false)?;
        let left = store.left_over(&["made.html".to_owned()], |entry| entry.facts.command == "compare")?;
        assert_eq!(left, ["longer.html", "same-size.html", "stale.html"]);
        let more = ["foreign.html", "now-a-folder.html", "gone.html"].map(str::to_owned);
        let tidied = store.tidy(&[left, more.to_vec()].concat())?;
        assert_eq!(tidied.removed, ["stale.html"]);
        assert_eq!(tidied.changed, ["longer.html", "same-size.html", "foreign.html", "now-a-folder.html"]);
        for name in
            ["made.html", "same-size.html", "longer.html", "foreign.html", "now-a-folder.html", "of-another.html"]
        {
            assert!(dir.join(name).exists(), "{name}");
        }
        assert!(!dir.join("stale.html").exists());
        let listed = listed(dir)?;
        assert!(!listed.contains(&"stale.html".to_owned()) && listed.contains(&"made.html".to_owned()), "{listed:?}");
        Ok(())
    }

    #[cfg(unix)]
    #[test]
    fn a_link_that_stands_in_its_place_stays_and_so_does_where_it_leads() -> Result<(), Box<dyn Error>> {
        let dir = tempfile::tempdir()?;
        let (dir, elsewhere) = (dir.path().join("out"), dir.path().join("mine.html"));
        let store = Store::open(&dir, false)?;
        put(&store, "stale.html", "compare")?;
        fs::rename(dir.join("stale.html"), &elsewhere)?;
        std::os::unix::fs::symlink(&elsewhere, dir.join("stale.html"))?;
        assert_eq!(store.tidy(&["stale.html".to_owned()])?.removed, Vec::<String>::new());
        assert!(elsewhere.exists() && dir.join("stale.html").exists());
        Ok(())
    }
}
