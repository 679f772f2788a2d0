use super::error::{Place, quoted};
use super::number::{LAST_BEAT, MOST_SECONDS, NotA, beat, count, time};
use super::{MOST_BYTES, MOST_HITS, ReadError};
use crate::patch::{Recording, Struck, Take, When};
use std::collections::BTreeSet;

/// The columns that are read; the first must be there.
const COLUMNS: [&str; 6] = ["time_s", "beat", "due_beat", "sequencer", "step", "velocity"];
const TIME: usize = 0;
const BEAT: usize = 1;
const DUE: usize = 2;
const SEQUENCER: usize = 3;
const STEP: usize = 4;
const VELOCITY: usize = 5;
/// The velocity of a hit of which nothing is said: that of an `x`.
const USUAL_VELOCITY: u8 = 100;
/// The largest step: hits are numbered where no step is given.
const MOST_STEPS: usize = 1_000_000_000;

/// Reads a take from the bytes of a CSV file: `time_s`, and of `beat`, `due_beat`, `sequencer`, `step` and `velocity` what
/// is there, in any order. A cell may be empty, but for the time.
///
/// Times are read exactly, and finer ones rounded once to the nearest picosecond.
///
/// # Errors
/// The first fault, with its line and its column.
pub fn read_csv(bytes: &[u8], take: &Take) -> Result<Recording, ReadError> {
    let text = text(bytes)?;
    let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(text.as_bytes());
    let mut record = csv::StringRecord::new();
    let mut next = |record: &mut csv::StringRecord| -> Result<Option<u64>, ReadError> {
        let more = reader.read_record(record).map_err(|e| {
            let line = e.position().map_or(Place::Whole, |p| Place::Line(p.line()));
            ReadError::new(line, e.to_string(), "rows of comma-separated values", "save the file as CSV again")
        })?;
        Ok(more.then(|| record.position().map_or(1, csv::Position::line)))
    };
    let head = next(&mut record)?;
    let columns = Columns::new(head, &record)?;
    let mut hits: Vec<Struck> = Vec::new();
    let mut names: BTreeSet<String> = BTreeSet::new();
    while let Some(line) = next(&mut record)? {
        let row = Row { record: &record, line, columns: &columns };
        if record.len() > columns.count {
            let found = format!("{} cells", record.len());
            let help = "look for a comma too many; a decimal is written with a point";
            return Err(ReadError::new(Place::Line(line), found, format!("at most {}", columns.count), help));
        }
        if let Some(only) = &take.only {
            let name = row.cell(SEQUENCER);
            if name != only {
                if names.len() < 32 {
                    names.insert(name.to_owned());
                }
                continue;
            }
        }
        if hits.len() == MOST_HITS {
            return Err(too_many(Place::Line(line)));
        }
        hits.push(row.hit(take)?);
    }
    if let (Some(only), true) = (&take.only, hits.is_empty()) {
        return Err(nobody(only, "rows", &names));
    }
    Ok(Recording(hits.into()))
}

/// The bytes as a text without the mark that some programs put before it.
fn text(bytes: &[u8]) -> Result<&str, ReadError> {
    not_too_large(bytes)?;
    let text = std::str::from_utf8(bytes).map_err(|e| {
        let line = 1 + bytes[..e.valid_up_to()].iter().filter(|b| **b == b'\n').count();
        let place = Place::Line(u64::try_from(line).unwrap_or(u64::MAX));
        let found = format!("bytes that are no UTF-8 text (after byte {})", e.valid_up_to());
        ReadError::new(place, found, "UTF-8 text", "save the file as UTF-8, or check that this is the right file")
    })?;
    Ok(text.strip_prefix('\u{feff}').unwrap_or(text))
}

pub(super) fn not_too_large(bytes: &[u8]) -> Result<(), ReadError> {
    if bytes.len() <= MOST_BYTES { Ok(()) } else { Err(too_large(u64::try_from(bytes.len()).unwrap_or(u64::MAX))) }
}

/// What is to be said of a file that is larger than [`MOST_BYTES`], by its length.
#[must_use]
pub fn too_large(bytes: u64) -> ReadError {
    let (found, expected) = (format!("{bytes} bytes"), format!("at most {MOST_BYTES} (64 MiB)"));
    ReadError::new(Place::Whole, found, expected, "cut the recording into shorter ones")
}

pub(super) fn too_many(place: Place) -> ReadError {
    let found = format!("hit {}", MOST_HITS + 1);
    ReadError::new(place, found, format!("at most {MOST_HITS} hits"), "cut the recording into shorter ones")
}

