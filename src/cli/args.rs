//! Arguments that several commands share, and how their texts are read.

use super::Failure;
use super::terminal::Bar;
use crate::export::{Destination, SoundSettings};
use crate::patch::quantity;
use crate::time::{self, Span, Tempo};
use clap::Args;
use std::path::PathBuf;
use std::sync::Arc;

/// Which patch, and what of it.
#[derive(Args, Clone, Debug)]
pub(super) struct PatchArgs {
    /// The patch file
    pub(super) patch: PathBuf,
    /// Tempos in quarter notes a minute: 60,90,120 or 60..160:20 (default: those of the patch)
    #[arg(long, value_name = "TEMPOS", value_parser = tempos)]
    pub(super) tempo: Option<Tempos>,
    /// How many bars to play (default: those of the patch)
    #[arg(long, value_name = "N", allow_negative_numbers = true)]
    pub(super) bars: Option<u64>,
    #[command(flatten)]
    pub(super) boxes: BoxesArgs,
    #[command(flatten)]
    pub(super) files: FilesArgs,
}

/// Kinds of boxes from files.
#[derive(Args, Clone, Debug, Default)]
pub(super) struct BoxesArgs {
    /// A file of kinds of boxes for `like`, beside those of the kit; may be given again
    #[arg(long, value_name = "FILE")]
    pub(super) boxes: Vec<PathBuf>,
}

/// Files that a patch may name.
#[derive(Args, Clone, Copy, Debug, Default)]
pub(super) struct FilesArgs {
    /// Read the sounds of voices outside of the patch's folder too; without it a patch leads to its own folder and below
    #[arg(long)]
    pub(super) allow_files: bool,
}

/// What is acceptable.
#[derive(Args, Debug)]
pub(super) struct JudgeArgs {
    /// The largest acceptable gap, such as 2ms (default: that of the patch)
    #[arg(long, value_name = "TIME", value_parser = time_from_zero, allow_hyphen_values = true)]
    pub(super) max_gap: Option<Span>,
}

/// Whose ears.
#[derive(Args, Debug)]
pub(super) struct EarArgs {
    /// Take the max gap from the nearest threshold of this ear file (see `results --save`), unless the patch or --max-gap says one
    #[arg(long, value_name = "FILE")]
    pub(super) ear: Option<PathBuf>,
}

/// The most runs of one check: a probability of one in ten million is past what a model of a rig can mean.
pub(super) const MOST_RUNS: u64 = 10_000_000;

/// Which draw of what is left to chance.
#[derive(Args, Debug)]
pub(super) struct DrawArgs {
    /// Play this run of all that `check --runs` looks at, with its draws (default: the typical run, without chance)
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=MOST_RUNS), allow_negative_numbers = true)]
    pub(super) run: Option<u64>,
}

/// What is opened when all is made.
#[derive(Args, Clone, Copy, Debug, Default)]
pub(super) struct OpenArgs {
    /// Open the page with the system's own program, or the one that HITGAP_OPENER names
    #[arg(long)]
    pub(super) open: bool,
    /// Play the sound file to be heard first, with the system's own program or the one that HITGAP_OPENER names
    #[arg(long)]
    pub(super) play: bool,
}

/// What becomes of files of earlier runs.
#[derive(Args, Clone, Copy, Debug, Default)]
pub(super) struct TidyArgs {
    /// Remove what earlier runs of this command left of this patch and this one does not make any more; changed files stay
    #[arg(long)]
    pub(super) tidy: bool,
}

/// How files are written.
#[derive(Args, Debug)]
pub(super) struct SoundArgs {
    /// The folder that files go to; it is made if need be
    #[arg(long, value_name = "DIR", default_value = "out")]
    pub(super) out: PathBuf,
    /// Samples a second, from 8000 to 384000
    #[arg(long, value_name = "HZ", default_value_t = 48_000, allow_negative_numbers = true)]
    pub(super) sample_rate: u32,
    /// Bits a sample; 32 is floating point
    #[arg(long, value_name = "N", default_value = "24", value_parser = ["16", "24", "32"])]
    pub(super) bits: String,
    /// What all chance is drawn from: another number, another noise
    #[arg(long, value_name = "N", default_value_t = 1, allow_negative_numbers = true)]
    pub(super) seed: u64,
    /// Silence before the clock starts
    #[arg(long, value_name = "TIME", default_value = "100ms", value_parser = time_from_zero, allow_hyphen_values = true)]
    pub(super) lead_in: Span,
    /// Write over files that are not this program's, or were changed since it made them
    #[arg(long)]
    pub(super) overwrite: bool,
}

