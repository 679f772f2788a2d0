//! Rates as musicians write them: note values, pulses per quarter note, bars.

use crate::time::Beat;
use num_rational::Ratio;

/// The largest number on either side of a rate.
pub const LARGEST_RATE: i128 = 10_000;
/// Names of note values, and how many quarter notes each lasts.
const NOTES: [(&str, i128, i128); 15] = [
    ("whole", 4, 1),
    ("semibreve", 4, 1),
    ("half", 2, 1),
    ("halve", 2, 1),
    ("minim", 2, 1),
    ("quarter", 1, 1),
    ("crotchet", 1, 1),
    ("beat", 1, 1),
    ("eighth", 1, 2),
    ("eight", 1, 2),
    ("quaver", 1, 2),
    ("sixteenth", 1, 4),
    ("semiquaver", 1, 4),
    ("thirtysecond", 1, 8),
    ("demisemiquaver", 1, 8),
];
/// Words that say nothing about how often.
const FILLERS: [&str; 15] =
    ["of", "note", "a", "an", "the", "clock", "pulse", "tick", "time", "hit", "step", "x", "straight", "on", "play"];

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Token {
    Number(i128),
    /// A length in quarter notes.
    Length(Beat),
    /// Behind a number: that note value, as in `16th`.
    Ordinal,
    /// Pulses per quarter note.
    PerQuarter,
    Per,
    Triplet,
    Dotted,
}

/// What to write for a rate that is written in the words of musicians; a bar lasts `bar` quarter notes.
///
/// What it gives is a rate that can be read. `1/16`, `16th` and `sixteenths` are `4 per beat`, `24ppqn` is `24 per beat`, `1/8T` is
/// `3 per beat`, and `1 per 4 bars` is `1 per 16 beats` where a bar has four.
#[must_use]
pub fn rate_meant(text: &str, bar: Beat) -> Option<String> {
    let written = spelled(period(&tokens(text, bar)?)?)?;
    (written != text.trim()).then_some(written)
}

/// Whether a text counts in bars, so that what it means depends on the meter.
#[must_use]
pub fn counts_bars(text: &str) -> bool {
    let text = text.to_lowercase();
    text.contains("bar") || text.contains("measure")
}

fn spelled(period: Beat) -> Option<String> {
    let (over, under) = (*period.numer(), *period.denom());
    let fits = (1..=LARGEST_RATE).contains(&over) && (1..=LARGEST_RATE).contains(&under);
    fits.then(|| if over == 1 { format!("{under} per beat") } else { format!("{under} per {over} beats") })
}

fn period(tokens: &[Token]) -> Option<Beat> {
    use Token::{Dotted, Length, Number, Ordinal, Per, PerQuarter, Triplet};
    let whole = |n: i128| (n > 0).then(|| Ratio::from_integer(n));
    // Of a whole note, which lasts four quarters; finer than a 128th nobody writes.
    let note = |over: i128, under: i128| (over > 0 && (1..=128).contains(&under)).then(|| Ratio::new(4 * over, under));
    let (rest, stretch) = match tokens {
        [rest @ .., Triplet] | [Triplet, rest @ ..] => (rest, Ratio::new(2, 3)),
        [rest @ .., Dotted] | [Dotted, rest @ ..] => (rest, Ratio::new(3, 2)),
        all => (all, Ratio::from_integer(1)),
    };
    let is_note = stretch != Ratio::from_integer(1);
    let period = match *rest {
        [Number(n), PerQuarter] => whole(n)?.recip(),
        [Number(over), Per, Number(under)] | [Number(over), Per, Number(under), Ordinal] => note(over, under)?,
        [Per, Number(n)] => whole(n)?,
        [Number(under), Ordinal] | [Per, Number(under), Ordinal] => note(1, under)?,
        [Number(under)] if is_note => note(1, under)?,
        [Number(n)] | [Number(n), Per] => whole(n)?.recip(),
        [Length(length)] | [Per, Length(length)] => length,
        [Number(n), Per, Length(length)] => length / whole(n)?,
        [Number(n), Per, Number(m), Length(length)] => length * whole(m)? / whole(n)?,
        [Number(m), Length(length)] | [Per, Number(m), Length(length)] => length * whole(m)?,
        _ => return None,
    };
    Some(period * stretch)
}

fn tokens(text: &str, bar: Beat) -> Option<Vec<Token>> {
    let mut found = Vec::new();
    let text = text.trim().to_lowercase().replace("thirty-second", "thirtysecond").replace("per cent", "%");
    let mut rest = text.as_str();
    while let Some(first) = rest.chars().next() {
        let same = |c: char| if first.is_ascii_digit() { c.is_ascii_digit() } else { c.is_alphabetic() };
        let end = rest.find(|c| !same(c)).unwrap_or(rest.len()).max(first.len_utf8());
        let (piece, after) = rest.split_at(end);
        rest = after;
        // A longer list is no rate, and so is a number that no rate may have.
        if found.len() > 6 || piece.len() > 16 {
            return None;
        }
        match piece {
            " " | "\t" | "-" | "_" => {}
            "/" | ":" => found.push(Token::Per),
            "." => found.push(Token::Dotted),
            _ if first.is_ascii_digit() => {
                found.push(Token::Number(piece.parse().ok().filter(|n| *n <= LARGEST_RATE)?));
            }
            _ => found.extend(word(piece, bar)?),
        }
    }
    Some(found)
}

