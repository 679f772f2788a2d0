//! What `results` says of a class: a key and a table of answers.

use super::album::{beside, lines};
use super::args::TableOrJson;
use super::file::stem;
use super::results_plot::{ResultsPlotArgs, put};
use super::{Failure, Outcome, terminal};
use crate::ear::{Class, ClassResult, Key};
use crate::show::album::class_curve;
use crate::show::report::{Detail, class_json, class_table, plain};
use std::path::Path;

/// Marks a class: the key and the answers, each by name and text.
///
/// # Errors
/// Exit status 2, with the file's name and the place.
pub(super) fn class(
    key: &(String, String),
    answers: &(String, String),
    (format, detail): (TableOrJson, Detail),
    plotted: &ResultsPlotArgs,
) -> Result<Outcome, Failure> {
    let parsed = Key::parse(&key.1).map_err(|e| {
        let found = format!("{}:{}:{}: {}", plain(&key.0), e.line, e.column, plain(&e.what));
        Failure::input(found, "name the key that was written with the files")
    })?;
    let class = Class::parse(&parsed, &answers.1).map_err(|e| {
        let help = "write a line `trial,first student,second student`, then a line a trial: its number, then 1, 2 or 3";
        Failure::input(format!("{}:{}: {}", plain(&answers.0), e.line, e.what), help)
    })?;
    let result = ClassResult::new(&parsed, &class);
    let mut pictures = Vec::new();
    if plotted.plot {
        let picture = class_curve(&stem(Path::new(&key.0))?, &parsed, &result);
        pictures = put(plotted, (&key.0, &key.1), &[picture])?;
    }
    terminal::result(|out| match format {
        TableOrJson::Table => {
            out.write_all(class_table(&result, detail).as_bytes())?;
            out.write_all(lines(&pictures).as_bytes())
        }
        TableOrJson::Json => terminal::json(out, &class_json(&result)),
    })?;
    if format != TableOrJson::Table {
        // What programs read stays whole.
        beside(&pictures);
    }
    Ok(Outcome::Done)
}
