use super::args::Format;
use super::load::read_text;
use super::results_class::class;
use super::results_training::training;
use super::{Failure, Outcome};
use clap::Args;
use std::path::PathBuf;

#[derive(Args, Debug)]
pub(super) struct ResultsArgs {
    /// Files that a training page saved, oldest first; or the key of a class and its answers as CSV
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
    // Which kind it is the file says itself; what says nothing is told as a session would be.
    let kind = |text: &str| {
        let value: Option<serde_json::Value> = serde_json::from_str(text).ok();
        value.and_then(|v| v.get("hitgap")?.as_str().map(str::to_owned))
    };
    if kind(&texts[0].1).as_deref() == Some("class-key") {
        let [key, answers] = &texts[..] else {
            let found = "a class is marked from two files, the key and the answers";
            return Err(Failure::input(found, "write hitgap results KEY.json ANSWERS.csv"));
        };
        if args.save.is_some() {
            let found = "a class has no ear file";
            return Err(Failure::input(found, "leave --save out; each listener trains on a page for that"));
        }
        return class(key, answers, args.format);
    }
    training(&texts, args.save.as_deref(), args.format)
}
