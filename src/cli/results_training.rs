//! What `results` says of training sessions, and how thresholds come into an ear file.

use super::album::{beside, lines};
use super::args::TableOrJson;
use super::ear::no_ear_file;
use super::load::read_text;
use super::results_plot::{ResultsPlotArgs, plot};
use super::{Failure, Outcome, file, terminal};
use crate::ear::{EarFile, Session, Threshold, estimate};
use crate::show::report::{Detail, Trained, plain, pooled, training_json, training_table};
use crate::store::interrupt;
use crate::store::{FileLock, StoreError, WriteError, resolved};
use std::path::Path;

/// Sessions that are redrawn for the intervals, and from what: the same file says the same thing each time.
const DRAWS: u32 = 1000;
const SEED: u64 = 1;

/// Reads session files (name and text), draws and prints what they say, and with `save` adds their thresholds
/// to an ear file.
///
/// # Errors
/// Exit status 2 for a file that is no session, with its name, line and column; then nothing is printed or written. Exit
/// status 3 where the ear file cannot be written.
pub(super) fn training(
    texts: &[(String, String)],
    save: Option<&Path>,
    (format, detail): (TableOrJson, Detail),
    plotted: &ResultsPlotArgs,
) -> Result<Outcome, Failure> {
    let mut trained = Vec::new();
    for (name, text) in texts {
        let session = Session::parse(text).map_err(|e| {
            let found = format!("{}:{}:{}: {}", plain(name), e.line, e.column, plain(&e.what));
            Failure::input(found, "name a file that a training page saved, as it was saved")
        })?;
        trained.push((name.clone(), session));
    }
    let trained: Vec<Trained> = trained
        .into_iter()
        .map(|(name, session)| Trained { name, estimate: estimate(&session, DRAWS, SEED), session })
        .collect();
    let pictures = if plotted.plot { plot(plotted, texts, &trained, SEED)? } else { Vec::new() };
    let saved = save.map(|file| add(file, &trained)).transpose()?;
    terminal::result(|out| {
        if format == TableOrJson::Json {
            return terminal::json(out, &training_json(&trained));
        }
        out.write_all(training_table(&trained, detail).as_bytes())?;
        out.write_all(lines(&pictures).as_bytes())
    })?;
    if format != TableOrJson::Table {
        // What programs read stays whole.
        beside(&pictures);
    }
    if let (Some((count, together)), Some(file)) = (saved, save) {
        let name = plain(&file.display().to_string());
        terminal::say(&match count {
            0 => format!("no threshold to save: `{name}` is as it was"),
            1 => format!("1 threshold saved to {name}"),
            n => format!("{n} thresholds saved to {name}"),
        });
        together.iter().for_each(|said| terminal::say(said.trim_end()));
    }
    Ok(Outcome::Done)
}

/// Adds what was found to an ear file, which is replaced whole; says how many thresholds, and what those come to with others in it.
///
/// Between reading and writing the file's folder is locked: of two runs at once neither loses what the other adds.
fn add(file: &Path, trained: &[Trained]) -> Result<(usize, Vec<String>), Failure> {
    let thresholds: Vec<Threshold> = trained.iter().filter_map(|t| Threshold::of(&t.session, &t.estimate)).collect();
    // Behind a link is the file that is meant, and beside that is the lock, whatever name led there.
    let file = &resolved(file);
    let there = || if file.try_exists().unwrap_or(true) { read_text(file, "an ear file") } else { Ok(String::new()) };
    let added = || EarFile::updated(&there()?, &thresholds).map_err(|e| no_ear_file(file, &e));
    // What is there and is no ear file is an error, and stays as it is: told before a lock is made beside it.
    let mut text = added()?;
    if !thresholds.is_empty() {
        // Its writing comes to its end if that is a matter of moments; waiting for others does not.
        let _at_work = interrupt::at_work();
        let _lock = FileLock::take(file).map_err(|e| match e {
            StoreError::Io { cause, .. } => WriteError::Io { path: file.clone(), cause }.into(),
            other => Failure::from(other),
        })?;
        text = added()?;
        file::write(file, text.as_bytes(), true)?;
    }
    let ear = EarFile::parse(&text).map_err(|e| no_ear_file(file, &e))?;
    let mut together: Vec<String> = Vec::new();
    for threshold in &thresholds {
        let Some(pool) = ear.pool(threshold) else { continue };
        let voices = threshold.voices.iter().map(|v| plain(v)).collect::<Vec<_>>().join(" and ");
        let said = pooled(&format!("{}, {voices} at {}", threshold.task.title(), threshold.tempo_bpm), &pool);
        if !together.contains(&said) {
            together.push(said);
        }
    }
    Ok((thresholds.len(), together))
}
