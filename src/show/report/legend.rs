use crate::judge::{Band, State};
use std::fmt::Write;

/// What the words of a column `heard as` mean, a line each: only those that stand in one of its cells.
#[must_use]
pub(super) fn legend(heard: &[String]) -> String {
    let mut out = String::new();
    let has = |word: &str| heard.iter().any(|cell| cell.split(", ").any(|part| part.starts_with(word)));
    for band in Band::ALL.iter().filter(|band| has(&band.to_string())) {
        let _ = writeln!(out, "  {:<9} {}", format!("{band}:"), band.heard());
    }
    if has("notch") {
        out.push_str("  notch:    the lowest pitch that two hits of one voice cancel, 1/(2·gap)\n");
    }
    if has("body") {
        out.push_str(BODY);
    }
    out
}

/// The word that stands for a state in JSON and CSV.
pub(super) const fn state_key(state: State) -> &'static str {
    match state {
        State::Off => "off",
        State::Apart => "apart",
        State::Together => "together",
    }
}

/// What the body of two hits is.
const BODY: &str = "  body:     the energy of two hits of one voice from 35 to 120 Hz against one exact double hit, before levels are matched\n";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_words_that_stand_there_are_explained() {
        let explained = |cells: &[&str]| {
            let cells: Vec<String> = cells.iter().map(|cell| (*cell).to_owned()).collect();
            let lines = legend(&cells);
            lines.lines().map(|line| line.trim_start().split(':').next().unwrap_or("").to_owned()).collect::<Vec<_>>()
        };
        assert_eq!(explained(&[]), Vec::<String>::new());
        assert_eq!(explained(&["—"]), Vec::<String>::new());
        assert_eq!(explained(&["one hit", "flam", "one hit"]), ["one hit", "flam"]);
        assert_eq!(explained(&["thicker, notch 500 Hz"]), ["thicker", "notch"]);
        assert_eq!(
            explained(&["thicker, notch 500 Hz, body −1.5 dB", "two hits"]),
            ["thicker", "two hits", "notch", "body"]
        );
        assert_eq!(explained(&["flam, order heard"]), ["flam"]);
    }
}
