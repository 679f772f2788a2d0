//! A pack for a class: numbered files, a sheet to answer on, and a key.

use super::args::{OpenArgs, SoundArgs};
use super::opener::Made;
use super::output_folder::{FileSpec, OutputFolder, bank, fits};
use super::{CARE, CARE_SHORT, Failure, Outcome, terminal};
use crate::ear::{Key, Task};
use crate::patch::Voice;
use crate::show::page::{answer_sheet, key_sheet};
use crate::sound::class_audio::{ClassTrial, Players};
use crate::sound::flam::pair_rig;
use crate::sound::render::{Channels, Gain, Program};
use crate::sound::score::{Ensemble, Seating};
use crate::store::Kind;
use crate::time::Tempo;

pub(super) fn pack(
    (sound, open): (&SoundArgs, &OpenArgs),
    count: u32,
    pair: &[Voice; 2],
    tempo: Tempo,
) -> Result<Outcome, Failure> {
    let rig = pair_rig(pair);
    let ensemble = Ensemble::new(&[&rig], Seating::Centre, sound.seed)?;
    let bank = bank(sound, &ensemble)?;
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
        fits(&program, sound, Channels::Mono)?;
        programs.push(program);
    }
    let mut all: Vec<String> = (0..programs.len()).map(wav).collect();
    all.extend([sheet.clone(), key_page.clone(), keyed.clone()]);
    let folder = OutputFolder::open(sound, &all)?;
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
    let made = Made { page: Some(folder.path(&sheet)), sound: Some(folder.path(&wav(0))), ..Made::default() };
    let shown = [folder.shown(&wav(0)), folder.shown(&sheet), folder.shown(&keyed), folder.shown(&key_page)];
    folder.done();
    terminal::result(|out| {
        writeln!(out, "{count} files to play, from {}; in each, one of three is two hits.", shown[0])?;
        writeln!(out, "The sheet to print: {}\nThe key, to keep closed until then: {}", shown[1], shown[2])?;
        writeln!(out, "The key as a sheet, to mark by hand: {}", shown[3])?;
        writeln!(out, "Write the answers into a CSV file: a column `trial`, then a column a student.\n{CARE_SHORT}")
    })?;
    made.open(open);
    Ok(Outcome::Done)
}
