//! Text as it may stand in a picture, and how much room it takes.

use crate::text::{plain, within};
use std::fmt::Write;

/// The most characters of a title or a description that are kept.
const MOST: usize = 400;

/// A text as a reader may be shown it: what is unsafe becomes a visible mark, which all is that XML does not know; blanks
/// and line ends become one blank.
#[must_use]
pub(super) fn clean(text: &str) -> String {
    let mut out = String::new();
    let mut blank = false;
    for c in text.chars() {
        if c.is_whitespace() {
            blank = !out.is_empty();
            continue;
        }
        if blank {
            out.push(' ');
            blank = false;
        }
        out.push(c);
    }
    // A title in a right-to-left script needs no overrides, and one that is left open would turn what stands behind it.
    within(&plain(&out), MOST)
}

/// A text with all that means something in XML written as a reference.
#[must_use]
pub(super) fn escaped(text: &str) -> String {
    let mut out = String::new();
    for c in clean(text).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

/// How wide a text is at most, in units of its size: each character as wide as the widest of the common sans-serif
/// fonts draws it, rounded up: measured in a browser with `DejaVu Sans`, which is wider than most, and `Liberation Sans`, for
/// letters of Latin, Cyrillic, Hebrew and Arabic. A full-width letter is as wide as its size.
#[must_use]
pub(super) fn ems(text: &str) -> f64 {
    clean(text).chars().map(em).sum()
}

fn em(c: char) -> f64 {
    match c {
        'i' | 'l' | 'j' | 'I' | '.' | ',' | ':' | ';' | '\'' | '|' | '·' | ' ' => 0.36,
        '!' | 'f' | 't' | 'r' | '(' | ')' | '[' | ']' | '-' | '/' => 0.44,
        'm' | 'w' | 'M' | 'W' | '%' | '@' => 1.02,
        '0'..='9' => 0.64,
        'a'..='z' => 0.64,
        'A'..='Z' => 0.79,
        'µ' | '–' | '×' => 0.84,
        c if c.is_ascii() => 0.84,
        '\u{0}'..='\u{ffff}' => 1.25,
        _ => 1.4,
    }
}

/// The text cut to a width in units of its size, with an ellipsis where something is missing.
#[must_use]
pub(super) fn fitted(text: &str, width: f64) -> String {
    let text = clean(text);
    if ems(&text) <= width {
        return text;
    }
    let mut out = String::new();
    let mut room = width - em('…');
    for c in text.chars() {
        room -= em(c);
        if room < 0.0 {
            break;
        }
        out.push(c);
    }
    out.truncate(out.trim_end().len());
    out.push('…');
    out
}

/// A coordinate with at most two decimals: the same text on every machine.
#[must_use]
pub(super) fn number(value: f64) -> String {
    let hundredths = (value * 100.0).round();
    let hundredths = if hundredths.is_finite() { hundredths.clamp(-1e12, 1e12) as i64 } else { 0 };
    let (sign, size) = (if hundredths < 0 { "-" } else { "" }, hundredths.unsigned_abs());
    let (whole, part) = (size / 100, size % 100);
    let mut out = format!("{sign}{whole}");
    if part > 0 {
        let _ = write!(out, ".{}", format!("{part:02}").trim_end_matches('0'));
    }
    out
}

/// A figure of a scale: whole from 1 on, else with the decimals that it needs.
#[must_use]
pub(super) fn figure(value: f64) -> String {
    let mut out = format!("{value:.6}");
    out.truncate(out.trim_end_matches('0').trim_end_matches('.').len());
    if let Some(size) = out.strip_prefix('-') {
        return format!("−{size}");
    }
    out
}

/// A time in milliseconds as [`figure`] has it, to the last picosecond.
#[must_use]
pub(super) fn exact(ms: f64) -> String {
    let text = format!("{ms:.9}");
    text.trim_end_matches('0').trim_end_matches('.').replace('-', "−")
}

/// Whatever was given as a part of an id that is unique in a page: letters, digits, `-` and `_` only.
#[must_use]
pub(super) fn id(text: &str) -> String {
    let plain = |c: char| if c.is_ascii_alphanumeric() || c == '-' || c == '_' { c } else { '-' };
    format!("hg-{}", text.chars().take(200).map(plain).collect::<String>())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_two_decimals_at_most_and_no_minus_nought() {
        let cases = [(0.0, "0"), (-0.001, "0"), (12.5, "12.5"), (-3.25, "-3.25"), (1.0 / 3.0, "0.33"), (7.0, "7")];
        for (value, text) in cases {
            assert_eq!(number(value), text);
        }
        assert_eq!([figure(0.01), figure(1000.0), figure(-0.5)], ["0.01", "1000", "−0.5"]);
        assert_eq!([exact(2.000_000_001), exact(2.0), exact(-0.5)], ["2.000000001", "2", "−0.5"]);
    }

    #[test]
    fn what_would_turn_or_end_a_text_is_marked() {
        assert_eq!(clean(" a\u{202e}b\n\tc\u{0}\u{7} "), "a\u{fffd}b c\u{fffd}\u{fffd}");
        assert_eq!(escaped("<script>\"&'"), "&lt;script&gt;&quot;&amp;&#39;");
        assert_eq!(fitted("a long title", 4.0), "a lon…");
        assert!(ems(&fitted(&"W".repeat(10_000), 20.0)) <= 20.0);
        assert_eq!(id("a b\"ä"), "hg-a-b--");
    }
}
