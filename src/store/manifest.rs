//! `manifest.json`: what hitgap made in a folder.

use super::entry::Entry;
use super::error::{Act, StoreError};
use super::plain_file::{self, Opened};
use super::run::Run;
use super::{MANIFEST, entry::FORMAT, name};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::collections::BTreeMap;
use std::fs::OpenOptions;
use std::io::{self, Read, Write};
use std::path::Path;
use tempfile::TempPath;

/// Who says so in the manifest: the program's name, a blank and its version.
const MADE_BY: &str = concat!("hitgap ", env!("CARGO_PKG_VERSION"));
/// No manifest of ours is larger: room for some hundred thousand files. What is, is not read to its end.
const LARGEST: u64 = 64 << 20;

/// The files of a folder by name.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Manifest {
    pub(super) files: BTreeMap<String, Entry>,
    /// Files about to get their names, written before they do. A run that dies between leaves either the old file or
    /// the new under the name, and both are listed: whichever it is, it is recognised and [`Manifest::settle`] says so.
    pub(super) intents: BTreeMap<String, Entry>,
    later: BTreeMap<String, Value>,
}

/// The manifest as it is written. No times of day and no paths but the user's own: equal runs write equal manifests.
#[derive(Serialize, Deserialize)]
struct Page {
    format: u64,
    made_by: String,
    files: Vec<Entry>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    intents: Vec<Entry>,
    #[serde(flatten)]
    later: BTreeMap<String, Value>,
}

/// So much of a page that says whose it is.
#[derive(Deserialize)]
struct Head {
    format: Option<Value>,
    made_by: Option<Value>,
}

impl Manifest {
    /// Reads the folder's manifest; none is an empty one. It is replaced whole, so that reading needs no lock.
    pub(super) fn read(dir: &Path) -> Result<Self, StoreError> {
        let path = dir.join(MANIFEST);
        let fail = |e| StoreError::io(Act::Read, &path, e);
        let file = match plain_file::open(OpenOptions::new().read(true), &path, true) {
            Ok(Opened::File(file)) => file,
            Ok(Opened::Odd(what)) => {
                return Err(StoreError::ManifestForeign { path, found: format!("it is {what}, which may never end") });
            }
            Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(Self::default()),
            Err(e) => return Err(fail(e)),
        };
        let mut bytes = Vec::new();
        file.take(LARGEST + 1).read_to_end(&mut bytes).map_err(fail)?;
        if bytes.len() as u64 > LARGEST {
            let found = format!("it is larger than {} MiB", LARGEST >> 20);
            return Err(StoreError::ManifestForeign { path, found });
        }
        Self::parse(&bytes, &path)
    }

    fn parse(bytes: &[u8], path: &Path) -> Result<Self, StoreError> {
        let broken = |found: String| StoreError::ManifestBroken { path: path.to_path_buf(), found };
        let foreign = |found: &str| StoreError::ManifestForeign { path: path.to_path_buf(), found: found.into() };
        // Asked in this order, so that a stranger's file is called foreign and not damaged, and one of a later
        // version neither, whatever its files look like.
        let head: Head = serde_json::from_slice(bytes).map_err(|e| match e.is_data() {
            true => foreign("it is another kind of JSON"),
            false => broken(format!("it is not JSON: {e}")),
        })?;
        let Some(maker) = head.made_by else { return Err(foreign("it has no `made_by`")) };
        if !maker.as_str().is_some_and(|maker| maker.starts_with("hitgap ")) {
            return Err(foreign(&format!("it was made by {maker}")));
        }
        match head.format.as_ref().map(Value::as_u64) {
            Some(Some(FORMAT)) => {}
            Some(Some(format)) if format > FORMAT => {
                return Err(StoreError::ManifestNewer { path: path.to_path_buf(), format });
            }
            _ => return Err(broken("its `format` is not a number from 1".into())),
        }
        let page: Page = serde_json::from_slice(bytes).map_err(|e| broken(e.to_string()))?;
        let by_name = |entries: Vec<Entry>| {
            let mut named = BTreeMap::new();
            for entry in entries {
                if let Some(fault) = name::portable(&entry.file) {
                    return Err(broken(format!("it lists a file `{}`: {fault}", entry.file)));
                }
                if let Some(twice) = named.insert(entry.file.clone(), entry) {
                    return Err(broken(format!("it lists `{}` twice", twice.file)));
                }
            }
            Ok(named)
        };
        Ok(Self { files: by_name(page.files)?, intents: by_name(page.intents)?, later: page.later })
    }

