//! Faulty files, each named after what is wrong with it, and the whole diagnostic that each must give.

use hitgap::patch::Faults;
use std::path::Path;

/// Reads every TOML file of a folder below `tests`, `least` of them at least, and holds what is said of it against the
/// text beside it.
///
/// With `HITGAP_BLESS=1` the texts are written anew; read every change before it is kept.
pub(crate) fn hold<T>(folder: &str, least: usize, read: impl Fn(&str) -> Result<T, Faults>) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests").join(folder);
    let mut files: Vec<_> = std::fs::read_dir(&path).expect("the folder").map(|e| e.expect("entry").path()).collect();
    files.retain(|file| file.extension().is_some_and(|e| e == "toml"));
    files.sort();
    assert!(files.len() >= least, "the faulty files are there");
    let mut wrong = Vec::new();
    for file in files {
        let source = std::fs::read_to_string(&file).expect("a text");
        let name = format!("{folder}/{}", file.file_name().expect("a name").to_string_lossy());
        let found = match read(&source) {
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
