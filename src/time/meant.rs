//! Lists of tempos as people write them.

use super::{Tempo, tempos};

/// The most tempos that a range is made of where nobody says its step.
const MOST: i64 = 10;
/// Steps that people count tempos in, the smallest first.
const STEPS: [i64; 9] = [1, 2, 4, 5, 10, 20, 50, 100, 200];

/// What to write for a list of tempos that is written otherwise: `80-140` is `80..140:10`, `84 112` is `84,112`, `120 bpm` is `120`.
///
/// What it gives is a list that can be read.
#[must_use]
pub fn tempos_meant(text: &str) -> Option<String> {
    const LONGEST: usize = 200;
    if text.len() > LONGEST {
        return None;
    }
    let text = text.to_lowercase().replace("bpm", " ").replace("to", "-").replace("and", ",").replace("..=", "..");
    let plain: String = text
        .chars()
        .map(|c| match c {
            ';' | '/' | '&' | '+' => ',',
            '\u{2013}' | '\u{2014}' | '\u{2212}' => '-',
            '[' | ']' | '(' | ')' | '{' | '}' | '"' | '\'' | '=' => ' ',
            c => c,
        })
        .collect();
    let plain = joined(&plain);
    let parts = plain.split(',').filter(|part| !part.is_empty());
    let all: Option<Vec<String>> = parts.map(|part| range(part).or_else(|| one(part).map(|t| t.to_string()))).collect();
    let list = all?.join(",");
    (!list.is_empty() && tempos(&list).is_ok()).then_some(list)
}

/// Two of a list that were most likely one: `97,5` is 97 and 5, and nobody plays at 5.
#[must_use]
pub fn decimal_comma(tempos: &[Tempo]) -> Option<String> {
    const WHOLE: u64 = 1_000_000;
    let unlikely = |pair: &&[Tempo]| {
        let [first, second] = pair else { return false };
        first.micro() >= 20 * WHOLE
            && second.micro() < 10 * WHOLE
            && [first, second].iter().all(|t| t.micro() % WHOLE == 0)
    };
    let pair = tempos.windows(2).find(unlikely)?;
    Some(format!(
        "{} and {} are two tempos; for one between {} and {}, write {}.{}",
        pair[0],
        pair[1],
        pair[0],
        pair[0].micro() / WHOLE + 1,
        pair[0],
        pair[1]
    ))
}

/// Blanks part items, but not an item from what belongs to it.
fn joined(text: &str) -> String {
    let mut out = String::new();
    for word in text.split_whitespace() {
        let joins = |c: char| "-.:,".contains(c);
        if !out.is_empty() && !out.ends_with(joins) && !word.starts_with(joins) {
            out.push(',');
        }
        out.push_str(word);
    }
    out
}

fn one(text: &str) -> Option<Tempo> {
    text.trim_matches(['.', '-', ':']).parse().ok()
}

fn range(part: &str) -> Option<String> {
    let (ends, step) = match part.rsplit_once(':') {
        Some((ends, step)) if ends.contains(['-', '.']) => (ends, Some(step)),
        _ => (part, None),
    };
    let (from, to) = ends.split_once("..").or_else(|| ends.split_once('-')).or_else(|| ends.split_once(':'))?;
    let (from, to) = (one(from)?, one(to)?);
    let (from, to) = if from <= to { (from, to) } else { (to, from) };
    if let Some(step) = step {
        let written = format!("{from}..{to}:{}", step.trim_start_matches('-'));
        if tempos(&written).is_ok() {
            return Some(written);
        }
    }
    let span = to.bpm() - from.bpm();
    let few = |step: &&i64| span / **step as f64 <= MOST as f64 - 1.0;
    let meets = |step: &&i64| span % **step as f64 == 0.0;
    // One that comes to the end of the range, if there is one; 1000 tempos are at most 5 steps of 200.
    let step = STEPS.iter().find(|step| few(step) && meets(step)).or(STEPS.iter().find(few)).unwrap_or(&200);
    Some(format!("{from}..{to}:{step}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lists_are_those_that_were_meant() {
        for (text, meant) in [
            ("80-140", "80..140:10"),
            ("80 - 140", "80..140:10"),
            ("80\u{2013}140", "80..140:10"),
            ("80 to 140", "80..140:10"),
            ("84-112", "84..112:4"),
            ("60..70", "60..70:2"),
            ("60..=70", "60..70:2"),
            ("70..60:5", "60..70:5"),
            ("60..70:0", "60..70:2"),
            ("84 112", "84,112"),
            ("84;112", "84,112"),
            ("84/112", "84,112"),
            ("84, 112,", "84,112"),
            ("[84, 112]", "84,112"),
            ("84 and 112", "84,112"),
            ("120bpm", "120"),
            ("120 BPM", "120"),
            ("=120", "120"),
        ] {
            assert_eq!(tempos_meant(text).as_deref(), Some(meant), "{text}");
        }
        for text in ["", "fast", "0", "2000-3000", ",", "1e3"] {
            assert_eq!(tempos_meant(text), None, "{text}");
        }
    }

    #[test]
    fn any_range_is_read_again_with_its_ends_and_few_tempos() {
        for from in 1..300 {
            for to in from + 1..=300 {
                let meant = tempos_meant(&format!("{from}-{to}")).expect("a range");
                let all = tempos(&meant).expect("a list");
                assert!(all.len() <= 10 && all[0] == Tempo::whole(from), "{meant}");
            }
        }
    }

    #[test]
    fn a_decimal_comma_is_noticed_only_where_nobody_plays() {
        let says = |text: &str| decimal_comma(&tempos(text).expect("tempos"));
        assert!(says("97,5").is_some_and(|note| note.contains("write 97.5")));
        for text in ["60,90", "120,60", "97.5,5", "5,97", "97", "12,10"] {
            assert_eq!(says(text), None, "{text}");
        }
    }
}
