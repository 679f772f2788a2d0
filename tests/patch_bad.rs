//! Faulty patches, each named after what is wrong with it, and the whole diagnostic that each must give.
//!
//! `HITGAP_BLESS=1 cargo test --test patch_bad` writes the diagnostics anew; read every change before it is kept.

use hitgap::patch::{Asked, Patch};
use std::path::Path;

#[test]
fn every_faulty_patch_gives_its_diagnostic() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/bad");
    let mut files: Vec<_> = std::fs::read_dir(&folder).expect("tests/bad").map(|e| e.expect("entry").path()).collect();
    files.retain(|file| file.extension().is_some_and(|e| e == "toml"));
    files.sort();
    assert!(files.len() > 20, "the faulty patches are there");
    let mut wrong = Vec::new();
    for file in files {
        let source = std::fs::read_to_string(&file).expect("a text");
        let name = format!("bad/{}", file.file_name().expect("a name").to_string_lossy());
        let found = match Patch::parse(&source, &Asked::default()) {
            Ok(_) => format!("{name} is read without a fault\n"),
            Err(faults) => faults.render(&name, &source, false),
        };
        assert!(found.chars().all(|c| c == '\n' || !c.is_control()), "{name} would reach the terminal raw: {found:?}");
        let beside = file.with_extension("txt");
        if std::env::var_os("HITGAP_BLESS").is_some() {
            std::fs::write(&beside, &found).expect("a file");
        }
        let expected = std::fs::read_to_string(&beside).unwrap_or_default();
        if found != expected {
            wrong.push(format!("{name} gives\n{found}\nexpected\n{expected}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n\n"));
}
