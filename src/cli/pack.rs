//! A pack for a class: numbered files, a sheet to answer on, and a key.

use super::args::{OpenArgs, SoundArgs};
use super::opener::Made;
use super::{CARE_SHORT, Failure, Outcome, terminal};
use crate::export::class_pack;
use crate::patch::Voice;
use crate::time::Tempo;

pub(super) fn pack(
    (sound, open): (&SoundArgs, &OpenArgs),
    count: u32,
    pair: &[Voice; 2],
    tempo: Tempo,
) -> Result<Outcome, Failure> {
    let pack = class_pack(count, pair, tempo, &sound.destination())?;
    let [first, sheet, key, key_sheet] = &pack.shown;
    terminal::result(|out| {
        writeln!(out, "{count} files to play, from {first}; in each, one of three is two hits.")?;
        writeln!(out, "The sheet to print: {sheet}\nThe key, to keep closed until then: {key}")?;
        writeln!(out, "The key as a sheet, to mark by hand: {key_sheet}")?;
        writeln!(out, "Write the answers into a CSV file: a column `trial`, then a column a student.\n{CARE_SHORT}")
    })?;
    Made { page: Some(pack.sheet), sound: Some(pack.first), ..Made::default() }.open(open);
    Ok(Outcome::Done)
}
