//! The voices of the kit, each alone.

use super::{Destination, ExportError, FileSpec, OutputFolder};
use crate::patch::kit;
use crate::sound::render::{Channels, Gain, Program};
use crate::sound::score::{Ensemble, Seating, players, solos};
use crate::store::Kind;

/// Writes each voice of the kit alone, one hit at full velocity; gives back where, as it may be shown.
///
/// # Errors
/// [`ExportError`] for what cannot be rendered, and for the folder and its files.
pub fn kit_alone(to: &Destination) -> Result<Vec<String>, ExportError> {
    let names: Vec<(&str, usize)> = kit().iter().enumerate().map(|(n, voice)| (voice.name.as_str(), n)).collect();
    let rig = players(&names, kit().to_vec());
    let ensemble = Ensemble::new(&[&rig], Seating::Patch, to.sound.seed)?;
    let bank = to.sound.bank(&ensemble)?;
    let mut programs: Vec<Program<'_>> = Vec::new();
    for solo in solos(&rig, &ensemble) {
        let program = solo.program(&bank, to.sound.lead_in)?;
        to.sound.fits(&program, Channels::Stereo)?;
        programs.push(program);
    }
    let names: Vec<String> = kit().iter().map(|voice| format!("voice.{}.wav", voice.name)).collect();
    let folder = OutputFolder::open(to, &names)?;
    folder.expect(programs.iter().map(|p| 2 * p.frames()).sum());
    for (name, program) in names.iter().zip(&programs) {
        let file = FileSpec::bare(name.clone(), Kind::Voice, "voices", None, Channels::Stereo);
        folder.render(&file, program, Gain::Auto)?;
    }
    let files = names.iter().map(|n| folder.shown(n)).collect();
    folder.done();
    Ok(files)
}
