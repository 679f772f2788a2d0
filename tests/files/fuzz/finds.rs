//! Every file that was once answered badly, read again: by its ending as what it was then.

use super::{ears, lessons, patches, sounds, takes, words};
use std::path::Path;

#[test]
fn every_find_is_answered() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/finds");
    let mut files: Vec<_> =
        std::fs::read_dir(folder).expect("tests/finds").map(|e| e.expect("an entry").path()).collect();
    files.sort();
    for file in files {
        let name = file.file_name().and_then(|n| n.to_str()).expect("a plain name").to_owned();
        let bytes = std::fs::read(&file).expect("a file");
        let text = String::from_utf8_lossy(&bytes);
        println!("{name}");
        let (_, ending) = name.split_once('.').unwrap_or_default();
        match ending {
            "patch.toml" => patches::read(&text),
            "components.toml" => patches::read_components(&text),
            "boxes.toml" => patches::read_boxes(&text),
            "lesson.toml" => lessons::read(&text),
            "md" => lessons::read_markdown(&text),
            "csv" => takes::read(&bytes, "a.csv"),
            "mid" => takes::read(&bytes, "a.mid"),
            "session.json" => ears::read_session(&text),
            "blind.json" => ears::read_blind(&text),
            "key.json" => ears::read_key(&text),
            "class.csv" => ears::read_class(&text),
            "ear.toml" => ears::read_ear(&text),
            "wav" | "aiff" | "flac" => sounds::read(&bytes),
            "quantity" => words::read_quantity(&text),
            "range" => words::read_range(&text),
            "line" => words::read_line(&text),
            _ => panic!("{name}: nobody reads such a find"),
        }
    }
}
