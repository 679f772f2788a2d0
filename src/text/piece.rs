use super::unsafe_chars::is_unsafe;
use std::iter::{Peekable, from_fn};
use std::str::Chars;
use unicode_width::UnicodeWidthChar;

/// Marks that one letter may carry. More stack up over the lines around it, and there is no end to them; a letter of pointed
/// Hebrew has four or five (from memory).
pub(super) const MOST_MARKS: usize = 6;

/// A character of a text, by what may become of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Piece {
    /// It may be shown.
    Text(char),
    /// It may not.
    Unsafe(char),
    /// The first mark too many on one letter; those behind it are left out.
    Pile(char),
}

/// A text character by character.
///
/// Three kinds of unsafe ones are text where a script is not written without them: what chooses the form of the emoji before
/// it, what joins two emoji, and what parts or joins two letters of the scripts from Arabic to Mongolian.
pub(super) fn pieces(text: &str) -> impl Iterator<Item = Piece> {
    let mut chars = text.chars().peekable();
    let (mut before, mut marks) = (None, 0);
    from_fn(move || {
        loop {
            let c = chars.next()?;
            if is_unsafe(c) && !is_text(before, c, &mut chars) {
                (before, marks) = (None, 0);
                return Some(Piece::Unsafe(c));
            }
            marks = if c.width() == Some(0) { marks + 1 } else { 0 };
            before = Some(c);
            match marks.cmp(&(MOST_MARKS + 1)) {
                std::cmp::Ordering::Less => return Some(Piece::Text(c)),
                std::cmp::Ordering::Equal => return Some(Piece::Pile(c)),
                std::cmp::Ordering::Greater => {}
            }
        }
    })
}

/// Whether an unsafe character is text between what is before and behind it.
fn is_text(before: Option<char>, c: char, behind: &mut Peekable<Chars<'_>>) -> bool {
    let (Some(before), behind) = (before, behind.peek().copied()) else { return false };
    match c {
        '\u{fe0e}' | '\u{fe0f}' => {
            is_emoji(before) || (matches!(before, '0'..='9' | '#' | '*') && behind == Some('\u{20e3}'))
        }
        '\u{200d}' if behind.is_some_and(is_emoji) => is_emoji(before) || before == '\u{fe0f}',
        '\u{200c}' | '\u{200d}' => is_joined(before) && behind.is_some_and(is_joined),
        _ => false,
    }
}

/// Where all emoji are, among other signs.
fn is_emoji(c: char) -> bool {
    matches!(c, '\u{a9}' | '\u{ae}' | '\u{203c}'..='\u{205e}' | '\u{2070}'..='\u{2bff}' | '\u{3030}' | '\u{303d}'
        | '\u{3297}' | '\u{3299}' | '\u{1f000}'..='\u{1faff}' | '\u{1fc00}'..='\u{1fffd}')
}

/// A letter or a mark of a script whose letters join.
fn is_joined(c: char) -> bool {
    matches!(c, '\u{620}'..='\u{18aa}') && !is_unsafe(c) && (c.is_alphanumeric() || c.width() == Some(0))
}
