use super::args::Format;
use super::load::read_text;
use super::results_training::training;
use super::{Failure, Outcome};
use clap::Args;
use std::path::PathBuf;

#[derive(Args, Debug)]
pub(super) struct ResultsArgs {
    /// Files that a training page saved, oldest first
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Add the thresholds to this ear file; it is made if need be
    #[arg(long, value_name = "FILE")]
    save: Option<PathBuf>,
    /// How to print the result
    #[arg(long, value_enum, default_value = "table")]
    format: Format,
}

pub(super) fn run(args: &ResultsArgs) -> Result<Outcome, Failure> {
    let mut texts = Vec::new();
    for file in &args.files {
        texts.push((file.display().to_string(), read_text(file, "a session file")?));
    }
    training(&texts, args.save.as_deref(), args.format)
}