/// A word, or nothing for one that says nothing; `None` for what is not known.
fn word(word: &str, bar: Beat) -> Option<Option<Token>> {
    let known = |word: &str| {
        Some(match word {
            "th" | "st" | "nd" | "rd" => Token::Ordinal,
            "ppqn" | "ppq" | "ppb" => Token::PerQuarter,
            "per" | "to" | "in" | "every" | "each" => Token::Per,
            "t" | "triplet" | "trip" => Token::Triplet,
            "d" | "dot" | "dotted" => Token::Dotted,
            "once" | "one" => Token::Number(1),
            "twice" | "two" => Token::Number(2),
            "four" => Token::Number(4),
            "bar" | "measure" => Token::Length(bar),
            _ => {
                let (_, over, under) = NOTES.iter().find(|(name, ..)| *name == word)?;
                Token::Length(Ratio::new(*over, *under))
            }
        })
    };
    // A plural is the word itself.
    let singular = word.strip_suffix('s').unwrap_or(word);
    match known(word).or_else(|| known(singular)) {
        Some(token) => Some(Some(token)),
        None if FILLERS.contains(&word) || FILLERS.contains(&singular) => Some(None),
        None => None,
    }
}

#[cfg(test)]
mod tests {
    use super::super::rate;
    use super::*;

    fn beats(n: i128, d: i128) -> Beat {
        Ratio::new(n, d)
    }

    #[test]
    fn rates_in_the_words_of_musicians_are_those_that_they_mean() {
        // Note values of theory: a whole note has four quarters, a triplet two thirds of its note, a dotted note one and a half.
        let four = beats(4, 1);
        for (text, period) in [
            ("1/16", beats(1, 4)),
            ("16th", beats(1, 4)),
            ("16ths", beats(1, 4)),
            ("1/16th notes", beats(1, 4)),
            ("sixteenth", beats(1, 4)),
            ("Sixteenth notes", beats(1, 4)),
            ("24ppqn", beats(1, 24)),
            ("24 PPQ", beats(1, 24)),
            ("4ppq", beats(1, 4)),
            ("1/8T", beats(1, 3)),
            ("8T", beats(1, 3)),
            ("1/8 triplets", beats(1, 3)),
            ("eighth-note triplet", beats(1, 3)),
            ("1/8.", beats(3, 4)),
            ("dotted eighth", beats(3, 4)),
            ("32nd", beats(1, 8)),
            ("half", beats(2, 1)),
            ("1 per 4 bars", beats(16, 1)),
            ("once every 4 bars", beats(16, 1)),
            ("every bar", beats(4, 1)),
            ("every 16th", beats(1, 4)),
            ("1/bar", beats(4, 1)),
            ("4 bars", beats(16, 1)),
            ("4/beat", beats(1, 4)),
            ("4 pulses per quarter note", beats(1, 4)),
            ("4x", beats(1, 4)),
            ("/2", beats(2, 1)),
        ] {
            let written = rate_meant(text, four).unwrap_or_else(|| panic!("{text}"));
            assert_eq!(rate(&written), Ok(period), "{text}: {written}");
        }
        assert_eq!(rate_meant("1 per 2 bars", beats(7, 2)).as_deref(), Some("1 per 7 beats"));
        assert_eq!(rate_meant("1 per bar", beats(7, 2)).as_deref(), Some("2 per 7 beats"));
    }

    #[test]
    fn what_may_mean_anything_is_not_guessed() {
        for text in ["fast", "", "2 Hz", "0", "1/0", "0ppqn", "99999 per beat", "1 2 3", "4 5 6 7 8 9 1 2"] {
            assert_eq!(rate_meant(text, beats(4, 1)), None, "{text}");
        }
    }

    #[test]
    fn every_note_value_with_every_ending_is_read_again() {
        for under in [1, 2, 4, 8, 16, 32, 64, 128] {
            for (ending, stretch) in
                [("", beats(1, 1)), ("T", beats(2, 3)), (" dotted", beats(3, 2)), ("th", beats(1, 1))]
            {
                let text = format!("1/{under}{ending}");
                let written = rate_meant(&text, beats(4, 1)).unwrap_or_else(|| panic!("{text}"));
                assert_eq!(rate(&written), Ok(beats(4, under) * stretch), "{text}");
            }
        }
    }
}
