//! The built-in kit of kinds: one TOML file, embedded in the program.

use super::bench::read;
use crate::patch::read::box_kind::BoxKind;
use std::sync::LazyLock;

const SOURCE: &str = include_str!("kit.toml");

/// The kinds of boxes that the program knows, in the order of its file.
///
/// # Panics
/// If that file is faulty: a fault of this program, which its tests find.
#[must_use]
pub fn box_kinds() -> &'static [BoxKind] {
    static KINDS: LazyLock<Vec<BoxKind>> = LazyLock::new(|| {
        read(SOURCE).unwrap_or_else(|faults| panic!("{}", faults.render("kit.toml", SOURCE, false))).0
    });
    &KINDS
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_says_what_it_does_and_how_to_tell_it() {
        assert!(box_kinds().len() >= 12, "{}", box_kinds().len());
        for kind in box_kinds() {
            assert!(kind.about().is_some() && kind.tell().is_some(), "{}", kind.name());
        }
    }

    /// What has no source says so, in the file itself.
    #[test]
    fn every_figure_of_time_says_where_it_comes_from() {
        let lines: Vec<&str> = SOURCE.lines().collect();
        for (n, line) in lines.iter().enumerate() {
            let figure = [" ms\"", " us\"", "frames = "].iter().any(|unit| line.contains(unit));
            let words = ["#", "tell", "about"].iter().any(|start| line.starts_with(start));
            if figure && !words {
                let before = lines[n - 1].to_lowercase();
                assert!(before.starts_with('#') && before.contains("common practice, no source"), "{line}");
            }
        }
    }
}
