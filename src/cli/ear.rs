//! The max gap from a listener's ear file.

use super::args::EarArgs;
use super::load::{Loaded, read_text};
use super::{Failure, terminal};
use crate::ear::{EarFile, EarFileError, MaxGap, Task};
use crate::show::report::{max_gap_sentence, plain};
use std::path::Path;

/// Reads an ear file.
///
/// # Errors
/// Exit status 3 if it cannot be read, 2 if it is none.
fn ear_file(file: &Path) -> Result<EarFile, Failure> {
    EarFile::parse(&read_text(file, "an ear file")?).map_err(|e| no_ear_file(file, &e))
}

/// What is said of a file that is none.
pub(super) fn no_ear_file(file: &Path, error: &EarFileError) -> Failure {
    let found = format!("`{}` is no ear file: {}", plain(&file.display().to_string()), safe(&error.to_string()));
    Failure::input(found, "an ear file is written by `hitgap results SESSION --save FILE`")
}

/// Text with its line breaks, but without what upsets a terminal.
fn safe(text: &str) -> String {
    text.lines().map(plain).collect::<Vec<_>>().join("\n")
}

/// Puts the nearest threshold for two-or-one in place of the default max gap, and says in a sentence which it is. What the
/// patch or the command line says stays.
///
/// # Errors
/// As [`ear_file`]; exit status 2 if the file has no such threshold.
pub(super) fn listen(args: &EarArgs, loaded: &mut Loaded) -> Result<Option<String>, Failure> {
    let Some(file) = &args.ear else { return Ok(None) };
    let ear = ear_file(file)?;
    let patch = &mut loaded.patch;
    if patch.max_gap_given {
        terminal::say(
            "note: the max gap stays what the patch or --max-gap says, and the ear file is not used: leave both out to be judged by it",
        );
        return Ok(None);
    }
    let Some(found) = MaxGap::of(&ear, patch) else {
        let name = plain(&file.display().to_string());
        let found = format!("`{name}` has no threshold for the task `{}`", Task::TwoOrOne.name());
        return Err(Failure::input(found, "train that task, and add it with `hitgap results SESSION --save FILE`"));
    };
    patch.max_gap = found.gap;
    Ok(Some(max_gap_sentence(&found)))
}