/// Some tempos, no two equal, in the order in which they were asked for.
#[derive(Clone, Debug)]
pub(super) struct Tempos(pub(super) Vec<Tempo>);

/// Reads a list of tempos, as [`time::tempos`] does.
///
/// # Errors
/// A sentence.
pub(super) fn tempos(text: &str) -> Result<Tempos, String> {
    time::tempos(text).map(Tempos).map_err(|error| {
        let told = error.to_string();
        match time::tempos_meant(text) {
            Some(meant) => format!("{}; write {meant}", told.split(": write").next().unwrap_or_default()),
            None => told,
        }
    })
}

/// What to say of a list that may hold a number with a decimal comma.
pub(super) fn comma_note(tempos: &Tempos) -> Option<String> {
    time::decimal_comma(&tempos.0).map(|note| format!("note: {note}"))
}

/// Options that people look for, and what is written here.
const OPTIONS: [(&str, &str); 28] = [
    ("--bpm", "--tempo"),
    ("--tempos", "--tempo"),
    ("--bpms", "--tempo"),
    ("-t", "--tempo"),
    ("--fixes", "--fix"),
    ("--variant", "--fix"),
    ("--with", "--fix"),
    ("-f", "--fix"),
    ("--output", "--out"),
    ("--dir", "--out"),
    ("-o", "--out"),
    ("--samplerate", "--sample-rate"),
    ("--rate", "--sample-rate"),
    ("--sr", "--sample-rate"),
    ("--bit-depth", "--bits"),
    ("--depth", "--bits"),
    ("--json", "--format json"),
    ("--csv", "--format csv"),
    ("--gap", "--max-gap"),
    ("--threshold", "--max-gap"),
    ("--tolerance", "--max-gap"),
    ("--path", "--on"),
    ("--at", "--on"),
    ("--target", "--on"),
    ("--force", "--overwrite"),
    ("--length", "--bars"),
    ("--delays", "--delay"),
    ("--phases", "--phase"),
];

/// What to write for an option that a command has not: the first word for it that the command has.
pub(super) fn option_meant(found: &str, has: impl Fn(&str) -> bool) -> Option<&'static str> {
    let found = found.split('=').next()?.to_lowercase().replace('_', "-");
    let name = |option: &'static str| option.split(' ').next().unwrap_or(option);
    OPTIONS.iter().find(|(word, option)| *word == found && has(name(option))).map(|(_, option)| *option)
}

/// The longest time that an option may ask for, as in a patch.
const LONGEST_TIME: Span = Span::from_ms(600_000);

/// A time of whole picoseconds that is not negative, and no longer than a time in a patch may be.
///
/// # Errors
/// A sentence.
pub(super) fn time_from_zero(text: &str) -> Result<Span, String> {
    let time = quantity::whole_time(text).map_err(|e| format!("{e}; {}", e.help()))?;
    if time < Span::ZERO || time > LONGEST_TIME {
        return Err(format!("`{}` is out of bounds: write a time from 0 s to 600 s", crate::patch::shown(text.trim())));
    }
    Ok(time)
}

/// Prints a result that is no list of rows.
#[derive(clap::ValueEnum, Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum TableOrJson {
    /// For people
    Table,
    /// For programs, whole
    Json,
}

/// Prints a result as people or programs want it.
#[derive(clap::ValueEnum, Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Format {
    /// For people
    Table,
    /// For programs, whole
    Json,
    /// For programs, a row a line
    Csv,
}

impl SoundArgs {
    /// Where files go and how sound is written, with a bar where there is a terminal.
    pub(super) fn destination(&self) -> Destination {
        let bits = match self.bits.as_str() {
            "16" => 16,
            "32" => 32,
            _ => 24,
        };
        let &Self { sample_rate, seed, lead_in, overwrite, .. } = self;
        let sound = SoundSettings { sample_rate, bits, seed, lead_in };
        Destination { dir: self.out.clone(), overwrite, sound, progress: Arc::new(Bar::new()) }
    }
}

impl From<quantity::QuantityError> for Failure {
    fn from(error: quantity::QuantityError) -> Self {
        Self::Input(format!("error: {error}"))
    }
}
