//! The songs of an evening, from a CSV file.

use super::Failure;
use super::load::read_text;
use crate::judge::advise::Song;
use crate::patch::shown;
use crate::time::Tempo;
use std::path::Path;

/// The most songs: an evening is not longer.
const MOST_SONGS: usize = 1000;

/// Reads a CSV file with the columns `song` and `tempo`, in any order, among others.
///
/// # Errors
/// Exit status 3 if the file cannot be read, 2 if it is not such a list.
pub(super) fn songs(file: &Path) -> Result<Vec<Song>, Failure> {
    let text = read_text(file, "a list of songs")?;
    let name = shown(&file.display().to_string());
    let bad = |what: String, help: &str| Failure::input(format!("`{name}`: {what}"), help);
    const HELP: &str = "write a first line `song,tempo`, then a line a song such as `Lantern rising,97.5`";
    // Some programs begin a text with a mark of its encoding.
    let text = text.strip_prefix('\u{feff}').unwrap_or(&text);
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).flexible(true).from_reader(text.as_bytes());
    let head = reader.headers().map_err(|e| bad(e.to_string(), HELP))?.clone();
    let column = |wanted: &str| head.iter().position(|h| h.eq_ignore_ascii_case(wanted));
    let (Some(song), Some(tempo)) = (column("song"), column("tempo")) else {
        return Err(bad(format!("found the columns {}, expected `song` and `tempo`", columns(&head)), HELP));
    };
    let mut all = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|e| bad(e.to_string(), HELP))?;
        let line = record.position().map_or(0, csv::Position::line);
        let cell = |n: usize| record.get(n).unwrap_or_default();
        let tempo: Tempo =
            cell(tempo).parse().map_err(|e: crate::time::TempoError| bad(format!("line {line}: {e}"), HELP))?;
        if all.len() == MOST_SONGS {
            return Err(bad(format!("more than {MOST_SONGS} songs"), "make two cards of it"));
        }
        all.push(Song { title: cell(song).to_owned(), tempo });
    }
    if all.is_empty() {
        return Err(bad("no song in it".to_owned(), HELP));
    }
    Ok(all)
}

fn columns(head: &csv::StringRecord) -> String {
    let all: Vec<String> = head.iter().take(6).map(|h| format!("`{}`", shown(h))).collect();
    all.join(", ")
}
