use super::args::{Format, SoundArgs};
use super::{CARE_SHORT, Failure, Outcome, terminal};
use crate::export::kit_alone;
use crate::patch::{Voice, kit};
use crate::show::report::{voices_csv, voices_json, voices_table};
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
    let files = if args.render { kit_alone(&args.sound.destination())? } else { Vec::new() };
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
