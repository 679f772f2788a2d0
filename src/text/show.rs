use super::piece::{Piece, pieces};
use super::unsafe_chars::is_unsafe;

/// What stands for what may not be shown.
const MARK: char = '\u{fffd}';
/// Most characters of a text that a message repeats.
const MOST_SHOWN: usize = 60;

/// A text of any length on one line of a terminal: what it would obey, or hide, becomes a visible mark.
#[must_use]
pub fn plain(text: &str) -> String {
    marked(text, |_| false)
}

/// A text of any length on one line, as [`plain`] gives it, where `allowed` says which unsafe characters stay as they are.
#[must_use]
pub fn marked(text: &str, allowed: impl Fn(char) -> bool) -> String {
    let shown = |piece| match piece {
        Piece::Text(c) => c,
        Piece::Unsafe(c) if allowed(c) => c,
        Piece::Unsafe(_) | Piece::Pile(_) => MARK,
    };
    pieces(text).map(shown).collect()
}

/// A text as a message may repeat it: on one line, short, and without anything that a terminal would obey: that is spelled, as
/// `\u{1b}`.
#[must_use]
pub fn shown(text: &str) -> String {
    spelled(text, MOST_SHOWN)
}

/// A text as a message may repeat it, cut after so many characters.
#[must_use]
pub fn spelled(text: &str, most: usize) -> String {
    let mut out = String::new();
    for (n, piece) in pieces(text).enumerate() {
        if n == most {
            out.push('…');
            break;
        }
        spell(piece, |_| false, &mut out);
    }
    out
}

/// A text of ours that may hold pieces of a file: any length and number of lines, but nothing else that a terminal
/// would obey.
#[must_use]
pub fn tamed(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    pieces(text).for_each(|piece| spell(piece, |c| c == '\n', &mut out));
    out
}

fn spell(piece: Piece, allowed: impl Fn(char) -> bool, out: &mut String) {
    match piece {
        Piece::Text(c) => out.push(c),
        Piece::Unsafe(c) if allowed(c) => out.push(c),
        Piece::Unsafe(c) => out.extend(c.escape_default()),
        Piece::Pile(_) => out.push(MARK),
    }
}

/// A text of JSON in which what a terminal would obey is spelled as numbers. JSON itself asks that of the first 32 characters
/// only; readers read both alike.
#[must_use]
pub fn tamed_json(json: &str) -> String {
    let mut out = String::with_capacity(json.len());
    for c in json.chars() {
        // Outside of strings there is no such character but the line break, and within them that is spelled already.
        if c != '\n' && is_unsafe(c) {
            c.encode_utf16(&mut [0; 2]).iter().for_each(|unit| out.push_str(&format!("\\u{unit:04x}")));
        } else {
            out.push(c);
        }
    }
    out
}

/// A text of at most so many characters, the last of them `…` where something is missing.
#[must_use]
pub fn within(text: &str, most: usize) -> String {
    match text.char_indices().nth(most) {
        None => text.to_owned(),
        Some(_) => text.chars().take(most.saturating_sub(1)).chain(['…']).collect(),
    }
}

/// What a message is cut to: a screen. Several stand apart by an empty line, as the faults of a file do.
const MOST_LINES: usize = 24;
const MOST_IN_A_LINE: usize = 1500;
/// Of each line, where they would be too much together: a line of a file, say, and what underlines it.
const MOST_OF_EACH: usize = 400;
const MOST_IN_A_MESSAGE: usize = 3000;

/// Messages as they may reach a terminal, whatever they were put together from: each no longer than a screen. Colours stay
/// where there are any to stay.
#[must_use]
pub fn message(text: &str, colors: bool) -> String {
    let messages: Vec<String> = text.trim_end().split("\n\n").map(|one| screen(one, colors)).collect();
    messages.join("\n\n")
}

