//! Faulty patches, each named after what is wrong with it, and the whole diagnostic that each must give.
//!
//! `HITGAP_BLESS=1 cargo test --test patch_bad` writes the diagnostics anew; read every change before it is kept.

use crate::diagnostics;

use hitgap::patch::{Asked, Patch};

#[test]
fn every_faulty_patch_gives_its_diagnostic() {
    diagnostics::hold("bad", 21, |source| Patch::parse(source, &Asked::default()));
}
