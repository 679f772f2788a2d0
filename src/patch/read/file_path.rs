//! Paths of other files, as a patch writes them.

use crate::patch::check::fault::Fault;
use crate::patch::check::node::Node;
use crate::patch::check::show::shown;
use crate::patch::read::fields::{Fields, Told};
use crate::text::unfit;

/// The most characters of a file's name.
const LONGEST_PATH: usize = 4096;

/// A path that may be looked for: on one line, and no longer than systems take; `example` is what to write.
pub(in crate::patch) fn plain(
    fields: &mut Fields<'_, '_>,
    key: &str,
    (path, node): (&str, &Node),
    example: &str,
) -> Result<String, Told> {
    if let Some(found) = unfit(path, |_| false) {
        let message = format!("`{key}` has {found} in it");
        return Err(fields.tell(Fault::new(node.at.clone(), message).label("expected a plain path").help(example)));
    }
    if path.len() > LONGEST_PATH {
        let found = format!("{} bytes", path.len());
        return Err(fields.out_of_bounds(key, &found, &format!("at most {LONGEST_PATH} bytes")));
    }
    Ok(path.to_owned())
}

/// How the name of a file ends, in small letters.
pub(in crate::patch) fn ending(path: &str) -> Option<String> {
    let name = path.rsplit(['/', '\\']).next()?;
    name.rsplit_once('.').map(|(_, ending)| ending.to_ascii_lowercase())
}

/// What is told of a name that ends as none that is read here: what such files hold.
pub(in crate::patch) fn unknown_kind(path: &str, node: &Node, holds: &str, ends: &[&str], example: &str) -> Fault {
    Fault::new(node.at.clone(), format!("`{}` is no kind of file that holds {holds}", shown(path)))
        .label(format!("expected a name that ends in {}", listed(ends)))
        .help(example)
}

/// Endings for a sentence: `.csv, .mid or .midi`.
pub(in crate::patch) fn listed(ends: &[&str]) -> String {
    let all: Vec<String> = ends.iter().map(|end| format!(".{end}")).collect();
    match all.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} or {last}", rest.join(", ")),
        _ => all.concat(),
    }
}
