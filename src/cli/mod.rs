//! The command line: one file a command. Only this module knows clap, the terminal and where files lie.

mod args;
mod check;
mod compare;
mod failure;
mod flam;
mod hits;
mod load;
mod press;
mod render;
mod talk;
mod voices;

pub use failure::{Failure, Outcome};

use clap::{Parser, Subcommand};

/// Hear what a timing error sounds like before you re-patch, buy or go on stage
#[derive(Parser, Debug)]
#[command(name = "hitgap", version, about, max_term_width = 100, after_help = CARE)]
pub struct Cli {
    #[command(subcommand)]
    command: Command,
}

/// The caution that every kind of listening carries.
const CARE: &str = "Start low: headphone listening at length can harm hearing, and a file's level says nothing about the level \
at the ear. Common limits: 85 dBA for 8 hours a day, halved for every 3 dB more (NIOSH); 80 dBA for 40 hours a week \
(WHO/ITU H.870).";

/// The caution in a line, for where sound was just written.
const CARE_SHORT: &str =
    "Start low, and see `hitgap --help` on listening levels: a file's level says nothing about the level at the ear.";

#[derive(Subcommand, Debug)]
enum Command {
    /// Say who misses the one and how far apart hits land, and pass or fail the patch
    Check(check::CheckArgs),
    /// List every hit of one variant at one tempo
    Hits(hits::HitsArgs),
    /// Hold the original against its fixes: matched in loudness, apart and by turns
    Compare(compare::CompareArgs),
    /// Hear two voices a time apart, without any patch
    Flam(flam::FlamArgs),
    /// List the built-in kit
    Voices(voices::VoicesArgs),
    /// Write WAV files of a variant at each tempo
    Render(render::RenderArgs),
}

impl Cli {
    /// Does what was asked.
    ///
    /// # Errors
    /// [`Failure`], ready to be shown, with its exit status.
    pub fn run(self) -> Result<Outcome, Failure> {
        match self.command {
            Command::Check(args) => check::run(&args),
            Command::Hits(args) => hits::run(&args),
            Command::Compare(args) => compare::run(&args),
            Command::Flam(args) => flam::run(&args),
            Command::Voices(args) => voices::run(&args),
            Command::Render(args) => render::run(&args),
        }
    }
}
