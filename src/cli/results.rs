use super::args::{Format, TableOrJson};
use super::load::read_text;
use super::results_blind::blind;
use super::results_class::class;
use super::results_plot::ResultsPlotArgs;
use super::results_training::training;
use super::{Failure, Outcome};
use crate::ear::{Kind, kind};
use crate::patch::{FileKind, other_kind};
use crate::show::report::Detail;
use crate::text::{plain, quoted};
use clap::Args;
use std::path::PathBuf;

#[derive(Args, Debug)]
#[command(group(clap::ArgGroup::new("written").args(["plot", "save"]).multiple(true)))]
pub(super) struct ResultsArgs {
    /// Files that a page saved: blind tests, or training sessions, oldest first; or the key of a class and its answers as CSV
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Add the thresholds to this ear file; it is made if need be
    #[arg(long, value_name = "FILE")]
    save: Option<PathBuf>,
    /// Print the tables and figures behind the answer
    #[arg(short, long, conflicts_with = "quiet")]
    verbose: bool,
    /// Print the answer alone, a line each
    #[arg(short, long)]
    quiet: bool,
    /// How to print the result; csv is for blind tests
    #[arg(long, value_enum, default_value = "table")]
    format: Format,
    #[command(flatten)]
    plot: ResultsPlotArgs,
}

impl ResultsArgs {
    const fn detail(&self) -> Detail {
        match (self.quiet, self.verbose) {
            (true, _) => Detail::Quiet,
            (false, true) => Detail::Full,
            (false, false) => Detail::Usual,
        }
    }

    /// How to print what has no rows for a table of many listeners.
    fn table_or_json(&self) -> Result<TableOrJson, Failure> {
        match self.format {
            Format::Table => Ok(TableOrJson::Table),
            Format::Json => Ok(TableOrJson::Json),
            Format::Csv => {
                let found = "found --format csv, expected table or json: only blind tests are written as rows";
                Err(Failure::input(found, "--format json has all of it"))
            }
        }
    }
}

pub(super) fn run(args: &ResultsArgs) -> Result<Outcome, Failure> {
    let mut texts = Vec::new();
    for file in &args.files {
        let text = read_text(file, "a page's file")?;
        // Some programs begin a text with a mark of its encoding.
        let text = text.strip_prefix('\u{feff}').unwrap_or(&text).to_owned();
        let name = file.display().to_string();
        if let Some(other) = other_kind(&text, FileKind::Saved) {
            return Err(Failure::input(format!("`{}` is {other}", plain(&name)), other.help(&quoted(&plain(&name)))));
        }
        texts.push((name, text));
    }
    // Which kind it is the file says itself; what says nothing is told as a session would be.
    let is = |text: &str, wanted: Kind| kind(text).is_ok_and(|found| found == wanted);
    if is(&texts[0].1, Kind::ClassKey) {
        let [key, answers] = &texts[..] else {
            let found = "a class is marked from two files, the key and the answers";
            return Err(Failure::input(found, "write hitgap results KEY.json ANSWERS.csv"));
        };
        if args.save.is_some() {
            let found = "a class has no ear file";
            return Err(Failure::input(found, "leave --save out; each listener trains on a page for that"));
        }
        return class(key, answers, (args.table_or_json()?, args.detail()), &args.plot);
    }
    let blinds = texts.iter().filter(|(_, text)| is(text, Kind::BlindTest)).count();
    if blinds > 0 && blinds < texts.len() {
        let found = format!("{blinds} of {} files are blind tests, and the others are not", texts.len());
        return Err(Failure::input(found, "give blind tests and training sessions in two runs"));
    }
    if blinds > 0 {
        if args.save.is_some() {
            let found = "a blind test gives no threshold, and so nothing for an ear file";
            return Err(Failure::input(found, "leave --save out; hitgap train finds thresholds"));
        }
        if args.plot.plot {
            let found = "a blind test has no picture";
            return Err(Failure::input(found, "leave --plot out; it draws training sessions and classes"));
        }
        return blind(&texts, args.format, args.detail());
    }
    training(&texts, args.save.as_deref(), (args.table_or_json()?, args.detail()), &args.plot)
}
