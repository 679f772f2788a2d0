//! Files to write, and what the disk holds: read with `serde_json` and `sha2`, not with the store.

use hitgap::store::{Draft, Entry, Facts, Kind, MANIFEST, SampleFormat, Store, StoreError};
use serde_json::Value;
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, BTreeSet};
use std::error::Error;
use std::fs;
use std::io::{self, Write};
use std::path::Path;

pub(crate) type Outcome<T = ()> = Result<T, Box<dyn Error>>;

/// Bytes that tell whether they are all there: their number, a seed, and what follows from it.
pub(crate) fn content(seed: u32, len: usize) -> Vec<u8> {
    let mut bytes = [len.to_le_bytes().as_slice(), &seed.to_le_bytes()].concat();
    bytes
        .extend((bytes.len()..len).map(|i| (i as u32).wrapping_mul(2_654_435_761).wrapping_add(seed).to_le_bytes()[2]));
    bytes
}

pub(crate) fn is_whole(bytes: &[u8]) -> bool {
    let Some((head, _)) = bytes.split_first_chunk::<12>() else { return false };
    let mut seed = [0; 4];
    seed.copy_from_slice(&head[8..]);
    bytes == content(u32::from_le_bytes(seed), bytes.len()) && bytes[..8] == bytes.len().to_le_bytes()
}

pub(crate) fn facts() -> Facts {
    Facts {
        kind: Kind::Mix,
        command: "render".into(),
        patch: Some("patches/late-bell.toml".into()),
        patch_sha256: Some("0".repeat(64)),
        recipe: None,
        variant: Some("original".into()),
        sequencer: None,
        tempo_bpm: Some(50.0),
        seed: 1,
        run: None,
        sample_rate: Some(48_000),
        sample_format: Some(SampleFormat::Int24),
        channels: Some(2),
        frames: Some(1),
        marks: Some(2),
        gain_db: Some(0.0),
        true_peak_dbtp: Some(-1.0),
    }
}

pub(crate) fn fill(draft: &Draft<'_>, bytes: &[u8]) -> Result<(), StoreError> {
    // In pieces, so that a kill can come between them.
    bytes.chunks(1 << 14).try_for_each(|piece| draft.file().write_all(piece)).map_err(|e| draft.error(e))
}

pub(crate) fn put(store: &Store, name: &str, bytes: &[u8]) -> Result<Entry, StoreError> {
    let draft = store.begin(name)?;
    fill(&draft, bytes)?;
    draft.commit(facts())
}

/// Size and checksum by name, of what the manifest lists under `key`.
pub(crate) fn listed(dir: &Path, key: &str) -> Outcome<BTreeMap<String, (u64, String)>> {
    let manifest: Value = serde_json::from_slice(&fs::read(dir.join(MANIFEST))?)?;
    let entries = manifest[key].as_array().cloned().unwrap_or_default();
    let text = |entry: &Value, key: &str| entry[key].as_str().map(str::to_owned).ok_or(format!("no {key}"));
    entries
        .iter()
        .map(|e| Ok((text(e, "file")?, (e["bytes"].as_u64().ok_or("no bytes")?, text(e, "sha256")?))))
        .collect()
}

/// Names in the folder: those that a user sees but for the manifest, and the hidden ones.
pub(crate) fn names(dir: &Path) -> Outcome<(BTreeSet<String>, BTreeSet<String>)> {
    let all = fs::read_dir(dir)?.map(|f| Ok(f?.file_name().to_string_lossy().into_owned()));
    let all = all.collect::<io::Result<BTreeSet<_>>>()?;
    Ok(all.into_iter().filter(|name| name != MANIFEST).partition(|name| !name.starts_with('.')))
}

pub(crate) fn parts(dir: &Path) -> Outcome<usize> {
    Ok(names(dir)?.1.iter().filter(|name| name.starts_with(".hitgap-part-")).count())
}

/// Size and checksum by name, of what the folder holds; every file must be whole.
pub(crate) fn present(dir: &Path) -> Outcome<BTreeMap<String, (u64, String)>> {
    let mut found = BTreeMap::new();
    for name in names(dir)?.0 {
        let bytes = fs::read(dir.join(&name))?;
        assert!(is_whole(&bytes), "`{name}` is not whole: {} bytes", bytes.len());
        let sha256 = Sha256::digest(&bytes).iter().map(|b| format!("{b:02x}")).collect();
        found.insert(name, (bytes.len() as u64, sha256));
    }
    Ok(found)
}
