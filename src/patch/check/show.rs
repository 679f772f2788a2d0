//! Names from a file, made fit to be shown, and what was most likely meant.

pub(in crate::patch) use crate::text::tamed;
pub use crate::text::{is_unsafe, shown, tamed_json};

/// The known name nearest to what was written, if one is near enough to be meant: at most a third of its letters apart.
#[must_use]
pub fn nearest<'a>(found: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    by_nearness(found, known)
        .into_iter()
        .next()
        .filter(|(distance, name)| *distance * 3 <= name.len().max(3))
        .map(|(_, name)| name)
}

/// Known names with their distance to what was written, nearest first; equal distances keep their order.
pub(in crate::patch) fn by_nearness<'a>(
    found: &str,
    known: impl IntoIterator<Item = &'a str>,
) -> Vec<(usize, &'a str)> {
    // The cost is the product of two lengths, and a file may ask for it very often: names are told apart by less.
    let start = |name: &str| name.chars().take(32).collect::<String>().to_ascii_lowercase().replace('_', "-");
    let found = start(found);
    let mut all: Vec<_> = known.into_iter().map(|k| (strsim::osa_distance(&found, &start(k)), k)).collect();
    all.sort_by_key(|(distance, _)| *distance);
    all
}

/// Names for a sentence: `` `a`, `b` and `c` ``; past twenty the rest is counted.
pub(in crate::patch) fn listed<'a>(names: impl IntoIterator<Item = &'a str>) -> String {
    const MOST: usize = 20;
    let all: Vec<_> = names.into_iter().collect();
    let quoted: Vec<_> = all.iter().take(MOST).map(|n| format!("`{}`", shown(n))).collect();
    if all.len() > MOST {
        return format!("{} and {} more", quoted.join(", "), all.len() - MOST);
    }
    match quoted.split_last() {
        None => "none".to_owned(),
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_name_is_one_that_may_be_meant() {
        let known = ["rate", "phase", "width", "reset-mode"];
        assert_eq!(nearest("widht", known), Some("width"));
        assert_eq!(nearest("reset_mode", known), Some("reset-mode"));
        assert_eq!(nearest("colour", known), None);
        assert_eq!(listed(known), "`rate`, `phase`, `width` and `reset-mode`");
    }
}
