use super::album::{beside, hang, lines};
use super::args::{BoxesArgs, FilesArgs, Format, PatchArgs, SoundArgs};
use super::{CARE_SHORT, Failure, Outcome, load, terminal};
use crate::export::kit_alone;
use crate::patch::{Voice, kit};
use crate::show::album::voice_pictures;
use crate::show::report::{VoiceFacts, voices_csv, voices_json, voices_table};
use crate::voice::{Facts, NoiseKey, VoiceError, strongest_hz};
use clap::Args;
use std::path::PathBuf;

#[derive(Args, Debug)]
pub(super) struct VoicesArgs {
    /// A patch whose voices are listed, with what is found in their files (default: the kit)
    patch: Option<PathBuf>,
    #[command(flatten)]
    files: FilesArgs,
    /// Also write each voice of the kit alone, one hit at full velocity
    #[arg(long, conflicts_with = "patch")]
    render: bool,
    /// Also draw how each voice begins, and where its onset is
    #[arg(long)]
    plot: bool,
    /// How to print the list
    #[arg(long, value_enum, default_value = "table")]
    format: Format,
    #[command(flatten)]
    sound: SoundArgs,
}

pub(super) fn run(args: &VoicesArgs) -> Result<Outcome, Failure> {
    let loaded = args.patch.as_ref().map(|patch| {
        let (patch, boxes) = (patch.clone(), BoxesArgs::default());
        load::load(&PatchArgs { patch, tempo: None, bars: None, boxes, files: args.files }, None)
    });
    let loaded = loaded.transpose()?;
    let mut voices: Vec<&Voice> = Vec::new();
    match &loaded {
        None => voices.extend(kit()),
        Some(loaded) => {
            let variants = std::iter::once(&loaded.patch.original).chain(&loaded.patch.fixes);
            for voice in variants.flat_map(|variant| &variant.rig.voices) {
                if !voices.contains(&voice) {
                    voices.push(voice);
                }
            }
        }
    }
    let seed = args.sound.seed;
    let facts = voices.iter().map(|voice| measured(voice, seed)).collect::<Result<Vec<_>, _>>()?;
    // Files first: a list on stdout says that all is done.
    let mut pictures = Vec::new();
    if args.plot {
        let stem = loaded.as_ref().map(|loaded| loaded.stem()).transpose()?;
        let drawn = voice_pictures(stem.as_deref(), &voices, seed)?;
        let origin = loaded.as_ref().map(|loaded| loaded.origin());
        pictures = hang((&args.sound.out, args.sound.overwrite), "voices", origin.as_ref(), &drawn)?;
    }
    let files = if args.render { kit_alone(&args.sound.destination())? } else { Vec::new() };
    terminal::result(|out| match args.format {
        Format::Table => {
            out.write_all(voices_table(&facts, loaded.is_none()).as_bytes())?;
            for file in &files {
                writeln!(out, "{file}")?;
            }
            out.write_all(lines(&pictures).as_bytes())?;
            if files.is_empty() { Ok(()) } else { writeln!(out, "{CARE_SHORT}") }
        }
        Format::Json => terminal::json(out, &voices_json(&facts)),
        Format::Csv => voices_csv(&facts, out),
    })?;
    if args.format != Format::Table {
        beside(&pictures);
    }
    Ok(Outcome::Done)
}

/// What is measured of each stroke of a voice.
fn measured(voice: &Voice, seed: u64) -> Result<VoiceFacts<'_>, VoiceError> {
    let stroke = |stroke: usize| {
        let hit = voice.sound.drum(stroke)?.master(&NoiseKey::voice(seed, &voice.name));
        Ok((Facts::of(&hit), if voice.sound.model().is_some() { 0.0 } else { strongest_hz(&hit) }))
    };
    Ok(VoiceFacts { voice, strokes: (0..voice.sound.strokes()).map(stroke).collect::<Result<_, VoiceError>>()? })
}
