//! What may be heard of a box that is tried.

use super::{Destination, ExportError, FileSpec, OutputFolder, ReadingsPage};
use crate::judge::identify::{Habit, Performed, Plan, TestBench, perform};
use crate::show::scene::Tried;
use crate::sound::render::{Channels, Gain, Program};
use crate::sound::score::{Ensemble, Seating, trial};
use crate::store::Kind;
use crate::time::Tempo;
use std::path::PathBuf;

/// What was written of a box that is tried.
#[derive(Debug)]
pub struct TrialFiles {
    /// The file to be heard first.
    pub first: Option<PathBuf>,
    /// The page, if one was asked for.
    pub page: Option<PathBuf>,
    /// Its path as it may be shown.
    pub page_shown: Option<String>,
}

/// Writes what may be heard at each step, and a page if that is asked for.
///
/// `name` gives a file its name by the number of its step and of the answer.
///
/// # Errors
/// [`ExportError`] for what cannot be played or rendered, and for the folder and its files.
pub fn trial_files(
    (plan, bench, tempo): (&Plan, &TestBench, Tempo),
    name: &dyn Fn(usize, usize) -> String,
    page: Option<&ReadingsPage<'_>>,
    to: &Destination,
) -> Result<TrialFiles, ExportError> {
    let sound = &to.sound;
    let ensemble = Ensemble::new(&[&bench.voices], Seating::Centre, sound.seed)?;
    let bank = sound.bank(&ensemble)?;
    let mut heard: Vec<Vec<Performed>> = Vec::new();
    for step in &plan.steps {
        let play = |(_, habit): &(_, Habit)| perform(&bench.rig, bench.player, tempo, &step.trial, habit).transpose();
        heard.push(step.heard.iter().filter_map(play).collect::<Result<_, _>>()?);
    }
    let all = heard
        .iter()
        .enumerate()
        .flat_map(|(n, of_step)| of_step.iter().enumerate().map(move |(answer, performed)| (n, answer, performed)));
    let scores: Vec<_> =
        all.map(|(n, answer, p)| (name(n, answer), trial(&ensemble, &bench.voices, p), p.end)).collect();
    let mut programs = Vec::new();
    for (_, cues, end) in &scores {
        let program = Program::new(&bank, cues.clone(), sound.lead_in, *end)?;
        sound.fits(&program, Channels::Mono)?;
        programs.push(program);
    }
    let names: Vec<String> = scores.iter().map(|s| s.0.clone()).chain(page.map(|p| p.name.clone())).collect();
    let folder = OutputFolder::open(to, &names)?;
    folder.expect(programs.iter().map(|p| 2 * p.frames()).sum());
    for ((name, ..), program) in scores.iter().zip(&programs) {
        let file = FileSpec::bare(name.clone(), Kind::Trial, "identify", Some(tempo), Channels::Mono);
        folder.render(&file, program, Gain::Auto)?;
    }
    if let Some(page) = page {
        let name = &bench.rig.sequencers[bench.player].name;
        page.write((&folder, sound), &Tried { name, tempo, plan, performed: &heard, bench: &ensemble })?;
    }
    let files = TrialFiles {
        first: scores.first().map(|(name, ..)| folder.path(name)),
        page: page.map(|page| folder.path(&page.name)),
        page_shown: page.map(|page| folder.shown(&page.name)),
    };
    folder.done();
    Ok(files)
}