    /// The manifest's text: indented JSON, files sorted by name.
    fn text(&self) -> io::Result<String> {
        let page = Page {
            format: FORMAT,
            made_by: MADE_BY.into(),
            files: self.files.values().cloned().collect(),
            intents: self.intents.values().cloned().collect(),
            later: self.later.clone(),
        };
        Ok(serde_json::to_string_pretty(&page)? + "\n")
    }

    /// Replaces the folder's manifest. Its lock must be held, and `self` must have been read under it.
    ///
    /// Written aside, sent to the disk, then renamed: a reader, a kill or a power cut meets the old or the new one. The
    /// wait for the disk is worth it even for this small file, since a damaged manifest would stop every later run.
    pub(super) fn write(&self, dir: &Path, run: &Run) -> Result<(), StoreError> {
        let path = dir.join(MANIFEST);
        let fail = |e| StoreError::io(Act::Write, &path, e);
        let text = self.text().map_err(fail)?;
        let part = run.part(dir);
        let mut file = OpenOptions::new().write(true).create_new(true).open(&part).map_err(fail)?;
        let part = TempPath::try_from_path(part).map_err(fail)?;
        file.write_all(text.as_bytes()).and_then(|()| file.sync_all()).map_err(fail)?;
        drop(file);
        part.persist(&path).map_err(|e| fail(e.error))
    }

    /// What is listed under a name, or about to be.
    pub(super) fn listed(&self, name: &str, ignore_case: bool) -> impl Iterator<Item = &Entry> {
        self.files.values().chain(self.intents.values()).filter(move |e| same_name(&e.file, name, ignore_case))
    }

    /// Whether a run died between saying what it would put in place and saying that it did.
    pub(super) fn has_intents(&self) -> bool {
        !self.intents.is_empty()
    }

    /// Notes a file that is about to get its name.
    pub(super) fn intend(&mut self, entry: Entry) {
        self.intents.insert(entry.file.clone(), entry);
    }

    /// Notes that the file has its name now.
    pub(super) fn fulfil(&mut self, name: &str, ignore_case: bool) {
        if let Some(entry) = self.intents.remove(name) {
            self.files.retain(|other, _| !same_name(other, name, ignore_case));
            self.files.insert(entry.file.clone(), entry);
        }
    }

    /// Takes back that a file was to get a name that nothing had, or was to replace what had it.
    pub(super) fn forget(&mut self, name: &str) {
        if self.intents.remove(name).is_none() {
            self.files.remove(name);
        }
    }
}

fn same_name(a: &str, b: &str, ignore_case: bool) -> bool {
    a == b || ignore_case && a.to_lowercase() == b.to_lowercase()
}

#[cfg(test)]
mod tests {
    use super::super::entry::{Facts, Kind, SampleFormat};
    use super::super::sha256_hex;
    use super::super::standing::{Folder, Standing};
    use super::*;
    use proptest::prelude::*;
    use std::error::Error;
    use std::fs;

    type Outcome = Result<(), Box<dyn Error>>;

    fn entry(file: &str, content: &[u8]) -> Entry {
        let facts = Facts {
            kind: Kind::Mix,
            command: "render".into(),
            patch: Some("patches/late-bell.toml".into()),
            patch_sha256: Some(sha256_hex(b"patch")),
            recipe: None,
            variant: Some("original".into()),
            sequencer: None,
            tempo_bpm: Some(50.0),
            seed: 1,
            run: None,
            sample_rate: Some(48_000),
            sample_format: Some(SampleFormat::Int24),
            channels: Some(2),
            frames: Some(96_000),
            marks: Some(8),
            gain_db: Some(-1.5),
            true_peak_dbtp: None,
        };
        let (bytes, sha256) = (content.len() as u64, sha256_hex(content));
        Entry { file: file.into(), facts, bytes, sha256, later: BTreeMap::new() }
    }

    fn holding(entries: &[Entry]) -> Manifest {
        let mut manifest = Manifest::default();
        for entry in entries {
            manifest.intend(entry.clone());
            manifest.fulfil(&entry.file, false);
        }
        manifest
    }

    fn parse(text: &str) -> Result<Manifest, StoreError> {
        Manifest::parse(text.as_bytes(), Path::new("out/manifest.json"))
    }

