//! A word set to what it is already changes nothing: not of the patch, and not a byte of its text.

use super::{all, of};
use hitgap::patch::{Edit, Worth, edited};
use hitgap::show::sentence::{Editor, Word};

/// Whether an editor can give a value, by the rules of the contract of each.
fn gives(editor: &Editor, value: &Worth) -> bool {
    let text = |value: &Worth| matches!(value, Worth::Text(_));
    let quantity = |value: &Worth, units: &[&str]| match value {
        Worth::Text(text) => {
            let unit = text.trim().trim_start_matches(|c: char| c.is_ascii_digit() || " .-+".contains(c));
            let unit = unit.replace('°', "").replace('µ', "u");
            units.contains(&unit.as_str())
        }
        _ => false,
    };
    match editor {
        Editor::Dial { units, or, limits, .. } => match value {
            Worth::Text(word) if or.contains(&word.as_str()) => true,
            Worth::Table(parts) => {
                *limits
                    && parts.iter().all(|(key, v)| quantity(v, units) || (key == "tolerance" && quantity(v, &["%"])))
            }
            value => quantity(value, units),
        },
        Editor::Number { least, most, whole } => match value {
            Worth::Whole(n) => least <= n && n <= most,
            Worth::Number(n) => !whole && (*least as f64..=*most as f64).contains(n),
            _ => false,
        },
        Editor::List { of } => of.iter().any(|choice| choice.to.same(value) && choice.edits.is_empty()),
        Editor::Path { from, through } => {
            let names: Vec<&str> = match value {
                Worth::Text(text) => vec![text],
                Worth::List(list) => list
                    .iter()
                    .filter_map(|w| if let Worth::Text(text) = w { Some(text.as_str()) } else { None })
                    .collect(),
                _ => return false,
            };
            let begin = usize::from(!from.is_empty());
            names.iter().take(begin).all(|name| from.iter().any(|f| f.to == Worth::text(name)))
                && names.iter().skip(begin).all(|name| through.iter().any(|f| f == name))
        }
        Editor::Names { of } => {
            matches!(value, Worth::List(list) if list.iter().all(|w| of.iter().any(|n| Worth::text(n) == *w)))
        }
        Editor::Tempos | Editor::Rates | Editor::Texts { .. } => matches!(value, Worth::List(_)),
        Editor::Tempo => matches!(value, Worth::Whole(_) | Worth::Number(_) | Worth::Text(_)),
        Editor::Notes { voices } => {
            matches!(value, Worth::Table(all) if all.iter().all(|(_, v)| voices.iter().any(|n| Worth::text(n) == *v)))
        }
        Editor::Rate
        | Editor::Beats { .. }
        | Editor::Meter
        | Editor::Steps
        | Editor::Name
        | Editor::Text { .. }
        | Editor::File { .. } => text(value),
        Editor::Value => true,
        Editor::More { .. } => false,
    }
}

/// The edit that a page sends for a word.
fn sent(word: &Word, to: &Worth, fix: Option<&str>) -> Edit {
    match (&word.takes, to) {
        (Editor::Name, Worth::Text(name)) => Edit::Rename { at: word.at.clone(), to: name.clone() },
        _ => Edit::Set { at: word.at.clone(), to: to.clone(), fix: fix.filter(|_| word.changed).map(str::to_owned) },
    }
}

#[test]
fn a_word_set_to_what_it_is_changes_nothing() {
    let mut tried = 0;
    for (name, text) in all() {
        let fixes = of(&text, None).sentences.into_iter().filter(|s| s.kind == "fix").map(|s| s.name);
        for fix in std::iter::once(None).chain(fixes.map(Some)) {
            let desk = of(&text, fix.as_deref());
            for word in &desk.words {
                let Some(value) = &word.value else { continue };
                assert!(gives(&word.takes, value), "{name}: {word:?}");
                let edit = sent(word, value, fix.as_deref());
                let done = edited(&text, &edit).unwrap_or_else(|e| panic!("{name}: {edit:?}: {e}"));
                assert_eq!(done, text, "{name}: {edit:?}");
                tried += 1;
            }
        }
    }
    assert!(tried > 2000, "{tried}");
}

/// Words that a fix sets say so, and no others.
#[test]
fn what_a_fix_sets_is_marked() {
    for (name, text) in all() {
        assert!(of(&text, None).words.iter().all(|word| !word.changed), "{name}");
        let fixes: Vec<String> =
            of(&text, None).sentences.into_iter().filter(|s| s.kind == "fix").map(|s| s.name).collect();
        for fix in fixes {
            let desk = of(&text, Some(&fix));
            assert!(desk.words.iter().any(|word| word.changed), "{name}: {fix}");
            for word in desk.words.iter().filter(|word| word.changed && word.at.len() > 2) {
                let at = serde_json::json!(word.at);
                let path = format!("{}.{}", at[0].as_str().expect("a kind"), at[1].as_str().expect("a name"));
                assert!(text.contains(&format!("set.\"{path}")), "{name}: {fix}: {path}");
            }
        }
    }
}
