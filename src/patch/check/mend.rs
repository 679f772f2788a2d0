//! Lines that are not TOML, read as they were most likely meant, and written as TOML.
//!
//! A mended line is only ever proposed: [`mended`] gives it back where the file can be read past it, and nothing is read from it.

use crate::patch::check::fault::Place;
use crate::patch::check::mend_value;
use crate::patch::check::mend_value::Slip;
use toml::de::DeTable;

/// A line as it was most likely meant.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::patch) struct Mended {
    /// What was found, in a line that begins in lower case.
    pub(in crate::patch) found: &'static str,
    /// What is said under it.
    pub(in crate::patch) label: &'static str,
    /// The line to write instead, without what it is indented by.
    pub(in crate::patch) line: String,
    /// The line that it stands for, where the reader stumbled over a later one.
    pub(in crate::patch) at: Option<Place>,
}

/// Longer lines nobody writes by hand, and more lines than these are not gone back over.
const LONGEST: usize = 2_000;
const MOST_BACK: usize = 4;

/// The line at a fault of syntax, or one shortly before it, as it was most likely meant: with it in its place the file is TOML, at
/// least up to a later line.
pub(in crate::patch) fn mended(source: &str, at: usize) -> Option<Mended> {
    let at = (0..=at.min(source.len())).rev().find(|n| source.is_char_boundary(*n))?;
    let mut start = source[..at].rfind('\n').map_or(0, |n| n + 1);
    let fault = start;
    for _ in 0..MOST_BACK {
        let end = source[start..].find('\n').map_or(source.len(), |n| start + n);
        let line = source[start..end].trim_end_matches('\r').trim_start_matches('\u{feff}');
        let blank = line.trim().is_empty();
        if !blank
            && line.len() <= LONGEST
            && let Some((slip, written)) = mend_value::line(line)
        {
            let whole = format!("{}{written}{}", &source[..start], &source[end..]);
            // The fault stands on the mended line or behind it, and that line may have another length now.
            let past = if start == fault { start } else { (fault + whole.len()).saturating_sub(source.len()) };
            if reaches(&whole, past) {
                let (found, label) = slip.words();
                let indent = line.len() - line.trim_start().len();
                let at = (start < fault).then(|| start + indent..start + line.trim_end().len());
                return Some(Mended { found, label, line: written.trim().to_owned(), at });
            }
        }
        if start == 0 {
            return None;
        }
        start = source[..start - 1].rfind('\n').map_or(0, |n| n + 1);
    }
    None
}

/// Whether a text is TOML, or its first fault stands on a line behind that which begins at `line`.
fn reaches(text: &str, line: usize) -> bool {
    let Err(error) = DeTable::parse(text) else { return true };
    let end = text.get(line..).and_then(|rest| rest.find('\n')).map_or(text.len(), |n| line + n);
    error.span().is_some_and(|span| span.start > end)
}

impl Slip {
    fn words(self) -> (&'static str, &'static str) {
        match self {
            Self::Unquoted => (
                "a value without quotes that is neither a number, a list nor a table",
                "found a text without plain quotes",
            ),
            Self::Curly => ("curly quotes around a text", "expected straight double quotes"),
            Self::Quote => ("a quote is missing", "expected a text between two straight double quotes"),
            Self::Comma => ("a comma is missing between two values", "expected a comma"),
            Self::Brackets => ("a list without its square brackets", "expected `[` and `]` around several values"),
            Self::DecimalComma => ("a number has a comma in it", "expected a decimal point"),
            Self::Equals => ("no single `=` stands between a key and its value", "expected `=`"),
            Self::Words => ("a key of several words", "expected `-` between the words of a key"),
            Self::Heading => ("a heading is not written as one", "expected a name between `[` and `]`"),
            Self::Comment => ("a remark does not begin with `#`", "expected `#` before a remark"),
            Self::Behind => ("something stands behind the value", "expected the end of the line"),
            Self::Backslash => ("a backslash in a text begins a special character", "expected `/` between folders"),
            Self::Blank => ("a blank of another kind stands here", "expected a plain blank"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_proposed_can_be_read() {
        for line in [
            "tempos = [84 112]",
            "tempos = (84, 112)",
            "tempos = 84, 112",
            "tempos = [84, 112",
            "tempos = 84, 112]",
            "tempos: [84, 112]",
            "tempos [84, 112]",
            "tempos == [84, 112]",
            "tempos := 84; 112",
            "tempos = {84, 112}",
            "tempos = [84, 112];",
            "tempos = [84, 112] // mine",
        ] {
            let source = format!("{line}\nbars = 4\n");
            let error = DeTable::parse(&source).expect_err(line);
            let found = mended(&source, error.span().expect("a place").start).unwrap_or_else(|| panic!("{line}"));
            assert!(found.line.starts_with("tempos = [84, 112]"), "{line}: {}", found.line);
        }
    }

    #[test]
    fn nothing_is_proposed_that_does_not_help() {
        for source in ["a = 1\na = 2\n", "a = \"\"\"\nb\n", "[a]\nx = 1\n[a]\n", "\u{0}", "a = [\n1\n2\n]\n"] {
            let error = DeTable::parse(source).expect_err(source);
            assert_eq!(mended(source, error.span().map_or(0, |span| span.start)), None, "{source}");
        }
    }
}
