//! Texts for people.

use crate::patch::check::fault::Fault;
use crate::patch::read::fields::Fields;
use crate::text::{Unfit, unfit};

/// The most characters of a text on one line.
pub(in crate::patch) const LONGEST_LINE: usize = 10_000;

/// A text for people. It will be printed, so nothing that a terminal would obey may be in it.
pub(in crate::patch) fn words(fields: &mut Fields<'_, '_>, key: &str, lines: bool) -> Option<String> {
    let (text, node) = fields.text(key, "some words").ok().flatten()?;
    let allowed = |c: char| lines && matches!(c, '\n' | '\r' | '\t');
    let Some(found) = unfit(text, allowed) else {
        let length = text.chars().count();
        if lines || length <= LONGEST_LINE {
            return Some(text.to_owned());
        }
        fields.out_of_bounds(key, &format!("{length} characters"), &format!("at most {LONGEST_LINE} characters"));
        return None;
    };
    let (what, help) = if found == Unfit::Hidden('\n') {
        ("a line break".to_owned(), "write it on one line")
    } else {
        (found.to_string(), "take the character out")
    };
    let fault = Fault::new(node.at.clone(), format!("`{key}` has {what} in it"))
        .label(format!("expected {}", if lines { "plain text" } else { "one line of plain text" }))
        .help(help);
    fields.tell(fault);
    None
}
