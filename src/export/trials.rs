//! What may be heard of a box that is tried.

use super::{Destination, ExportError, FileSpec, OutputFolder};
use crate::judge::identify::{Plan, TestBench, perform};
use crate::sound::render::{Channels, Gain, Program};
use crate::sound::score::{Ensemble, Seating, trial};
use crate::store::Kind;
use crate::time::Tempo;
use std::path::PathBuf;

/// Writes what may be heard at each step; gives back the first file.
///
/// `name` gives a file its name by the number of its step and of the answer.
///
/// # Errors
/// [`ExportError`] for what cannot be played or rendered, and for the folder and its files.
pub fn trial_files(
    (plan, bench, tempo): (&Plan, &TestBench, Tempo),
    name: &dyn Fn(usize, usize) -> String,
    to: &Destination,
) -> Result<Option<PathBuf>, ExportError> {
    let sound = &to.sound;
    let ensemble = Ensemble::new(&[&bench.voices], Seating::Centre, sound.seed)?;
    let bank = sound.bank(&ensemble)?;
    let all = plan.steps.iter().enumerate().flat_map(|(n, step)| {
        step.heard.iter().enumerate().map(move |(answer, (_, habit))| (n, answer, step.trial, habit))
    });
    let mut scores = Vec::new();
    for (n, answer, setting, habit) in all {
        let Some(performed) = perform(&bench.rig, bench.player, tempo, &setting, habit)? else { continue };
        let cues = trial(&ensemble, &bench.voices, &performed);
        scores.push((name(n, answer), cues, performed.end));
    }
    let mut programs = Vec::new();
    for (_, cues, end) in &scores {
        let program = Program::new(&bank, cues.clone(), sound.lead_in, *end)?;
        sound.fits(&program, Channels::Mono)?;
        programs.push(program);
    }
    let folder = OutputFolder::open(to, &scores.iter().map(|s| s.0.clone()).collect::<Vec<_>>())?;
    folder.expect(programs.iter().map(|p| 2 * p.frames()).sum());
    for ((name, ..), program) in scores.iter().zip(&programs) {
        let file = FileSpec::bare(name.clone(), Kind::Trial, "identify", Some(tempo), Channels::Mono);
        folder.render(&file, program, Gain::Auto)?;
    }
    let first = scores.first().map(|(name, ..)| folder.path(name));
    folder.done();
    Ok(first)
}
