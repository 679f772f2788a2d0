//! The pages of reference are what the table of keys gives; `HITGAP_BLESS=1` writes them anew.

use hitgap::patch::{KINDS, box_kinds, keys, reference};
use std::path::Path;

fn is_page(file: &str, expected: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs").join(file);
    if std::env::var_os("HITGAP_BLESS").is_some() {
        std::fs::write(&path, expected).expect("a page that can be written");
    }
    let found = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(found == expected, "docs/{file} is not what the table of keys gives; HITGAP_BLESS=1 writes it anew");
}

#[test]
fn the_page_on_stages_is_that_of_the_table_of_keys() {
    let page = reference::stages();
    for kind in KINDS {
        assert!(page.contains(&format!("\n## `{}`\n", kind.word)), "{}", kind.word);
        for row in kind.keys.rows {
            assert!(page.contains(&format!("| `{}` |", row.key)) && page.contains(row.about), "{}", row.key);
        }
    }
    is_page("stages.md", &page);
}

#[test]
fn the_page_on_keys_is_that_of_the_table_of_keys() {
    let page = reference::keys();
    for row in keys().rows {
        assert!(page.contains(&format!("| `{}` |", row.key)) && page.contains(row.about), "{}", row.key);
    }
    is_page("keys.md", &page);
}

#[test]
fn the_page_on_boxes_is_that_of_the_kit() {
    let page = reference::boxes();
    for kind in box_kinds() {
        assert!(page.contains(&format!("\n### `{}`\n", kind.name())), "{}", kind.name());
        for (key, value) in kind.keys() {
            assert!(page.contains(&format!("\n| `{key}` | `{value}` |\n")), "{key} of {}", kind.name());
        }
    }
    is_page("boxes.md", &page);
}
