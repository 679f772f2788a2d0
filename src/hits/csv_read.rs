use super::error::{FilePlace, quoted};
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
            let line = e.position().map_or(FilePlace::Whole, |p| FilePlace::Line(p.line()));
            ReadError::new(line, e.to_string(), "rows of comma-separated values", "save the file as CSV again")
        })?;
        Ok(more.then(|| record.position().map_or(1, csv::Position::line)))
    };
    let head = next(&mut record)?;
    let columns = Columns::new(head, &record)?;
    let mut hits: Vec<Struck> = Vec::new();
    let mut names: BTreeSet<String> = BTreeSet::new();
    let mut heard = false;
    while let Some(line) = next(&mut record)? {
        let row = Row { record: &record, line, columns: &columns };
        if record.len() > columns.count {
            let found = format!("{} cells", record.len());
            let help = "look for a comma too many; a decimal is written with a point";
            return Err(ReadError::new(FilePlace::Line(line), found, format!("at most {}", columns.count), help));
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
        heard = true;
        if hits.len() == MOST_HITS {
            return Err(too_many(FilePlace::Line(line)));
        }
        let hit = row.hit(take)?;
        if take.velocities.contains(&hit.velocity) {
            hits.push(hit);
        }
    }
    if let (Some(only), true) = (&take.only, !heard) {
        return Err(nobody(only, "rows", &names));
    }
    Ok(Recording { hits: hits.into(), midi: None })
}

