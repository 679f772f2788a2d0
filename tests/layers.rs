//! The stair of folders: the table that `DEVELOPERS.md` prints, held against what the source uses.
//!
//! A folder uses only folders above it in the table, and of those only the ones that its row names; so there is no circle and
//! no arrow up. An arrow that the source no longer has must leave the table too.

use regex::Regex;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// Folders from the top of the table down, each with those that it may use.
type Stair = Vec<(String, BTreeSet<String>)>;

/// What a folder uses, with a file in which it does.
type Arrows = BTreeMap<(String, String), PathBuf>;

fn stair(page: &str) -> Stair {
    let name = Regex::new("`(?:src/)?([a-z]+)`").expect("a pattern");
    let names = |cell: &str| name.captures_iter(cell).map(|found| found[1].to_owned()).collect::<Vec<_>>();
    let rows = page
        .lines()
        .skip_while(|line| !line.starts_with("| folder |"))
        .skip(2)
        .take_while(|line| line.starts_with('|'));
    rows.map(|row| {
        let cells: Vec<&str> = row.trim_matches('|').split('|').collect();
        let folder = names(cells[0]).pop().unwrap_or_else(|| panic!("no folder in {row}"));
        (folder, names(cells[cells.len() - 1]).into_iter().collect())
    })
    .collect()
}

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a folder of sources") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|end| end == "rs") {
            found.push(path);
        }
    }
}

fn arrows(root: &Path, folders: &BTreeSet<String>) -> Arrows {
    let comment = Regex::new("//.*").expect("a pattern");
    // From the root by name, or up by as many steps as lead to the root.
    let path = Regex::new(r"\b(crate|super(?:::super)*)::([a-z_]+)").expect("a pattern");
    let braced = Regex::new(r"\bcrate::\{").expect("a pattern");
    let mut files = Vec::new();
    sources(root, &mut files);
    let mut arrows = Arrows::new();
    for file in files {
        let inside = file.strip_prefix(root).expect("below the root");
        let parts: Vec<&str> = inside.iter().map(|part| part.to_str().expect("a name")).collect();
        let (Some(from), true) = (parts.first(), parts.len() > 1) else { continue };
        let text = fs::read_to_string(&file).expect("a source");
        let code = comment.replace_all(&text, "");
        assert!(!braced.is_match(&code), "{}: one `use` a folder, please", inside.display());
        let depth = parts.len() - usize::from(inside.ends_with("mod.rs"));
        for found in path.captures_iter(&code) {
            let up = found[1].matches("super").count();
            let to = &found[2];
            if folders.contains(to) && to != *from && (up == 0 || up >= depth) {
                arrows.entry(((*from).to_owned(), to.to_owned())).or_insert_with(|| inside.to_owned());
            }
        }
    }
    arrows
}

/// What is wrong between a stair and arrows, a line each.
fn faults(stair: &Stair, arrows: &Arrows) -> Vec<String> {
    let place = |name: &str| stair.iter().position(|(folder, _)| folder == name);
    let mut faults = Vec::new();
    for (folder, uses) in stair {
        for other in uses.iter().filter(|other| place(other) >= place(folder)) {
            faults.push(format!("the table lets `{folder}` use `{other}`, which is not above it"));
        }
        for other in uses.iter().filter(|other| !arrows.contains_key(&(folder.clone(), (*other).clone()))) {
            faults.push(format!("`{folder}` no longer uses `{other}`: take it out of the table"));
        }
    }
    for ((from, to), file) in arrows {
        if !stair.iter().any(|(folder, uses)| folder == from && uses.contains(to)) {
            faults.push(format!("`{from}` must not use `{to}`: {}", file.display()));
        }
    }
    faults
}

#[test]
fn folders_use_only_what_lies_above_them() {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    let stair = stair(&fs::read_to_string(here.join("DEVELOPERS.md")).expect("the page for contributors"));
    let named: BTreeSet<String> = stair.iter().map(|(folder, _)| folder.clone()).collect();
    let root = here.join("src");
    let there =
        fs::read_dir(&root).expect("src").map(|entry| entry.expect("an entry").path()).filter(|path| path.is_dir());
    let there: BTreeSet<String> =
        there.map(|path| path.file_name().and_then(|name| name.to_str()).expect("a name").to_owned()).collect();
    assert_eq!(named, there, "the table names every folder of src once");
    let faults = faults(&stair, &arrows(&root, &there));
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

/// Every file that the page names is there; `NAME` stands for one that is to come.
#[test]
fn the_page_names_files_that_are_there() {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    let page = fs::read_to_string(here.join("DEVELOPERS.md")).expect("the page for contributors");
    let file = Regex::new("`([a-z_/-]+/[a-z_-]+\\.(?:rs|js|md))`").expect("a pattern");
    let named: BTreeSet<&str> =
        file.captures_iter(&page).map(|found| found.get(1).expect("a group").as_str()).collect();
    let missing: Vec<_> =
        named.iter().filter(|f| !here.join("src").join(f).is_file() && !here.join(f).is_file()).collect();
    assert!(named.len() > 20 && missing.is_empty(), "{missing:?} of {}", named.len());
}

#[test]
fn an_arrow_up_a_circle_and_a_stale_arrow_are_told() {
    let stair = stair("| folder | holds | may use |\n|---|---|---|\n| `low` | a | |\n| `high` | b | `low` |\n");
    let root = tempfile::tempdir().expect("a folder");
    for (file, text) in [
        ("low/mod.rs", "mod deep;"),
        ("low/deep.rs", "use super::super::high::X; // crate::none"),
        ("high/mod.rs", "fn f() {}"),
    ] {
        fs::create_dir_all(root.path().join(file).parent().expect("a folder")).expect("made");
        fs::write(root.path().join(file), text).expect("written");
    }
    let folders = ["low", "high"].map(str::to_owned).into();
    assert_eq!(
        faults(&stair, &arrows(root.path(), &folders)),
        ["`high` no longer uses `low`: take it out of the table", "`low` must not use `high`: low/deep.rs"]
    );
    let circle = vec![("low".to_owned(), ["high".to_owned()].into()), ("high".to_owned(), BTreeSet::new())];
    assert_eq!(
        faults(&circle, &arrows(root.path(), &folders)),
        ["the table lets `low` use `high`, which is not above it"]
    );
}
