//! What blind tests come to.

use super::args::Format;
use super::{Failure, Outcome, terminal};
use crate::ear::{AnswersError, BlindTest};
use crate::show::report::{Blind, Detail, blind_csv, blind_json, blind_note, blind_table};
use crate::text::shown;

/// Says what each of these tests comes to.
///
/// # Errors
/// Exit status 2 for a file that cannot be read as a test, with the place.
pub(super) fn blind(files: &[(String, String)], format: Format, detail: Detail) -> Result<Outcome, Failure> {
    let mut all = Vec::new();
    for (name, text) in files {
        let test = BlindTest::parse(text).map_err(|e| refused(name, &e))?;
        let blind = Blind { name: name.clone(), test };
        blind_note(&blind).iter().for_each(|note| terminal::say(note));
        all.push(blind);
    }
    terminal::result(|out| match format {
        Format::Table => out.write_all(blind_table(&all, detail).as_bytes()),
        Format::Json => terminal::json(out, &blind_json(&all)),
        Format::Csv => blind_csv(&all, out),
    })?;
    Ok(Outcome::Done)
}

/// A file that is none of ours, or not whole any more: which, where, and what to do.
fn refused(name: &str, error: &AnswersError) -> Failure {
    Failure::input(
        format!("`{}`: {error}", shown(name)),
        "give the file as the page saved it: a blind test is a JSON file with \"hitgap\": \"blind-test\"",
    )
}
