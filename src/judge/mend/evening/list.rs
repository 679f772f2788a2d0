//! The songs of an evening, as a list that people keep: a CSV file with a line a song.

use crate::judge::advise::SongsError;
use crate::patch::shown;
use crate::time::{Tempo, tempo_range, tempos};

/// The most songs: an evening is not longer.
const MOST_SONGS: usize = 1000;
/// The most tempos of one song.
const MOST_TEMPOS: usize = 300;
const HELP: &str = "write a first line `song,tempo`, then a line a song such as `Lantern rising,97.5`";
const TEMPO: &str = "write a tempo, a range such as 90..100, or several in quotes: \"90,120\"";

/// A song as it stands in the list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ListedSong {
    /// As the user wrote it.
    pub title: String,
    /// The tempos at which it is played: of a range both ends, and every whole one between.
    pub tempos: Vec<Tempo>,
    /// How its tempos are written.
    pub tempo: String,
    /// The boxes and takes that play; empty for all.
    pub boxes: Vec<String>,
    /// The fixes that are dialled for it, as `--fix` takes them: `a+b`.
    pub fixes: Option<String>,
    /// Its tempo map as a patch has it, where that is not the patch's own.
    pub tempo_map: Option<String>,
    /// The line of the file.
    pub line: u64,
}

/// Reads a list: the columns `song` and `tempo`, and where they are there `boxes`, `fixes` and `tempo-map`, in any order and among
/// others.
///
/// # Errors
/// The first fault, with its line.
pub fn listed_songs(text: &str) -> Result<Vec<ListedSong>, SongsError> {
    // Some programs begin a text with a mark of its encoding.
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).flexible(true).from_reader(text.as_bytes());
    let fault = |line: u64, what: String, help| SongsError::new(format!("line {line}: {what}"), help);
    let head = reader.headers().map_err(|e| SongsError::new(e.to_string(), HELP))?.clone();
    let column = |wanted: &str| head.iter().position(|h| h.eq_ignore_ascii_case(wanted));
    let (Some(song), Some(tempo)) = (column("song"), column("tempo")) else {
        let found: Vec<String> = head.iter().take(6).map(|h| format!("`{}`", shown(h))).collect();
        let what = format!("found the columns {}, expected `song` and `tempo`", found.join(", "));
        return Err(SongsError::new(what, HELP));
    };
    let (boxes, fixes, map) = (column("boxes"), column("fixes"), column("tempo-map"));
    let mut all = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|e| SongsError::new(e.to_string(), HELP))?;
        let line = record.position().map_or(0, csv::Position::line);
        let cell = |n: Option<usize>| n.and_then(|n| record.get(n)).unwrap_or_default();
        let given = |n: Option<usize>| Some(cell(n)).filter(|text| !text.is_empty()).map(str::to_owned);
        let tempo = cell(Some(tempo));
        let tempos = of_song(tempo).map_err(|what| fault(line, what, TEMPO))?;
        if tempos.len() > MOST_TEMPOS {
            let what = format!("{} tempos of one song, and at most {MOST_TEMPOS} are looked at", tempos.len());
            return Err(fault(line, what, "a narrower range, or a step: 60..300:5"));
        }
        if all.len() == MOST_SONGS {
            return Err(SongsError::new(format!("more than {MOST_SONGS} songs"), "make two lists of it"));
        }
        let names = cell(boxes).split([' ', ',', ';', '+']).filter(|name| !name.is_empty());
        all.push(ListedSong {
            title: cell(Some(song)).to_owned(),
            tempos,
            tempo: tempo.to_owned(),
            boxes: names.map(str::to_owned).collect(),
            fixes: given(fixes),
            tempo_map: given(map),
            line,
        });
    }
    if all.is_empty() {
        return Err(SongsError::new("no song in it".to_owned(), HELP));
    }
    Ok(all)
}

/// A tempo, several, or a range; of one without a step the ends and every whole tempo between.
fn of_song(text: &str) -> Result<Vec<Tempo>, String> {
    if text.contains("..") && !text.contains([':', ',']) {
        let (low, high) = tempo_range(text).map_err(|e| e.to_string())?;
        const WHOLE: u64 = 1_000_000;
        let between = (low.micro() / WHOLE + 1..).map(|n| n * WHOLE).take_while(|micro| *micro < high.micro());
        let mut all = vec![low];
        all.extend(between.filter_map(Tempo::from_micro));
        all.extend(Some(high).filter(|high| *high != low));
        return Ok(all);
    }
    tempos(text).map_err(|e| e.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(all: &[Tempo]) -> Vec<String> {
        all.iter().map(Tempo::to_string).collect()
    }

    #[test]
    fn a_list_says_when_who_plays_with_what() {
        let text = "tempo,song,key,boxes,fixes,tempo-map\n97.5,Rising,G,,,\n\"60,90\",Two,,ox+wren,phase,\n\
                    59.5..62,Range,,ox wren,,\"[{ at = '8 beats', tempo = '110 %' }]\"\n60..80:10,Steps\n";
        let all = listed_songs(text).expect("a list");
        let tempos: Vec<Vec<String>> = all.iter().map(|song| said(&song.tempos)).collect();
        assert_eq!(tempos, [vec!["97.5"], vec!["60", "90"], vec!["59.5", "60", "61", "62"], vec!["60", "70", "80"]]);
        assert_eq!(all[1].boxes, ["ox", "wren"]);
        assert_eq!((all[1].fixes.as_deref(), all[0].fixes.as_deref()), (Some("phase"), None));
        assert_eq!(all[2].boxes, ["ox", "wren"]);
        assert_eq!(all[2].tempo_map.as_deref(), Some("[{ at = '8 beats', tempo = '110 %' }]"));
        assert_eq!((all[3].line, all[3].boxes.len()), (5, 0));
    }

    #[test]
    fn what_is_no_list_is_refused_with_its_line() {
        let said = |text: &str| listed_songs(text).map_or_else(|e| e.to_string(), |all| format!("{} songs", all.len()));
        assert_eq!(said("title,bpm\nx,90\n"), "found the columns `title`, `bpm`, expected `song` and `tempo`");
        assert_eq!(said("song,tempo\n"), "no song in it");
        assert!(said("song,tempo\nx,90\ny,fast\n").starts_with("line 3: "));
        assert_eq!(said("song,tempo\nx,100..90\n"), "line 2: `100..90` runs downwards: write the smaller tempo first");
        assert_eq!(said("song,tempo\nx,60..999\n"), "line 2: 940 tempos of one song, and at most 300 are looked at");
        let many = |n: usize| format!("song,tempo\n{}", "x,90\n".repeat(n));
        assert_eq!(
            (said(&many(1000)), said(&many(1001))),
            ("1000 songs".to_owned(), "more than 1000 songs".to_owned())
        );
    }
}