pub(super) fn nobody(only: &str, what: &str, names: &BTreeSet<String>) -> ReadError {
    let names: Vec<String> = names.iter().filter(|n| !n.is_empty()).map(|n| quoted(n)).collect();
    let help = if names.is_empty() {
        "take `only` out: nothing in the file has a name".to_owned()
    } else {
        format!("there is {}; or take `only` out", names.join(", "))
    };
    ReadError::new(Place::Whole, format!("no {what} of {}", quoted(only)), "some, as `only` asks for them", help)
}

/// Where each known column stands.
struct Columns {
    at: [Option<usize>; 6],
    count: usize,
}

impl Columns {
    fn new(line: Option<u64>, head: &csv::StringRecord) -> Result<Self, ReadError> {
        const HELP: &str = "write a first line such as time_s,beat,due_beat,sequencer,step,velocity: only `time_s` must be there";
        let place = Place::Line(line.unwrap_or(1));
        if line.is_none() {
            return Err(ReadError::new(Place::Whole, "an empty file", "a line of headings with `time_s`", HELP));
        }
        let mut at = [None; 6];
        for (n, heading) in head.iter().enumerate() {
            let Some(known) = COLUMNS.iter().position(|c| *c == heading.trim()) else { continue };
            if at[known].replace(n).is_some() {
                let found = format!("the heading `{}` twice", COLUMNS[known]);
                return Err(ReadError::new(place, found, "each heading once", "take one of the columns out"));
            }
        }
        if at[TIME].is_none() {
            let found = quoted(&head.iter().collect::<Vec<_>>().join(","));
            let help = if head.len() == 1 && head[0].contains([';', '\t']) {
                "the columns must be parted by commas: save the file so, with points in decimals"
            } else {
                HELP
            };
            return Err(ReadError::new(place, found, "headings, and `time_s` among them", help));
        }
        Ok(Self { at, count: head.len() })
    }
}

/// One row of the file.
struct Row<'a> {
    record: &'a csv::StringRecord,
    line: u64,
    columns: &'a Columns,
}

impl<'a> Row<'a> {
    /// What stands in a column, without blanks around it; nothing where there is no such column.
    fn cell(&self, column: usize) -> &'a str {
        self.columns.at[column].and_then(|n| self.record.get(n)).unwrap_or("").trim()
    }

    fn fault(&self, column: usize, expected: &str, help: &str) -> ReadError {
        let place = Place::Cell {
            line: self.line,
            column: self.columns.at[column].map_or(0, |n| n + 1),
            heading: COLUMNS[column],
        };
        ReadError::new(place, quoted(self.cell(column)), expected, help)
    }

    fn hit(&self, take: &Take) -> Result<Struck, ReadError> {
        let at = time(self.cell(TIME)).map_err(|why| {
            let expected = match why {
                NotA::Decimal => "seconds as a plain decimal, such as 1.25".to_owned(),
                NotA::Fine => "at most 18 decimals".to_owned(),
                NotA::Small => format!("at most {MOST_SECONDS} s (100 days)"),
            };
            self.fault(TIME, &expected, "write seconds from the clock's start, with a point: 0.512")
        })?;
        let [own, due] = [BEAT, DUE].map(|column| match self.cell(column) {
            "" => Ok(None),
            text => beat(text).map(Some).map_err(|why| {
                let expected = match why {
                    NotA::Decimal => "a beat as a plain decimal, such as 4 or 4.25".to_owned(),
                    NotA::Fine => "at most 9 decimals".to_owned(),
                    NotA::Small => format!("a beat of at most {LAST_BEAT}"),
                };
                self.fault(column, &expected, "write quarter notes from the start, or leave the cell empty")
            }),
        });
        let due = due?;
        if due.is_none() && take.grid.is_none() {
            return Err(self.fault(
                DUE,
                "a due beat, or a grid to find it on",
                "write grid = \"4 per beat\" into the [hits] table, or a `due_beat` into every row",
            ));
        }
        let step = match self.cell(STEP) {
            "" => None,
            text => Some(count(text, MOST_STEPS).ok_or_else(|| {
                self.fault(STEP, "a whole number, 1 or more", "write the step's number, or leave the cell empty")
            })?),
        };
        let velocity = match self.cell(VELOCITY) {
            "" => USUAL_VELOCITY,
            text => count(text, 127).and_then(|v| u8::try_from(v).ok()).ok_or_else(|| {
                self.fault(VELOCITY, "a whole number from 1 to 127", "write 100 for a hit, or leave the cell empty")
            })?,
        };
        let voice = take.voice.unwrap_or(0);
        Ok(Struck { when: When::Time(at), beat: own?, due, step, velocity, voice })
    }
}
