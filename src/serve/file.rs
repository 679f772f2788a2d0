//! The patch file as it is on the disk.

use crate::patch::LARGEST_FILE;
use crate::store::{self, sha256_hex};
use serde::Serialize;
use std::path::Path;

/// A text and its checksum.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub(super) struct OnDisk {
    pub(super) text: String,
    pub(super) hash: String,
}

impl OnDisk {
    pub(super) fn new(text: String) -> Self {
        let hash = sha256_hex(text.as_bytes());
        Self { text, hash }
    }

    /// Reads a patch file; `None` where there is none that is a text of a patch's size.
    pub(super) fn of(file: &Path) -> Option<Self> {
        let Ok(store::Contents::Bytes(bytes)) = store::contents(file, LARGEST_FILE as u64) else { return None };
        Some(Self::new(String::from_utf8(bytes).ok()?))
    }
}