    #[test]
    fn the_text_is_this_and_sorted_whatever_the_order() -> Outcome {
        let (a, b) = (entry("a.wav", b"a"), entry("b.wav", b"b"));
        let text = holding(&[b.clone(), a.clone()]).text()?;
        assert_eq!(text, holding(&[a, b]).text()?);
        let whole: Value = serde_json::from_str(&text)?;
        assert_eq!(whole["format"], 1);
        assert_eq!(whole["made_by"], format!("hitgap {}", env!("CARGO_PKG_VERSION")));
        let first = serde_json::json!({
            "file": "a.wav", "kind": "mix", "command": "render",
            "patch": "patches/late-bell.toml", "patch_sha256": sha256_hex(b"patch"), "variant": "original",
            "sequencer": null, "tempo_bpm": 50.0, "seed": 1, "sample_rate": 48000, "sample_format": "int24",
            "channels": 2, "frames": 96000, "marks": 8, "gain_db": -1.5, "true_peak_dbtp": null,
            "bytes": 1, "sha256": sha256_hex(b"a"),
        });
        assert_eq!(whole["files"][0], first);
        assert_eq!(whole["files"][1]["file"], "b.wav");
        assert_eq!(whole.as_object().map(|o| o.len()), Some(3), "no intents where none are");
        Ok(())
    }

    #[test]
    fn strangers_damage_and_the_future_are_told_apart() -> Outcome {
        let good = holding(&[entry("a.wav", b"a")]).text()?;
        assert!(parse(&good).is_ok());
        let end = good.trim_end().len();
        assert!((0..end).all(|cut| parse(&good[..cut]).is_err()), "a manifest that is cut short was accepted");
        let twice =
            good.replace("\"files\": [", &format!("\"files\": [{},", serde_json::to_string(&entry("a.wav", b"x"))?));
        for (text, part) in [
            (good[..good.len() / 2].to_owned(), "is damaged: it is not JSON"),
            (String::new(), "is damaged: it is not JSON"),
            (good.replace("\"format\": 1", "\"format\": 0"), "its `format` is not a number from 1"),
            (good.replace("\"format\": 1", "\"format\": \"1\""), "its `format` is not a number from 1"),
            (good.replace("\"seed\": 1", "\"seed\": -1"), "is damaged: invalid value: integer `-1`"),
            (good.replace("a.wav", "../a.wav"), "it lists a file `../a.wav`: `/` would lead into another folder"),
            (good.replace(&sha256_hex(b"a"), "ABC"), "a sha256 has 64"),
            (twice, "it lists `a.wav` twice"),
            ("[1, 2]".into(), "is not hitgap's"),
            ("{\"files\": [], \"format\": 1}".into(), "is not hitgap's: it has no `made_by`"),
            ("{\"made_by\": \"a bundler\", \"format\": 1}".into(), "is not hitgap's: it was made by \"a bundler\""),
            ("{\"made_by\": \"hitgap 9.0\", \"format\": 2, \"files\": {}}".into(), "has format 2, and this version"),
        ] {
            let error = parse(&text).err().ok_or_else(|| format!("accepted: {text}"))?.to_string();
            assert!(error.starts_with("`out/manifest.json` ") && error.contains(part), "{error}\n{part}");
            assert!(error.contains("\nhelp: "), "{error}");
        }
        Ok(())
    }