fn screen(message: &str, colors: bool) -> String {
    let each = |most: usize| -> Vec<String> {
        message.lines().take(MOST_LINES).map(|line| within(&safe_line(line, colors), most)).collect()
    };
    let mut lines = each(MOST_IN_A_LINE);
    if lines.iter().map(|line| line.chars().count()).sum::<usize>() > MOST_IN_A_MESSAGE {
        lines = each(MOST_OF_EACH);
    }
    // What to do stands last, and matters most.
    let help = message.lines().skip(MOST_LINES).filter(|line| line.starts_with("help: ")).last();
    if let Some(help) = help.or_else(|| message.lines().nth(MOST_LINES).map(|_| "…")) {
        lines.truncate(MOST_LINES - 1);
        lines.push(within(&safe_line(help, colors), MOST_OF_EACH));
    }
    within(&lines.join("\n"), MOST_IN_A_MESSAGE)
}

/// A line without what a terminal would obey, but for colours.
fn safe_line(line: &str, colors: bool) -> String {
    let mut out = String::new();
    let mut rest = line;
    while let Some((text, color)) = rest.split_once('\u{1b}').filter(|_| colors) {
        out.push_str(&marked(text, |c| c == '\t'));
        let code =
            color.find(|c: char| !matches!(c, '0'..='9' | ';' | '[')).filter(|&end| color[..end].starts_with('['));
        match code.filter(|&end| color[end..].starts_with('m')) {
            Some(end) => {
                out.push('\u{1b}');
                out.push_str(&color[..=end]);
                rest = &color[end + 1..];
            }
            None => {
                out.push(MARK);
                rest = color;
            }
        }
    }
    out.push_str(&marked(rest, |c| c == '\t'));
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_terminal_would_obey_is_spelled_out() {
        assert_eq!(shown("a\u{1b}[31m\u{202e}b\n"), "a\\u{1b}[31m\\u{202e}b\\n");
        assert_eq!(shown(&"x".repeat(1000)).chars().count(), 61);
        assert_eq!(tamed("a\u{1b}\n\u{e0041}"), "a\\u{1b}\n\\u{e0041}");
    }

    #[test]
    fn json_says_the_same_when_it_is_tamed() {
        let text = "\u{1b}[31m\u{9b}\u{7f}\u{202e}\u{feff}\u{e0041}\u{10ffff}\n\"\\日👩\u{200d}🚀";
        let tame = tamed_json(&serde_json::to_string_pretty(&[text]).expect("JSON"));
        assert!(tame.chars().all(|c| c == '\n' || !is_unsafe(c)), "{tame}");
        assert_eq!(serde_json::from_str::<Vec<String>>(&tame).expect("JSON"), [text]);
    }

    #[test]
    fn no_message_is_longer_than_a_screen() {
        let long = format!("error: {}\nhelp: do", "x".repeat(100_000));
        let told = message(&long, false);
        assert!(told.chars().count() < 1600 && told.ends_with("…\nhelp: do"), "{told}");
        let many = format!("error: a\n{}help: do", "line\n".repeat(1000));
        let told = message(&many, false);
        assert_eq!((told.lines().count(), told.lines().last()), (24, Some("help: do")));
        let marks = format!("error: a{}\nhelp: do", "\u{301}".repeat(100_000));
        assert_eq!(message(&marks, false), format!("error: a{}\u{fffd}\nhelp: do", "\u{301}".repeat(6)));
        let two = "error: a\n\nerror: b\n";
        assert_eq!(message(two, false), two.trim_end());
    }

    #[test]
    fn colors_stay_where_they_are_wanted_and_nothing_else() {
        let red = "\u{1b}[1;31merror\u{1b}[0m: \u{1b}]0;x\u{7}\u{1b}[2J\u{1b}m";
        assert_eq!(message(red, true), "\u{1b}[1;31merror\u{1b}[0m: \u{fffd}]0;x\u{fffd}\u{fffd}[2J\u{fffd}m");
        assert_eq!(message("\u{1b}[31mx", false), "\u{fffd}[31mx");
    }
}
