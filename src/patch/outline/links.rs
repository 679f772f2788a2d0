//! Who names whom.

use super::{Part, Stand, Table};
use crate::patch::edit::{Reference, references};
use std::collections::HashMap;

/// For each table those that name it; a fix and a change name what they set.
pub(super) fn links(document: &Table, tables: &[Stand]) -> Vec<Vec<usize>> {
    let index: HashMap<(&str, &str), usize> =
        tables.iter().enumerate().map(|(n, table)| ((table.kind, table.name.as_str()), n)).collect();
    let mut links = vec![Vec::new(); tables.len()];
    for Reference { path, kind, name, .. } in references(document) {
        let number;
        let holder = match &path[..] {
            [Part::Key(kind), Part::Key(name), ..] => index.get(&(kind.as_str(), name.as_str())),
            [Part::Key(kind), Part::Entry(n), ..] => {
                number = (n + 1).to_string();
                index.get(&(kind.as_str(), number.as_str()))
            }
            _ => index.get(&("top", "")),
        };
        if let (Some(&holder), Some(&named)) = (holder, index.get(&(kind, name.as_str())))
            && holder != named
            && !links[named].contains(&holder)
        {
            links[named].push(holder);
        }
    }
    links
}
