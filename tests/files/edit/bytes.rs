//! What an edit does not name keeps its bytes: the same lines, in the same order.

use super::{edit, examples};
use hitgap::patch::edited;
use serde_json::json;

/// The kind and the name of a table, and its keys with their values.
type Written = (String, String, Vec<(String, String)>);

/// Tables of a file by their headings, with the keys that stand on lines of their own.
fn tables(text: &str) -> Vec<Written> {
    let mut all: Vec<Written> = Vec::new();
    let mut open = false;
    for line in text.lines() {
        if let Some((kind, name)) =
            line.strip_prefix('[').and_then(|l| l.strip_suffix(']')).and_then(|l| l.split_once('.'))
        {
            all.push((kind.to_owned(), name.to_owned(), Vec::new()));
            open = true;
        } else if line.starts_with('[') {
            open = false;
        } else if let Some((key, value)) = line.split_once('=').filter(|_| open) {
            let key = key.trim();
            if !key.contains(['.', '"', '#']) {
                all.last_mut().expect("a table").2.push((key.to_owned(), value.trim().to_owned()));
            }
        }
    }
    all
}

fn lines(text: &str) -> Vec<&str> {
    text.split_inclusive('\n').collect()
}

/// Whether all lines of the one are in the other, in order.
fn are_within(few: &[&str], many: &[&str]) -> bool {
    let mut many = many.iter();
    few.iter().all(|line| many.any(|other| other == line))
}

#[test]
fn a_key_is_one_line_and_no_other_line_moves() {
    let mut tried = 0;
    for (name, text) in examples() {
        let before = lines(text);
        for (kind, table, keys) in tables(text) {
            for (key, written) in &keys {
                let set = |to: serde_json::Value| {
                    edited(text, &edit(json!({"do": "set", "at": [kind, table, key], "to": to}))).expect("an edit")
                };
                let done = set(json!("quite another"));
                let after = lines(&done);
                let differ: Vec<usize> = (0..before.len()).filter(|n| before[*n] != after[*n]).collect();
                assert_eq!((differ.len(), after.len()), (1, before.len()), "{name} {kind}.{table}.{key}");
                assert_eq!(after[differ[0]], before[differ[0]].replacen(written, "\"quite another\"", 1), "{name}");
                let clear = edit(json!({"do": "clear", "at": [kind, table, key]}));
                let cleared = edited(text, &clear).expect("an edit");
                assert_eq!(lines(&cleared), [&before[..differ[0]], &before[differ[0] + 1..]].concat(), "{name}");
                tried += 1;
            }
            let added =
                edited(text, &edit(json!({"do": "set", "at": [kind, table, "brand-new"], "to": 1}))).expect("an edit");
            let after = lines(&added);
            assert_eq!(after.len(), before.len() + 1, "{name}");
            assert!(are_within(&before, &after), "{name}");
        }
    }
    assert!(tried > 300, "{tried}");
}

#[test]
fn a_table_is_a_block_and_no_other_line_moves() {
    for (name, text) in examples() {
        let before = lines(text);
        for (kind, table, _) in tables(text) {
            for change in [
                json!({"do": "add", "at": [kind, "brand-new"], "to": {"a": 1, "b": "two"}}),
                json!({"do": "duplicate", "at": [kind, table], "as": "brand-new"}),
            ] {
                let done = edited(text, &edit(change)).expect("an edit");
                let after = lines(&done);
                assert!(are_within(&before, &after), "{name}\n{done}");
                let heading = after.iter().position(|line| line.contains("brand-new")).expect("a heading");
                assert!(after[heading - 1].trim().is_empty(), "{name}\n{done}");
                // Taken out again, the file is as it was.
                let back = edited(&done, &edit(json!({"do": "remove", "at": [kind, "brand-new"]}))).expect("an edit");
                assert_eq!(&back, text, "{name} {kind}.{table}");
            }
            let change = edit(json!({"do": "rename", "at": [kind, table], "as": "brand-new"}));
            let done = edited(text, &change).expect("an edit");
            let after = lines(&done);
            assert_eq!(after.len(), before.len(), "{name}");
            for (was, is) in before.iter().zip(&after).filter(|(was, is)| was != is) {
                assert!(was.contains(&table) && is.contains("brand-new"), "{name}: {was} {is}");
            }
            let back =
                edited(&done, &edit(json!({"do": "rename", "at": [kind, "brand-new"], "as": table}))).expect("an edit");
            assert_eq!(&back, text, "{name} {kind}.{table}");
            if let Ok(done) = edited(text, &edit(json!({"do": "remove", "at": [kind, table]}))) {
                for line in lines(&done) {
                    // Only a list that has lost a stage is written anew.
                    let lost = before
                        .iter()
                        .any(|was| was.split('=').next() == line.split('=').next() && was.contains(&table));
                    assert!(before.contains(&line) || lost, "{name}: {line}");
                }
            }
        }
    }
}
