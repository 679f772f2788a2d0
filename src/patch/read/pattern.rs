//! Patterns: box notation, and hits spread as evenly as whole steps allow.

use crate::patch::model::Step;

/// The most steps that a pattern has.
pub const MOST_STEPS: usize = 4096;

/// Why a text is no pattern.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PatternError {
    /// A character that means nothing, and the byte at which it stands.
    #[error("`{}` is not a step", crate::patch::check::show::shown(&.found.to_string()))]
    Unknown {
        /// The character.
        found: char,
        /// Its byte in the text.
        index: usize,
    },
    /// No step at all.
    #[error("a pattern without a step")]
    Empty,
    /// More steps than [`MOST_STEPS`].
    #[error("a pattern of {0} steps; at most {MOST_STEPS}")]
    TooLong(usize),
}

/// Reads box notation: `x` a hit, `X` an accent, `.` a rest; blanks and `|` are ignored.
///
/// # Errors
/// At the first other character, without a step, or past [`MOST_STEPS`].
pub fn steps(text: &str) -> Result<Vec<Step>, PatternError> {
    let mut steps = Vec::new();
    for (index, found) in text.char_indices() {
        match found {
            'x' => steps.push(Step::Hit),
            'X' => steps.push(Step::Accent),
            '.' => steps.push(Step::Rest),
            '|' | ' ' | '\t' | '\n' | '\r' => {}
            _ => return Err(PatternError::Unknown { found, index }),
        }
    }
    match steps.len() {
        0 => Err(PatternError::Empty),
        count if count > MOST_STEPS => Err(PatternError::TooLong(count)),
        _ => Ok(steps),
    }
}

/// `hits` spread over `steps` as evenly as whole steps allow, by Bjorklund's grouping; then every hit `rotate` steps
/// later, going round.
///
/// The grouping is that of Toussaint 2005 ("The Euclidean algorithm generates traditional musical rhythms"): begin with
/// a group for each hit and a group for each rest, and again and again hang the groups of the shorter kind onto those of
/// the other, until at most one is left over. Without rotation it begins on a hit, and it is the row that the paper
/// prints. One rest alone is hung on too, though the grouping could stop there at once: the paper prints `x.xx` for 3 in
/// 4, where stopping gives the rotation `xxx.`, which a later paper (Demaine et al. 2009) prints.
///
/// Shapes: the answer has `steps` items, of which `hits` are true. `hits` past `steps` counts as `steps`.
#[must_use]
pub fn euclidean(hits: usize, steps: usize, rotate: i64) -> Vec<bool> {
    let hits = hits.min(steps);
    let mut pattern = grouped(hits, steps - hits);
    if let Ok(around @ 1..) = i64::try_from(steps) {
        pattern.rotate_right(usize::try_from(rotate.rem_euclid(around)).unwrap_or(0));
    }
    pattern
}

/// Groups as Euclid divides: whole runs of rounds are done at once, so that the cost stays near the pattern's length.
fn grouped(hits: usize, rests: usize) -> Vec<bool> {
    if hits == 0 || rests == 0 {
        return vec![hits > 0; hits + rests];
    }
    let (mut head, mut heads) = (vec![true], hits);
    let (mut tail, mut tails) = (vec![false], rests);
    loop {
        if heads > tails {
            let joined = [head.as_slice(), tail.as_slice()].concat();
            (tail, head) = (head, joined);
            (heads, tails) = (tails, heads - tails);
        } else {
            head.extend(tail.repeat(tails / heads));
            tails %= heads;
        }
        if tails <= 1 {
            break;
        }
    }
    let mut pattern = head.repeat(heads);
    pattern.extend(tail.repeat(tails));
    pattern
}
