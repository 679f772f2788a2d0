//! Text from a file, made fit to be shown.

/// Most characters of a text that a message repeats.
const MOST_SHOWN: usize = 60;

/// A text as a message may show it: on one line, short, and without anything that a terminal would obey.
///
/// Control characters and those that turn the direction of writing are shown as `\u{1b}`.
#[must_use]
pub fn shown(text: &str) -> String {
    let mut out = String::new();
    for (n, c) in text.chars().enumerate() {
        if n == MOST_SHOWN {
            out.push('…');
            break;
        }
        if is_unsafe(c) { out.extend(c.escape_default()) } else { out.push(c) }
    }
    out
}

/// A text of ours that may hold pieces of a file: any length and number of lines, but nothing else that a terminal
/// would obey.
pub(super) fn tamed(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        if is_unsafe(c) && c != '\n' { out.extend(c.escape_default()) } else { out.push(c) }
    }
    out
}

/// A text of JSON in which what a terminal would obey is spelled as numbers. JSON itself asks that of the first 32 characters
/// only; readers read both alike.
#[must_use]
pub fn tamed_json(json: &str) -> String {
    let mut out = String::with_capacity(json.len());
    for c in json.chars() {
        // Outside of strings there is no such character but the line break, and within them that is spelled already.
        if c != '\n' && is_unsafe(c) { out.push_str(&format!("\\u{:04x}", u32::from(c))) } else { out.push(c) }
    }
    out
}

/// Whether a character may make a terminal do more than show it: controls, and marks that turn or hide text.
#[must_use]
pub fn is_unsafe(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{61c}')
}

/// The known name nearest to what was written, if one is near enough to be meant: at most a third of its letters apart.
pub(super) fn nearest<'a>(found: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    by_nearness(found, known)
        .into_iter()
        .next()
        .filter(|(distance, name)| *distance * 3 <= name.len().max(3))
        .map(|(_, name)| name)
}

/// Known names with their distance to what was written, nearest first; equal distances keep their order.
pub(super) fn by_nearness<'a>(found: &str, known: impl IntoIterator<Item = &'a str>) -> Vec<(usize, &'a str)> {
    // The cost is the product of two lengths, and a file may ask for it very often: names are told apart by less.
    let start = |name: &str| name.chars().take(32).collect::<String>().to_ascii_lowercase().replace('_', "-");
    let found = start(found);
    let mut all: Vec<_> = known.into_iter().map(|k| (strsim::osa_distance(&found, &start(k)), k)).collect();
    all.sort_by_key(|(distance, _)| *distance);
    all
}

/// Names for a sentence: `` `a`, `b` and `c` ``; past twenty the rest is counted.
pub(super) fn listed<'a>(names: impl IntoIterator<Item = &'a str>) -> String {
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
    fn what_a_terminal_would_obey_is_spelled_out() {
        assert_eq!(shown("a\u{1b}[31m\u{202e}b\n"), "a\\u{1b}[31m\\u{202e}b\\n");
        assert_eq!(shown(&"x".repeat(1000)).chars().count(), 61);
    }

    #[test]
    fn json_says_the_same_when_it_is_tamed() {
        let text = "\u{1b}[31m\u{9b}\u{7f}\u{202e}\u{feff}\n\"\\日";
        let tame = tamed_json(&serde_json::to_string_pretty(&[text]).expect("JSON"));
        assert!(tame.chars().all(|c| c == '\n' || !is_unsafe(c)), "{tame}");
        assert_eq!(serde_json::from_str::<Vec<String>>(&tame).expect("JSON"), [text]);
    }

    #[test]
    fn the_nearest_name_is_one_that_may_be_meant() {
        let known = ["rate", "phase", "width", "reset-mode"];
        assert_eq!(nearest("widht", known), Some("width"));
        assert_eq!(nearest("reset_mode", known), Some("reset-mode"));
        assert_eq!(nearest("colour", known), None);
        assert_eq!(listed(known), "`rate`, `phase`, `width` and `reset-mode`");
    }
}
