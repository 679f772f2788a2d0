//! What answers that a page saved come to: one way for each kind of file.

use super::load::read_text;
use super::results_blind::blind;
use super::{Failure, Outcome};
use crate::ear::{AnswersError, Kind, kind};
use crate::patch::shown;
use clap::Args;
use std::path::PathBuf;

#[derive(Args, Debug)]
pub(super) struct ResultsArgs {
    /// Files that a page saved
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// How to print the result
    #[arg(long, value_enum, default_value = "table")]
    format: Format,
}

/// Prints a result as people or programs want it.
#[derive(clap::ValueEnum, Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Format {
    /// For people
    Table,
    /// For programs, whole
    Json,
}

pub(super) fn run(args: &ResultsArgs) -> Result<Outcome, Failure> {
    let mut blinds = Vec::new();
    for file in &args.files {
        let text = read_text(file, "a test")?;
        // Some programs begin a text with a mark of its encoding.
        let text = text.strip_prefix('\u{feff}').unwrap_or(&text).to_owned();
        let name = file.display().to_string();
        match kind(&text).map_err(|e| refused(&name, &e))? {
            Kind::BlindTest => blinds.push((name, text)),
        }
    }
    blind(&blinds, args.format)
}

/// A file that is none of ours, or not whole any more: which, where, and what to do.
pub(super) fn refused(name: &str, error: &AnswersError) -> Failure {
    Failure::input(
        format!("`{}`: {error}", shown(name)),
        "give the file as the page saved it: a blind test is a JSON file with \"hitgap\": \"blind-test\"",
    )
}
