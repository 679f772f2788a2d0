//! From a lesson's page to one sound file of all that it plays.

use super::{ExportError, FileSpec, OutputFolder, SoundSettings};
use crate::patch::Rig;
use crate::show::page::LessonPage;
use crate::show::scene::reel_part;
use crate::show::workload::{CUE_BYTES, TooMuch, Workload, hits};
use crate::sound::reel::Reel;
use crate::sound::render::{Bank, Channels, Gain, Master};
use crate::sound::score::{Ensemble, Seating};
use crate::store::Kind;
use crate::time::{Span, Tempo};

/// Adds to a lesson's work what a reel of versions takes at tempos, and refuses what is too much for the disk or the memory: each
/// version at each tempo lasts as long as its piece at most.
///
/// # Errors
/// [`TooMuch`], with the figure and the bound.
pub fn reel_work(work: &mut Workload, tempos: &[Tempo], rigs: &[&Rig], sound: &SoundSettings) -> Result<(), TooMuch> {
    for &tempo in tempos {
        for rig in rigs {
            let end = rig.clockwork(tempo).instant(rig.end);
            work.sound(Span::ZERO, end, 1, (sound.sample_rate, &sound.spec(Channels::Mono)));
            // As they stand on the page, in their part and in the whole.
            work.kept(hits(rig, tempo)?, 3 * CUE_BYTES);
        }
    }
    work.fits("`lesson`")
}

/// The sounds of the voices as the page of these versions numbers them.
///
/// # Errors
/// [`ExportError`] for a voice that cannot be made.
pub fn reel_masters(rigs: &[&Rig], sound: &SoundSettings) -> Result<Vec<Master>, ExportError> {
    Ok(Ensemble::new(rigs, Seating::Centre, sound.seed)?.masters())
}

/// Writes the reel of a lesson and says where it lies and how long it lasts, for people. `voices` are the sounds that the player
/// of each chapter has, and `made_from` is the lesson's file with the checksum of its text.
///
/// # Errors
/// [`ExportError`] for what a WAV file cannot hold, before anything is written, and for its file.
pub fn reel(
    (folder, sound): (&OutputFolder, &SoundSettings),
    name: &str,
    (page, voices): (&LessonPage, Vec<Vec<Master>>),
    (stem, made_from): (&str, &(String, String)),
) -> Result<String, ExportError> {
    let parts = (1..).zip(page.chapters.iter().zip(voices)).map(|(n, (chapter, voices))| reel_part(n, chapter, voices));
    let Reel { passage, masters } = Reel::new(parts.collect())?;
    let bank = Bank::new(sound.sample_rate, masters)?;
    let program = passage.program(&bank, sound.lead_in)?;
    sound.fits(&program, Channels::Mono)?;
    folder.expect(2 * program.frames());
    let file = FileSpec {
        title: Some(page.title.clone()),
        about: Some(format!("{stem}, {} parts", page.chapters.len())),
        patch: Some(made_from.clone()),
        ..FileSpec::bare(name.to_owned(), Kind::Reel, "lesson", None, Channels::Mono)
    };
    folder.render(&file, &program, Gain::Auto)?;
    let seconds = program.frames().div_ceil(u64::from(program.sample_rate()));
    Ok(format!("{}, {} min {} s", folder.shown(name), seconds / 60, seconds % 60))
}
