use super::ear_file::{EarFile, EarFileError, Threshold};
use toml_edit::{ArrayOfTables, DocumentMut, InlineTable, Item, Table, TableLike, Value};

/// What an ear file holds its thresholds under.
const KEY: &str = "threshold";

impl EarFile {
    /// The text of an ear file with thresholds added, as [`EarFile::add`] adds them: what people wrote in it, their remarks and
    /// their order, stays. An empty text is a file that is to be made.
    ///
    /// # Errors
    /// If the text is no ear file.
    pub fn updated(text: &str, thresholds: &[Threshold]) -> Result<String, EarFileError> {
        let new = Self::default().to_toml();
        let text = if text.is_empty() { &new } else { text };
        let mut ear = Self::parse(text)?;
        let mut page: DocumentMut = text.parse().map_err(|e: toml_edit::TomlError| EarFileError(e.to_string()))?;
        for entry in thresholds {
            let written: DocumentMut =
                entry.to_toml().parse().map_err(|e: toml_edit::TomlError| EarFileError(e.to_string()))?;
            match (ear.same(entry), page.entry(KEY).or_insert(Item::ArrayOfTables(ArrayOfTables::new()))) {
                (None, Item::ArrayOfTables(all)) => {
                    let mut table = written.into_table();
                    table.decor_mut().set_prefix("\n");
                    // Without a place of its own it stands behind those that are there.
                    table.set_position(None);
                    all.push(table);
                }
                (None, Item::Value(Value::Array(all))) => all.push(inline(written.into_table())),
                (Some(n), Item::ArrayOfTables(all)) => {
                    all.get_mut(n).into_iter().for_each(|table| renew(table, &written));
                }
                (Some(n), Item::Value(Value::Array(all))) => {
                    let table = all.get_mut(n).and_then(Value::as_inline_table_mut);
                    table.into_iter().for_each(|table| renew(table, &written));
                }
                // A file that was read has one or the other.
                (_, Item::None | Item::Table(_) | Item::Value(_)) => {}
            }
            ear.add(entry.clone());
        }
        Ok(page.to_string())
    }
}

/// A table on one line, for a list that is written so.
fn inline(table: Table) -> InlineTable {
    let mut table = table.into_inline_table();
    table.fmt();
    table
}

/// Other values for the same keys; what stands around them stays.
fn renew(table: &mut dyn TableLike, written: &Table) {
    for (key, item) in written {
        let Some(value) = item.as_value() else { continue };
        match table.get_mut(key).and_then(Item::as_value_mut) {
            Some(old) => {
                let decor = old.decor().clone();
                *old = value.clone();
                *old.decor_mut() = decor;
            }
            None => {
                table.insert(key, item.clone());
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ear::Task;

    fn entry(gap_ms: f64, saved: &str) -> Threshold {
        Threshold {
            task: Task::TwoOrOne,
            voices: vec!["kick".into(), "snare".into()],
            sounds: Vec::new(),
            tempo_bpm: 90.0,
            gap_ms,
            between_ms: [gap_ms / 2.0, gap_ms * 2.0],
            share: 0.8035,
            trials: 50,
            saved: saved.into(),
        }
    }

    /// What is written must be what [`EarFile::add`] comes to, however the file came by its form.
    fn agrees(text: &str, thresholds: &[Threshold]) -> String {
        let written = EarFile::updated(text, thresholds).expect("an ear file");
        let mut ear = if text.is_empty() { EarFile::default() } else { EarFile::parse(text).expect("an ear file") };
        thresholds.iter().for_each(|e| ear.add(e.clone()));
        assert_eq!(EarFile::parse(&written), Ok(ear), "{written}");
        written
    }

    #[test]
    fn a_new_file_is_as_it_is_written_whole() {
        let thresholds = [entry(6.0, "a"), entry(5.5, "b")];
        let written = agrees("", &thresholds);
        assert_eq!(written, EarFile { thresholds: thresholds.to_vec() }.to_toml());
    }

    #[test]
    fn remarks_and_order_stay() {
        let remarks = "# mine\nformat = 1 # the first\n\n# in the cellar\n[[threshold]] # loud\nvoices = [ 'kick', \"snare\" ]\n\
                       task = \"two-or-one\"\ntempo-bpm = 90\ngap-ms = 6 # tired\nbetween-ms = [3, 12]\nshare = 0.8\ntrials = 40\n\
                       saved = \"a\"\n# to be gone on with\n";
        let written = agrees(remarks, &[entry(5.0, "b"), entry(4.0, "a")]);
        for kept in [
            "# mine\n",
            "# the first",
            "# in the cellar\n[[threshold]] # loud\nvoices",
            "# tired",
            "# to be gone on with",
        ] {
            assert!(written.contains(kept), "{kept}: {written}");
        }
        assert!(written.contains("gap-ms = 4.00 # tired\n"), "{written}");
    }

    #[test]
    fn lists_on_one_line_and_files_without_any_are_added_to() {
        agrees("format = 1\n", &[entry(5.0, "b")]);
        agrees("format = 1\nthreshold = []\n", &[entry(5.0, "b"), entry(4.0, "b")]);
        let one = "{ task = \"two-or-one\", voices = [\"kick\", \"snare\"], tempo-bpm = 90.0, gap-ms = 6.0, between-ms = [3.0, 12.0], \
                   share = 0.8, trials = 40 }";
        let written =
            agrees(&format!("format = 1\nthreshold = [ # mine\n  {one},\n]\n"), &[entry(5.0, "b"), entry(7.0, "b")]);
        assert!(written.contains("# mine"), "{written}");
        agrees("\u{feff}format = 1\r\nthreshold = []\r\n", &[entry(5.0, "")]);
        assert!(EarFile::updated("format = 2\n", &[]).is_err());
    }
}
