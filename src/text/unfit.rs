use super::piece::{MOST_MARKS, Piece, pieces};

/// What makes a text unfit to be shown as it stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unfit {
    /// A character that shows nothing, or does more.
    Hidden(char),
    /// One mark too many on one letter.
    Pile(char),
}

/// The first thing in a text for which it cannot be shown as it stands, not counting what `allowed` lets through.
#[must_use]
pub fn unfit(text: &str, allowed: impl Fn(char) -> bool) -> Option<Unfit> {
    pieces(text).find_map(|piece| match piece {
        Piece::Unsafe(c) if !allowed(c) => Some(Unfit::Hidden(c)),
        Piece::Pile(c) => Some(Unfit::Pile(c)),
        Piece::Text(_) | Piece::Unsafe(_) => None,
    })
}

impl std::fmt::Display for Unfit {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Hidden(c) => write!(f, "the invisible character `{}`", c.escape_default()),
            Self::Pile(c) => {
                write!(f, "more than {MOST_MARKS} marks on one letter, `{}` the last,", c.escape_default())
            }
        }
    }
}
