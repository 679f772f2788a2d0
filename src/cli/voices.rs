use super::args::{Format, SoundArgs};
use super::output_folder::{FileSpec, OutputFolder, bank, fits};
use super::{CARE_SHORT, Failure, Outcome, terminal};
use crate::patch::{Voice, kit};
use crate::show::report::{voices_csv, voices_json, voices_table};
use crate::sound::render::{Channels, Gain, Program};
use crate::sound::score::{Ensemble, Seating, players, solos};
use crate::store::Kind;
use crate::voice::{Facts, NoiseKey, master};
use clap::Args;

#[derive(Args, Debug)]
pub(super) struct VoicesArgs {
    /// Also write each voice alone, one hit at full velocity
    #[arg(long)]
    render: bool,
    /// How to print the list
    #[arg(long, value_enum, default_value = "table")]
    format: Format,
    #[command(flatten)]
    sound: SoundArgs,
}

pub(super) fn run(args: &VoicesArgs) -> Result<Outcome, Failure> {
    let mut facts: Vec<(&Voice, Facts)> = Vec::new();
    for voice in kit() {
        let hit = master(&voice.settings, &NoiseKey::voice(args.sound.seed, &voice.name))?;
        facts.push((voice, Facts::of(&hit)));
    }
    // Files first: a list on stdout says that all is done.
    let files = if args.render { render(args)? } else { Vec::new() };
    terminal::result(|out| match args.format {
        Format::Table => {
            out.write_all(voices_table(&facts).as_bytes())?;
            for file in &files {
                writeln!(out, "{file}")?;
            }
            if files.is_empty() { Ok(()) } else { writeln!(out, "{CARE_SHORT}") }
        }
        Format::Json => terminal::json(out, &voices_json(&facts)),
        Format::Csv => voices_csv(&facts, out),
    })?;
    Ok(Outcome::Done)
}

/// Writes each voice alone and says where.
fn render(args: &VoicesArgs) -> Result<Vec<String>, Failure> {
    let names: Vec<(&str, usize)> = kit().iter().enumerate().map(|(n, voice)| (voice.name.as_str(), n)).collect();
    let rig = players(&names, kit().to_vec());
    let ensemble = Ensemble::new(&[&rig], Seating::Patch, args.sound.seed)?;
    let bank = bank(&args.sound, &ensemble)?;
    let mut programs: Vec<Program<'_>> = Vec::new();
    for solo in solos(&rig, &ensemble) {
        let program = solo.program(&bank, args.sound.lead_in)?;
        fits(&program, &args.sound, Channels::Stereo)?;
        programs.push(program);
    }
    let names: Vec<String> = kit().iter().map(|voice| format!("voice.{}.wav", voice.name)).collect();
    let folder = OutputFolder::open(&args.sound, &names)?;
    folder.expect(programs.iter().map(|p| 2 * p.frames()).sum());
    for (name, program) in names.iter().zip(&programs) {
        let file = FileSpec::bare(name.clone(), Kind::Voice, "voices", None, Channels::Stereo);
        folder.render(&file, program, Gain::Auto)?;
    }
    let files = names.iter().map(|n| folder.shown(n)).collect();
    folder.done();
    Ok(files)
}
