use super::Song;
use crate::patch::shown;
use crate::time::{Tempo, TempoError};

/// The most songs: an evening is not longer.
const MOST_SONGS: usize = 1000;
const HELP: &str = "write a first line `song,tempo`, then a line a song such as `Lantern rising,97.5`";

/// Why a text is no list of songs.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{found}")]
pub struct SongsError {
    found: String,
    help: &'static str,
}

impl SongsError {
    pub(in crate::judge) fn new(found: String, help: &'static str) -> Self {
        Self { found, help }
    }

    /// What to do, for after `help: `.
    #[must_use]
    pub const fn help(&self) -> &'static str {
        self.help
    }
}

/// The songs of an evening, from the text of a CSV file with the columns `song` and `tempo`, in any order, among others.
///
/// # Errors
/// See [`SongsError`].
pub fn songs(text: &str) -> Result<Vec<Song>, SongsError> {
    // Some programs begin a text with a mark of its encoding.
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).flexible(true).from_reader(text.as_bytes());
    let head = reader.headers().map_err(|e| SongsError::new(e.to_string(), HELP))?.clone();
    let column = |wanted: &str| head.iter().position(|h| h.eq_ignore_ascii_case(wanted));
    let (Some(song), Some(tempo)) = (column("song"), column("tempo")) else {
        return Err(SongsError::new(
            format!("found the columns {}, expected `song` and `tempo`", columns(&head)),
            HELP,
        ));
    };
    let mut all = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|e| SongsError::new(e.to_string(), HELP))?;
        let line = record.position().map_or(0, csv::Position::line);
        let cell = |n: usize| record.get(n).unwrap_or_default();
        let tempo: Tempo =
            cell(tempo).parse().map_err(|e: TempoError| SongsError::new(format!("line {line}: {e}"), HELP))?;
        if all.len() == MOST_SONGS {
            return Err(SongsError::new(format!("more than {MOST_SONGS} songs"), "make two cards of it"));
        }
        all.push(Song { title: cell(song).to_owned(), tempo });
    }
    if all.is_empty() {
        return Err(SongsError::new("no song in it".to_owned(), HELP));
    }
    Ok(all)
}

fn columns(head: &csv::StringRecord) -> String {
    let all: Vec<String> = head.iter().take(6).map(|h| format!("`{}`", shown(h))).collect();
    all.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_may_stand_in_any_order_among_others() {
        let found = songs("\u{feff}key,Tempo, SONG\nG,97.5, Lantern rising\n,60,\n").expect("a list");
        let song =
            |title: &str, micro| Song { title: title.to_owned(), tempo: Tempo::from_micro(micro).expect("in bounds") };
        assert_eq!(found, [song("Lantern rising", 97_500_000), song("", 60_000_000)]);
    }

    #[test]
    fn what_is_no_list_is_refused_with_its_line() {
        let said = |text: &str| songs(text).map_or_else(|e| e.to_string(), |all| format!("{} songs", all.len()));
        assert_eq!(said("title,bpm\nx,90\n"), "found the columns `title`, `bpm`, expected `song` and `tempo`");
        assert_eq!(said("song,tempo\n"), "no song in it");
        assert!(said("song,tempo\nx,90\ny,fast\n").starts_with("line 3: "), "{}", said("song,tempo\nx,90\ny,fast\n"));
        let many = |n: usize| format!("song,tempo\n{}", "x,90\n".repeat(n));
        assert_eq!(said(&many(MOST_SONGS)), "1000 songs");
        assert_eq!(said(&many(MOST_SONGS + 1)), "more than 1000 songs");
    }
}
