use super::Key;
use crate::text::plain;

/// What a class answered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Class {
    /// The students, in the order of the columns.
    pub students: Vec<String>,
    /// Each one's answers, in the order of the questions.
    pub answers: Vec<Vec<Option<u32>>>,
}

/// Why a text is no table of answers.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("line {line}: {what}")]
pub struct ClassError {
    /// The line, from 1.
    pub line: u64,
    /// What was found and expected, fit to be shown.
    pub what: String,
}

/// The most students of a class.
const MOST_STUDENTS: usize = 1000;

impl Class {
    /// Reads a CSV text: a column `trial` and a column a student, a row a question, in any order.
    ///
    /// # Errors
    /// The first fault, with its line.
    pub fn parse(key: &Key, text: &str) -> Result<Self, ClassError> {
        let wrong = |line: u64, what: String| ClassError { line, what };
        let mut csv = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(text.as_bytes());
        let at = |e: &csv::Error| e.position().map_or(1, csv::Position::line);
        let heads = csv.headers().map_err(|e| wrong(at(&e), plain(&e.to_string())))?.clone();
        if heads.get(0) != Some("trial") || heads.len() < 2 {
            return Err(wrong(1, "the first line has no column `trial` and then a column a student".into()));
        }
        let students: Vec<String> = heads.iter().skip(1).map(str::to_owned).collect();
        if students.len() > MOST_STUDENTS {
            return Err(wrong(1, format!("found {} students, expected at most {MOST_STUDENTS}", students.len())));
        }
        let mut answers = vec![vec![None; key.questions.len()]; students.len()];
        let mut seen = vec![false; key.questions.len()];
        for record in csv.records() {
            let record = record.map_err(|e| wrong(at(&e), plain(&e.to_string())))?;
            let line = record.position().map_or(1, csv::Position::line);
            let number = record.get(0).unwrap_or_default();
            let place = number.parse::<usize>().ok().filter(|n| (1..=key.questions.len()).contains(n));
            let Some(place) = place.map(|n| n - 1) else {
                return Err(wrong(
                    line,
                    format!("found trial `{}`, expected 1 to {}", plain(number), key.questions.len()),
                ));
            };
            if std::mem::replace(&mut seen[place], true) {
                return Err(wrong(line, format!("trial {} is there twice", place + 1)));
            }
            for (student, cell) in record.iter().skip(1).enumerate() {
                answers[student][place] = match cell {
                    "" => None,
                    "1" | "2" | "3" => cell.parse().ok(),
                    other => {
                        return Err(wrong(
                            line,
                            format!("found answer `{}`, expected 1, 2, 3 or nothing", plain(other)),
                        ));
                    }
                };
            }
        }
        Ok(Self { students, answers })
    }
}