/// The bytes as a text without the mark that some programs put before it.
fn text(bytes: &[u8]) -> Result<&str, ReadError> {
    not_too_large(bytes)?;
    let text = std::str::from_utf8(bytes).map_err(|e| {
        let line = 1 + bytes[..e.valid_up_to()].iter().filter(|b| **b == b'\n').count();
        let place = FilePlace::Line(u64::try_from(line).unwrap_or(u64::MAX));
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
    ReadError::new(FilePlace::Whole, found, expected, "cut the recording into shorter ones")
}

pub(super) fn too_many(place: FilePlace) -> ReadError {
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
    ReadError::new(FilePlace::Whole, format!("no {what} of {}", quoted(only)), "some, as `only` asks for them", help)
}

/// Where each known column stands.
struct Columns {
    at: [Option<usize>; 6],
    count: usize,
}

impl Columns {
    fn new(line: Option<u64>, head: &csv::StringRecord) -> Result<Self, ReadError> {
        const HELP: &str =
            "write a first line such as time_s,beat,due_beat,sequencer,step,velocity: only `time_s` must be there";
        let place = FilePlace::Line(line.unwrap_or(1));
        if line.is_none() {
            return Err(ReadError::new(FilePlace::Whole, "an empty file", "a line of headings with `time_s`", HELP));
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

/// One row of the file, by the columns that its header names.
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
        let place = match self.columns.at[column] {
            Some(n) => FilePlace::Cell { line: self.line, column: n + 1, heading: COLUMNS[column] },
            None => FilePlace::Line(self.line),
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::patch::TakeKind;
    use crate::time::{Beat, Instant, Span};
    use proptest::prelude::*;

    fn take(only: Option<&str>, grid: bool) -> Take {
        Take {
            name: "wren".to_owned(),
            file: "take.csv".to_owned(),
            kind: TakeKind::Csv,
            voice: Some(3),
            notes: Vec::new(),
            channel: None,
            only: only.map(str::to_owned),
            velocities: 1..=127,
            grid: grid.then(|| Beat::new(1, 4)),
            offset: Span::ZERO,
            follow_tempo: false,
            recording: Recording::default(),
        }
    }

    fn read(text: &str) -> Vec<Struck> {
        read_csv(text.as_bytes(), &take(None, true)).expect(text).hits.to_vec()
    }

    #[test]
    fn only_times_must_be_there() {
        let hit = |ps: i64| Struck {
            when: When::Time(Instant(ps)),
            beat: None,
            due: None,
            step: None,
            velocity: 100,
            voice: 3,
        };
        assert_eq!(read("time_s\n0.5\n1.000000000001\n"), [hit(500_000_000_000), hit(1_000_000_000_001)]);
        // A mark of byte order, blanks, line ends of another system, an unknown column, an empty line, no last line end.
        assert_eq!(
            read("\u{feff}who, time_s \r\nme, 0.5\r\n\r\nyou,-1"),
            [hit(500_000_000_000), hit(-1_000_000_000_000)]
        );
        assert_eq!(read("time_s\n"), []);
        // Any order, and quotes.
        let all = read("velocity,step,due_beat,beat,time_s\n127,2,0.333333333,\"0.25\",0.1\n,,,,0.2\n");
        let full = Struck {
            when: When::Time(Instant(100_000_000_000)),
            beat: Some(Beat::new(1, 4)),
            due: Some(Beat::new(1, 3)),
            step: Some(2),
            velocity: 127,
            voice: 3,
        };
        assert_eq!(all, [full, hit(200_000_000_000)]);
    }

    #[test]
    fn a_bad_row_names_its_line_its_column_and_what_is_wrong() {
        let told = |text: &str| read_csv(text.as_bytes(), &take(None, true)).expect_err(text).to_string();
        for (text, expected) in [
            ("", "found an empty file, expected a line of headings with `time_s`"),
            ("0.5\n0.6\n", "line 1: found `0.5`, expected headings, and `time_s` among them"),
            ("time_s;beat\n1;2\n", "line 1: found `time_s;beat`, expected headings, and `time_s` among them"),
            ("time_s,time_s\n", "line 1: found the heading `time_s` twice, expected each heading once"),
            (
                "time_s\n1\nsoon\n",
                "line 3, column 1 (`time_s`): found `soon`, expected seconds as a plain decimal, such as 1.25",
            ),
            (
                "beat,time_s\n1\n",
                "line 2, column 2 (`time_s`): found nothing, expected seconds as a plain decimal, such as 1.25",
            ),
            ("time_s\n0,5\n", "line 2: found 2 cells, expected at most 1"),
            (
                "time_s\n1e-3\n",
                "line 2, column 1 (`time_s`): found `1e-3`, expected seconds as a plain decimal, such as 1.25",
            ),
            (
                "time_s\n8640001\n",
                "line 2, column 1 (`time_s`): found `8640001`, expected at most 8640000 s (100 days)",
            ),
            (
                "time_s,due_beat\n1,1/3\n",
                "line 2, column 2 (`due_beat`): found `1/3`, expected a beat as a plain decimal, such as 4 or 4.25",
            ),
            (
                "time_s,velocity\n1,128\n",
                "line 2, column 2 (`velocity`): found `128`, expected a whole number from 1 to 127",
            ),
            (
                "time_s,velocity\n1,0\n",
                "line 2, column 2 (`velocity`): found `0`, expected a whole number from 1 to 127",
            ),
            ("time_s,step\n1,0\n", "line 2, column 2 (`step`): found `0`, expected a whole number, 1 or more"),
            (
                "time_s\n1\n\u{1b}[31m\n",
                "line 3, column 1 (`time_s`): found `\\u{1b}[31m`, expected seconds as a plain decimal, such as 1.25",
            ),
        ] {
            assert_eq!(told(text), expected, "{text:?}");
        }
        let error = read_csv(b"time_s\n1\n2\xff\n", &take(None, true)).expect_err("no text");
        assert_eq!(
            error.to_string(),
            "line 3: found bytes that are no UTF-8 text (after byte 10), expected UTF-8 text"
        );
        let error = read_csv(b"time_s\n1\n", &take(None, false)).expect_err("no due beat");
        assert_eq!(error.to_string(), "line 2: found nothing, expected a due beat, or a grid to find it on");
    }

    #[test]
    fn rows_of_one_name_are_chosen() {
        let text = "time_s,sequencer\n1,ox\n2,wren\nbroken,ox\n";
        let read = read_csv(text.as_bytes(), &take(Some("wren"), true)).expect("rows");
        assert_eq!(read.hits.len(), 1);
        let error = read_csv(text.as_bytes(), &take(Some("moth"), true)).expect_err("none");
        assert_eq!(error.to_string(), "found no rows of `moth`, expected some, as `only` asks for them");
        assert_eq!(error.help, "there is `ox`, `wren`; or take `only` out");
    }

    #[test]
    fn a_million_hits_and_no_more() {
        let rows = |count: usize| format!("time_s\n{}", "1\n".repeat(count));
        let read = |count| read_csv(rows(count).as_bytes(), &take(None, true));
        assert_eq!(read(MOST_HITS).expect("a million").hits.len(), 1_000_000);
        let error = read(MOST_HITS + 1).expect_err("too many").to_string();
        assert_eq!(error, "line 1000002: found hit 1000001, expected at most 1000000 hits");
        let error = read_csv(&vec![b'1'; MOST_BYTES + 1], &take(None, true)).expect_err("too large").to_string();
        assert_eq!(error, "found 67108865 bytes, expected at most 67108864 (64 MiB)");
    }

    proptest! {
        /// No bytes make the reader panic.
        #[test]
        fn any_bytes_are_read_or_refused(bytes in proptest::collection::vec(any::<u8>(), 0..300), only in any::<bool>()) {
            let take = take(only.then_some("ox"), true);
            let _ = read_csv(&bytes, &take);
            let headed = [b"time_s,beat,due_beat,sequencer,step,velocity\n", &bytes[..]].concat();
            let _ = read_csv(&headed, &take);
        }

        /// Nor do rows of what numbers are made of.
        #[test]
        fn anything_like_numbers_is_read_or_refused(rows in "([-+0-9.,\"]{0,40}\n){0,8}") {
            let _ = read_csv(format!("time_s,beat,due_beat,step\n{rows}").as_bytes(), &take(None, true));
        }
    }
}
