use super::args::{DrawArgs, PatchArgs};
use super::file::write;
use super::load::{Loaded, load, say_left_out};
use super::work::{HIT_BYTES, Work, hits};
use super::{Failure, Outcome, terminal};
use crate::export::Draw;
use crate::hits::{Hit, TICKS_PER_BEAT, half_tick, list, midi_tempo, write_csv, write_json, write_midi};
use crate::patch::{Rig, shown};
use crate::rig::play_run;
use crate::show::report::ms;
use crate::time::Tempo;
use clap::Args;
use std::io::IsTerminal;
use std::path::PathBuf;

#[derive(Args, Debug)]
pub(super) struct HitsArgs {
    #[command(flatten)]
    patch: PatchArgs,
    /// The variant: a fix, several joined by +, or original
    #[arg(long, value_name = "NAME", default_value = "original")]
    fix: String,
    /// What to write; midi is a Standard MIDI File of type 1 and goes to a file or a pipe
    #[arg(long, value_enum, default_value = "csv")]
    format: Format,
    /// The file to write, instead of stdout
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Write over a file that is there
    #[arg(long)]
    overwrite: bool,
    #[command(flatten)]
    draw: DrawArgs,
    /// What the run draws from
    #[arg(long, value_name = "N", default_value_t = 1, requires = "run", allow_negative_numbers = true)]
    seed: u64,
}

/// How hits are written.
#[derive(clap::ValueEnum, Clone, Copy, PartialEq, Eq, Debug)]
enum Format {
    /// A hit a line, exact to the picosecond
    Csv,
    /// For other programs, whole
    Json,
    /// For sequencers and samplers, in ticks of 1/30720 of a quarter note
    Midi,
}

pub(super) fn run(args: &HitsArgs) -> Result<Outcome, Failure> {
    if args.format == Format::Midi && args.out.is_none() && std::io::stdout().is_terminal() {
        let help = "name a file with --out, such as --out hits.mid, or send it on with > or |";
        return Err(Failure::input("a MIDI file is no text for a terminal", help));
    }
    let loaded = load(&args.patch, None)?;
    let variant = loaded.variant(&args.fix)?;
    let [first, rest @ ..] = loaded.patch.tempos.as_slice() else {
        return Err(Failure::input("there is no tempo to play at", "give one with --tempo"));
    };
    if !rest.is_empty() && args.patch.tempo.is_some() {
        return Err(Failure::input("a hit list has one tempo, and several were asked for", "give --tempo one of them"));
    }
    let mut work = Work::default();
    work.kept(hits(&variant.rig, *first)?, bytes_a_hit(args.format));
    work.fits("`hits`")?;
    let performance =
        play_run(&variant.rig, *first, Draw(args.draw.run).of(args.seed)).map_err(|e| Failure::input(&e, e.help()))?;
    let hits = list(&variant.rig, &performance);
    say_left_out([(&variant.rig, *first)]);
    let mut bytes = Vec::new();
    match args.format {
        Format::Csv => write_csv(&variant.rig, &hits, &mut bytes)?,
        Format::Json => write_json(&loaded.name, &variant.name, *first, &variant.rig, &hits, &mut bytes)?,
        Format::Midi => midi(&loaded, &variant.rig, &hits, *first, &mut bytes)?,
    }
    match &args.out {
        None => terminal::result(|out| out.write_all(&bytes))?,
        Some(path) => {
            write(path, &bytes, args.overwrite)?;
            terminal::result(|out| writeln!(out, "{}", shown(&path.display().to_string())))?;
        }
    }
    Ok(Outcome::Done)
}

/// What a hit takes while it is written: played, listed and as text or, in a MIDI file, as two events on their way through
/// three lists. Measured, rounded up.
const fn bytes_a_hit(format: Format) -> u128 {
    HIT_BYTES
        + match format {
            Format::Csv => 56,
            Format::Json => 136,
            Format::Midi => 176,
        }
}

fn midi(loaded: &Loaded, rig: &Rig, hits: &[Hit], tempo: Tempo, bytes: &mut Vec<u8>) -> Result<(), Failure> {
    let title = loaded.patch.title.as_deref().unwrap_or(&loaded.name);
    write_midi(title, tempo, rig, hits, bytes)
        .map_err(|e| Failure::input(e, "write CSV, which holds every time: --format csv"))?;
    if let (Some(half), Some(micros)) = (half_tick(tempo), midi_tempo(tempo)) {
        terminal::say(&format!(
            "times are rounded to ticks, {TICKS_PER_BEAT} a quarter note, by at most {} ms; the tempo is written as \
             {micros} us a quarter note",
            ms(half)
        ));
    }
    Ok(())
}
