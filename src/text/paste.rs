//! Commands to paste: the one that was typed, with one option set to something else.

use super::plain;

/// The most choices that are listed.
const MOST: usize = 12;

/// The command that was typed, once for each choice with `option` set to it, a line each.
/// `typed` are its words without the program's own name.
#[must_use]
pub fn commands(typed: &[String], option: &str, choices: &[String]) -> String {
    let mut lines: Vec<String> = choices.iter().take(MOST).map(|choice| command(typed, option, choice)).collect();
    if choices.len() > MOST {
        lines.push(format!("(and {} more)", choices.len() - MOST));
    }
    lines.iter().map(|line| format!("\n    {line}")).collect()
}

fn command(words: &[String], option: &str, choice: &str) -> String {
    let joined = format!("{option}=");
    let mut out: Vec<String> = vec!["hitgap".to_owned()];
    let mut words = words.iter();
    // After two dashes nothing is an option.
    for word in words.by_ref().take_while(|word| *word != "--") {
        if out.last().is_some_and(|last| last == option) {
            // What was given for it.
            out.pop();
        } else if !word.starts_with(&joined) {
            out.push(word.clone());
        }
    }
    if out.last().is_some_and(|last| last == option) {
        out.pop();
    }
    out.extend([option.to_owned(), choice.to_owned()]);
    let rest: Vec<String> = words.cloned().collect();
    if !rest.is_empty() {
        out.push("--".to_owned());
        out.extend(rest);
    }
    out.iter().map(|word| quoted(word)).collect::<Vec<_>>().join(" ")
}

/// A word as a shell takes it (POSIX.1-2017, Shell Command Language, 2.2.2): in single quotes where it has to be.
#[must_use]
pub fn quoted(word: &str) -> String {
    let is_bare = |c: char| c.is_alphanumeric() || "-_./:,=%+@".contains(c);
    if !word.is_empty() && word.chars().all(is_bare) {
        word.to_owned()
    } else {
        format!("'{}'", plain(word).replace('\'', "'\\''"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn with(line: &[&str]) -> String {
        command(&line.iter().map(|word| (*word).to_owned()).collect::<Vec<_>>(), "--on", "sequencer.ox.clock")
    }

    #[test]
    fn an_option_is_set_anew_wherever_it_stood_and_all_else_stays() {
        let wanted = "hitgap advise p.toml --tempo 60,75 --on sequencer.ox.clock";
        assert_eq!(with(&["advise", "p.toml", "--tempo", "60,75"]), wanted);
        assert_eq!(with(&["advise", "--on", "ox", "p.toml", "--tempo", "60,75"]), wanted);
        assert_eq!(with(&["advise", "p.toml", "--on=ox", "--tempo", "60,75"]), wanted);
        assert_eq!(with(&["advise", "p.toml", "--tempo", "60,75", "--on", "ox"]), wanted);
        assert_eq!(
            with(&["advise", "--on", "ox", "--", "-p.toml"]),
            "hitgap advise --on sequencer.ox.clock -- -p.toml"
        );
    }

    #[test]
    fn a_word_that_a_shell_would_take_apart_is_quoted() {
        assert_eq!(
            ["a b", "it's", "", "$HOME", "1%", "fünf.toml"].map(quoted),
            ["'a b'", "'it'\\''s'", "''", "'$HOME'", "1%", "fünf.toml"]
        );
    }
}