    #[test]
    fn a_figure_that_json_does_not_know_is_refused() {
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            let mut silent = entry("a.wav", b"a");
            silent.facts.true_peak_dbtp = Some(bad);
            assert!(holding(&[silent]).text().is_err(), "{bad}");
        }
    }

    /// What a kill leaves between step 3 and step 5 of a commit: the old file, the new one, or none.
    #[test]
    fn an_intent_comes_true_or_is_forgotten_by_what_is_there() -> Outcome {
        let dir = tempfile::tempdir()?;
        let folder = Folder { dir: dir.path().to_path_buf(), ignores_case: false };
        let (old, new) = (entry("a.wav", b"old"), entry("a.wav", b"new!"));
        let mut left = holding(std::slice::from_ref(&old));
        left.intend(new.clone());
        for (there, kept) in [(&b"old"[..], Some(&old)), (b"new!", Some(&new)), (b"alien", Some(&old))] {
            fs::write(dir.path().join("a.wav"), there)?;
            let own = matches!(folder.look("a.wav", &left, None)?, Standing::Own(_));
            assert_eq!(own, there != b"alien");
            let mut settled = left.clone();
            folder.settle(&mut settled)?;
            assert!(!settled.has_intents());
            assert_eq!(settled.files.get("a.wav"), kept);
        }
        fs::remove_file(dir.path().join("a.wav"))?;
        folder.settle(&mut left)?;
        assert_eq!(left, Manifest::default());
        Ok(())
    }

    /// As on a system where `A.wav` and `a.wav` are one file.
    #[test]
    fn where_case_does_not_count_a_name_replaces_its_twin() {
        let mut manifest = holding(&[entry("A.wav", b"old"), entry("b.wav", b"b")]);
        assert_eq!(manifest.listed("a.wav", false).count(), 0);
        assert_eq!(manifest.listed("a.wav", true).count(), 1);
        manifest.intend(entry("a.wav", b"new"));
        manifest.fulfil("a.wav", true);
        assert_eq!(manifest.files.keys().collect::<Vec<_>>(), ["a.wav", "b.wav"]);
    }

    /// Figures are compared after rounding to the 6 decimals that are kept.
    fn rounded(mut manifest: Manifest) -> Manifest {
        let six = |x: f64| (x * 1e6).round() / 1e6;
        for entry in manifest.files.values_mut().chain(manifest.intents.values_mut()) {
            entry.facts.gain_db = entry.facts.gain_db.map(six);
            entry.facts.tempo_bpm = entry.facts.tempo_bpm.map(six);
            entry.facts.true_peak_dbtp = entry.facts.true_peak_dbtp.map(six);
        }
        manifest
    }

    prop_compose! {
        fn any_facts()(
            kind in prop::sample::select(vec![Kind::Mix, Kind::Stem, Kind::Matched, Kind::Alternation, Kind::Voice, Kind::Flam, Kind::Picture]),
            sample_format in prop::option::of(prop::sample::select(vec![SampleFormat::Int16, SampleFormat::Int24, SampleFormat::Float32])),
            texts in prop::collection::vec(prop::option::of(any::<String>()), 5),
            command in any::<String>(),
            figures in (prop::option::of(1.0..1000.0), prop::option::of(-200.0..200.0), prop::option::of(-200.0..200.0)),
            seed in any::<u64>(), run in prop::option::of(any::<u64>()), sample_rate in any::<Option<u32>>(), channels in any::<Option<u16>>(), frames in any::<Option<u64>>(),
            marks in any::<Option<u64>>(),
        ) -> Facts {
            let mut texts = texts.into_iter();
            let mut text = || texts.next().flatten();
            Facts {
                kind, command, patch: text(), patch_sha256: text(), recipe: text(), variant: text(), sequencer: text(),
                tempo_bpm: figures.0, seed, run, sample_rate, sample_format, channels, frames, marks,
                gain_db: figures.1, true_peak_dbtp: figures.2,
            }
        }
    }

    prop_compose! {
        fn any_entry()(
            file in "[a-zäB-Z0-9+ _-][^/\\\\\\p{C}\u{2028}\u{2029}]{0,40}".prop_filter("a name that a folder takes", |f| crate::store::name::portable(f).is_none()), facts in any_facts(), bytes in any::<u64>(),
            content in any::<[u8; 8]>(), later in prop::collection::btree_map("later_[a-z]{1,5}", any::<i64>(), 0..3),
        ) -> Entry {
            let later = later.into_iter().map(|(key, n)| (key, n.into())).collect();
            Entry { file, facts, bytes, sha256: sha256_hex(&content), later }
        }
    }

    proptest! {
        #[test]
        fn what_is_written_is_read_back(
            files in prop::collection::vec(any_entry(), 0..6), intents in prop::collection::vec(any_entry(), 0..3),
        ) {
            let mut manifest = holding(&files);
            for entry in intents {
                manifest.intend(entry);
            }
            manifest.later.insert("since".into(), "later".into());
            let text = manifest.text().map_err(|e| TestCaseError::fail(e.to_string()))?;
            let back = parse(&text).map_err(|e| TestCaseError::fail(e.to_string()))?;
            prop_assert_eq!(&back, &rounded(manifest));
            prop_assert_eq!(back.text().ok(), Some(text));
        }

        #[test]
        fn no_bytes_bring_the_reader_down(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            prop_assert!(Manifest::parse(&bytes, Path::new("manifest.json")).is_err());
        }
    }
}
