//! From a lesson's page to one sound file of all that it plays.

use super::Failure;
use super::args::SoundArgs;
use super::output_folder::{FileSpec, OutputFolder, fits};
use crate::show::page::LessonPage;
use crate::show::scene::reel_part;
use crate::sound::reel::Reel;
use crate::sound::render::{Bank, Channels, Gain, Master};
use crate::store::Kind;

/// Writes the reel of a lesson and says where it lies and how long it lasts, for people. `voices` are the sounds that the player
/// of each chapter has, and `made_from` is the lesson's file with the checksum of its text.
///
/// # Errors
/// Exit status 2 for what a WAV file cannot hold, before anything is written; 3 where the disk refuses, 130 on Ctrl-C.
pub(super) fn write(
    (folder, sound): (&OutputFolder, &SoundArgs),
    name: &str,
    (page, voices): (&LessonPage, Vec<Vec<Master>>),
    (stem, made_from): (&str, &(String, String)),
) -> Result<String, Failure> {
    let parts = (1..).zip(page.chapters.iter().zip(voices)).map(|(n, (chapter, voices))| reel_part(n, chapter, voices));
    let Reel { passage, masters } = Reel::new(parts.collect())?;
    let bank = Bank::new(sound.sample_rate, masters)?;
    let program = passage.program(&bank, sound.lead_in)?;
    fits(&program, sound, Channels::Mono)?;
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
