//! The max gap from a listener's ear file.

use super::args::EarArgs;
use super::load::{Loaded, read_text};
use super::{Failure, talk};
use crate::ear::{Conditions, EarFile, EarFileError, Task, Threshold};
use crate::show::report::{exact_ms, plain};
use crate::text::counted;
use crate::time::{PS_PER_MS, Span};
use std::path::Path;

/// Reads an ear file.
///
/// # Errors
/// Exit status 3 if it cannot be read, 2 if it is none.
pub(super) fn book(file: &Path) -> Result<EarFile, Failure> {
    EarFile::parse(&read_text(file, "an ear file")?).map_err(|e| no_book(file, &e))
}

/// What is said of a file that is none.
pub(super) fn no_book(file: &Path, error: &EarFileError) -> Failure {
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
/// As [`book`]; exit status 2 if the file has no such threshold.
pub(super) fn listen(args: &EarArgs, loaded: &mut Loaded) -> Result<Option<String>, Failure> {
    let Some(file) = &args.ear else { return Ok(None) };
    let book = book(file)?;
    let patch = &mut loaded.patch;
    if patch.max_gap_given {
        talk::say(
            "note: the max gap stays what the patch or --max-gap says, and the ear file is not used: leave both out to be judged by it",
        );
        return Ok(None);
    }
    let voices = voices(patch);
    // The one that is nearest at any of the tempos.
    let nearest = |tempo_bpm: f64| book.nearest(Task::TwoOrOne, &Conditions { voices: &voices, tempo_bpm });
    let found: Vec<&Threshold> = patch.tempos.iter().filter_map(|t| nearest(t.bpm())).collect();
    // One max gap for the whole check: with several tempos, the strictest of theirs.
    let Some(entry) = found.into_iter().min_by(|a, b| a.gap_ms.total_cmp(&b.gap_ms)) else {
        let name = plain(&file.display().to_string());
        let found = format!("`{name}` has no threshold for the task `{}`", Task::TwoOrOne.name());
        return Err(Failure::input(found, "train that task, and add it with `hitgap results SESSION --save FILE`"));
    };
    patch.max_gap = Span((entry.gap_ms * PS_PER_MS as f64).round() as i64);
    let other = entry.voices.iter().any(|v| !voices.contains(v));
    Ok(Some(sentence(entry, patch.max_gap, other)))
}

/// The names of all voices that a patch plays, in any variant.
fn voices(patch: &crate::patch::Patch) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    for variant in std::iter::once(&patch.original).chain(&patch.fixes) {
        for voice in &variant.rig.voices {
            if !all.contains(&voice.name) {
                all.push(voice.name.clone());
            }
        }
    }
    all
}

/// Which threshold it is; `other`: of other voices than those that play.
fn sentence(entry: &Threshold, max_gap: Span, other: bool) -> String {
    let [low, high] = entry.between_ms;
    format!(
        "The max gap of {} ms is this listener's own threshold: {}, {} at {}, {:.2} % right, from {}\n\
         (95 % interval {low:.2} to {high:.2} ms; {}).",
        exact_ms(max_gap),
        entry.task.title(),
        entry.voices.iter().map(|v| plain(v)).collect::<Vec<_>>().join(" and "),
        entry.tempo_bpm,
        100.0 * entry.share,
        counted(entry.trials as usize, "trial"),
        if other {
            "with other voices than this patch's: `hitgap train --patch` trains its own"
        } else {
            "other sounds and tasks have thresholds of their own"
        },
    )
}
