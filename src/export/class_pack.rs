//! A pack for a class: numbered files, a sheet to answer on, and a key.

use super::{Destination, ExportError, FileSpec, OutputFolder};
use crate::ear::{Key, Task};
use crate::patch::Voice;
use crate::show::page::{answer_sheet, key_sheet};
use crate::show::report::CARE;
use crate::sound::class_audio::{ClassTrial, Players};
use crate::sound::flam::pair_rig;
use crate::sound::render::{Channels, Gain, Program};
use crate::sound::score::{Ensemble, Seating};
use crate::store::Kind;
use crate::time::Tempo;
use std::path::PathBuf;

/// Where a pack lies.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ClassPack {
    /// The first file to play.
    pub first: PathBuf,
    /// The sheet to print.
    pub sheet: PathBuf,
    /// The first file, the sheet, the key and the key as a sheet, as their paths may be shown.
    pub shown: [String; 4],
}

/// Writes so many files to play of two voices, a sheet to answer on, and a key, for programs and as a sheet.
///
/// # Errors
/// [`ExportError`] for what cannot be rendered, and for the folder and its files.
pub fn class_pack(count: u32, pair: &[Voice; 2], tempo: Tempo, to: &Destination) -> Result<ClassPack, ExportError> {
    let sound = &to.sound;
    let rig = pair_rig(pair);
    let ensemble = Ensemble::new(&[&rig], Seating::Centre, sound.seed)?;
    let bank = sound.bank(&ensemble)?;
    let names = [pair[0].name.clone(), pair[1].name.clone()];
    let key = Key::draw(count, names.to_vec(), tempo.bpm(), sound.seed);
    let stem = format!("train.{}+{}.{tempo}bpm", names[0], names[1]);
    let wav = |n: usize| format!("{stem}.{:02}.wav", n + 1);
    let (sheet, keyed) = (format!("{stem}.sheet.html"), format!("{stem}.key.json"));
    let key_page = format!("{stem}.key.html");
    let players = Players { rig: &rig, ensemble: &ensemble, bank: &bank };
    let mut programs: Vec<Program<'_>> = Vec::new();
    for (n, question) in (0..).zip(&key.questions) {
        let offsets = |interval, early| Task::TwoOrOne.offsets(question.asked, interval, early);
        let trial = ClassTrial::draw(question.level.ms(), question.asked, (sound.seed, n), offsets);
        let program = trial.program(players, sound.lead_in)?;
        sound.fits(&program, Channels::Mono)?;
        programs.push(program);
    }
    let mut all: Vec<String> = (0..programs.len()).map(wav).collect();
    all.extend([sheet.clone(), key_page.clone(), keyed.clone()]);
    let folder = OutputFolder::open(to, &all)?;
    for (n, program) in programs.iter().enumerate() {
        let about = Some(format!("{} and {}, trial {} of {count}", names[0], names[1], n + 1));
        let sheet = FileSpec::bare(wav(n), Kind::Flam, "train", Some(tempo), Channels::Mono);
        let sheet = FileSpec { about, ..sheet };
        // Turned down only if a gap raised the peak by as much as the headroom: no pair of the kit comes near that.
        folder.render(&sheet, program, Gain::Auto)?;
    }
    folder.write_bytes(Kind::Page, &sheet, answer_sheet(&names, tempo, count, CARE).as_bytes(), "train", None, None)?;
    folder.write_bytes(Kind::Page, &key_page, key_sheet(&names, tempo, &key).as_bytes(), "train", None, None)?;
    folder.write_bytes(Kind::Figures, &keyed, key.to_json().as_bytes(), "train", None, None)?;
    let shown = [folder.shown(&wav(0)), folder.shown(&sheet), folder.shown(&keyed), folder.shown(&key_page)];
    let pack = ClassPack { first: folder.path(&wav(0)), sheet: folder.path(&sheet), shown };
    folder.done();
    Ok(pack)
}
