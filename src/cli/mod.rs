//! The command line: one file a command. Only this module knows clap, the terminal and where files lie.

mod advise;
mod album;
mod args;
mod bare;
mod boxes;
mod check;
mod compare;
mod completions;
mod ear;
mod evening;
mod examples;
mod failure;
mod file;
mod flam;
mod hits;
mod identify;
mod lesson;
mod load;
mod manual;
mod measure;
mod measured_files;
mod mend;
mod new;
mod open;
mod opener;
mod pack;
mod paste;
mod plot;
mod render;
mod results;
mod results_blind;
mod results_class;
mod results_plot;
mod results_training;
mod resume;
mod schema;
mod survey;
mod sweep;
mod terminal;
mod threads;
mod train;
mod voices;
mod work;

pub use failure::{Failure, Outcome};

use crate::show::report::{CARE, CARE_SHORT, WIRING};
use crate::store::interrupt;
use crate::text::{unfit, within};
use clap::error::{ContextKind, ContextValue, ErrorKind};
use clap::{CommandFactory, Parser, Subcommand};

/// Begins to listen for requests to end. The first thing that the program does.
pub fn listen() {
    interrupt::listen(|| terminal::say(&Failure::Interrupted.to_string()));
}

/// Hear what a timing error sounds like before you re-patch, buy or go on stage
#[derive(Parser, Debug)]
#[command(name = "hitgap", version, about, max_term_width = 100, after_help = format!("{ALONE}\n\n{STATUS}\n\n{CARE}"))]
pub struct Cli {
    #[command(subcommand)]
    command: Command,
}

/// The shortest way.
const ALONE: &str = "`hitgap PATCH` alone is `hitgap check PATCH`, and says how to hear what the patch's fixes do. Where a \
patch file is called like a command, the command is meant: `hitgap check render` checks the file `render`.";

/// What scripts ask for.
const STATUS: &str = "Exit status: 0 done, or all that was checked passes; 1 `check` finds that something fails; 2 bad \
usage, bad input, a bound; 3 a file could not be read or written, or a foreign file is in the way; 130 interrupted. \
Results go to stdout, talk and progress to stderr.";

#[derive(Subcommand, Debug)]
enum Command {
    /// Write a patch to start from: three robots on one clock, a line each
    ///
    /// It can be checked and heard as it is; change it line by line into your own rig. With --list, what else it may write: other
    /// rigs, a lesson (which a name that ends in .lesson.toml asks for too), a list of components. With --example, one of the examples
    /// that the program carries, to be tried at once: `hitgap new --example late-bell`.
    New(new::NewArgs),
    /// Say who misses the one and how far apart hits land, and pass or fail the patch
    ///
    /// Looks at every variant at every tempo. Passes (exit status 0) if everybody agrees on the one and no gap is over the
    /// max gap, in all that is listed; else fails (exit status 1). With --plot, pictures too, as SVG files.
    Check(check::CheckArgs),
    /// Hold the original against its fixes: matched in loudness, apart and by turns
    ///
    /// Writes PATCH.html, a listening page for any browser with all versions side by side, and WAV files:
    /// PATCH.original.TEMPObpm.matched.wav and, for each fix, PATCH.FIX.TEMPObpm.matched.wav and
    /// PATCH.original+FIX.TEMPObpm.wav: a few bars of the original, a rest, the same bars with the fix, then the next ones.
    /// All play from the centre, voices equally strong. On stdout, what to listen for.
    Compare(compare::CompareArgs),
    /// Listen while you turn: a page that follows the patch file as it is saved
    ///
    /// Serves the listening page of the original and its fixes to a browser of this machine, and to nobody else. Whenever the file
    /// changes, the page takes it over while it plays: same place of the bar, new sound, new figures. A faulty patch leaves the
    /// last good version playing and says what is wrong. Ctrl-C ends it.
    Open(open::OpenPatchArgs),
    /// Write WAV files of a variant at each tempo
    ///
    /// Writes PATCH.VARIANT.TEMPObpm.wav and, with --stems, PATCH.VARIANT.TEMPObpm.SEQUENCER.wav, at the levels and from the
    /// places of the patch, turned down only if a true peak would pass -1 dBTP. On stdout, the files' names.
    Render(render::RenderArgs),
    /// Hear a grid: one path at many delays, or one dial at many settings, by tempos
    ///
    /// Writes a file for each cell (PATCH.VARIANT.KNOB+SETTING.TEMPObpm.wav), the figures of all cells (PATCH.VARIANT.KNOB.sweep.csv)
    /// and one file that plays them in order, each after its number in tones: a low one for ten, a high one for one. All cells
    /// of a tempo are equally loud.
    Sweep(sweep::SweepArgs),
    /// List every hit of one variant at one tempo
    ///
    /// CSV on stdout: `time_s` in seconds from the clock's start, `beat` of its pulse, `due_beat` of its step, `sequencer`,
    /// `step` from 1, `velocity` from 1 to 127. Without --tempo, the first tempo of the patch. A CSV or MIDI file that was
    /// written so can be a take: `[hits.NAME]` with `file = "..."` in a patch.
    Hits(hits::HitsArgs),
    /// Say how much delay a path needs at the tempos played, and which component gives it
    ///
    /// Works out between which delays at the end of one path everybody stands on the one and no gap is over the max gap, at
    /// every tempo and over all tolerances; then ranks components, and proposes a resistor and a capacitor. With --card, what
    /// to set for each song. The exit status is 0 whether or not anything fits.
    Advise(advise::AdviseArgs),
    /// Say what is the least that must be done so that everybody is together at every tempo
    ///
    /// Searches sets of changes, the fewest first: nudges, dials of the clock, keys that may be set, cables plugged in elsewhere, parts
    /// put in. Every set that is told passes at every tempo, over all tolerances and with the skew kept, and nothing smaller or
    /// cheaper does. With --write, the best becomes a fix in the patch. The exit status is 0 whether or not anything does.
    Mend(mend::MendArgs),
    /// Measure a real rig from recordings: how late each box is, and by what
    ///
    /// Reads WAV files of one recorder, a tempo each, with the clock's pulses and the hits of a box on channels of their own. Says
    /// for each box whether it is late by a time, by a share of the grid, or by waiting for a loop or a block of audio, how far that
    /// wavers, and what to record where it cannot be told.
    Measure(measure::MeasureArgs),
    /// Find out how a box reads its reset: what to set, and what to listen for
    ///
    /// Prints the fewest settings of the clock that tell all ways apart, and what each way does in each; writes what may be
    /// heard as WAV files, to compare by ear. With --answers, the way that is left and the lines to put into the patch.
    Identify(identify::IdentifyArgs),
    /// List the kinds of boxes that a patch may name, and how to tell which you own
    ///
    /// A line `like = "NAME"` in a sequencer's table brings what such a box does; what is written beside it holds instead.
    Boxes(boxes::BoxesListArgs),
    /// Hear two voices a time apart, without any patch
    ///
    /// Writes a file for each gap and tempo: 3 bars with the voices apart, one with them together, equally loud. On stdout,
    /// what each gap amounts to.
    Flam(flam::FlamArgs),
    /// Train your ear: write a page that finds the smallest gap you hear
    ///
    /// Writes train.A+B.TEMPObpm.html (with --patch, train.PATCH.A+B.TEMPObpm.html), a page that opens in a browser without any network: three tasks, gaps that are asked for
    /// where your answer tells most, and a session file to save, which `results` reads. With --patch, `tight or loose` plays the
    /// bar in which two voices of the patch are due together most often; the other tasks play single hits of the two. With
    /// --pack, files for a class instead. This is not a hearing test in the medical sense.
    Train(train::TrainArgs),
    /// Say what the answers come to that a page saved
    ///
    /// Of training sessions: how small a gap you hear, and what that means for a patch; with --save, the thresholds go into an ear
    /// file, which `check --ear` and `advise --ear` take the max gap from. Of blind tests: whether you hear the difference, counted
    /// anew, with how often guessing does that or better; of many a table, a row a listener. Of a class: its key and its answers.
    /// With --verbose, the curves, intervals and exact shares behind it; with --plot, pictures of trials and curves. This is not
    /// a hearing test in the medical sense.
    Results(results::ResultsArgs),
    /// String several comparisons with a teacher's text into one page
    ///
    /// Reads a lesson's file and writes LESSON.html: an index of chapters, and in each its text, the versions to listen to,
    /// what is heard, pictures, and a blind test. It opens in any browser and asks the network for nothing.
    Lesson(lesson::LessonArgs),
    /// List the built-in kit, or the voices of a patch
    ///
    /// Its settings, and what is measured of each voice; of a sound file, where its onset is. With --render, voice.NAME.wav; with
    /// --plot, voice.NAME.svg.
    Voices(voices::VoicesArgs),
    /// Print the shape of a patch file as a JSON Schema, so that editors complete and check it
    ///
    /// For example: `hitgap schema > hitgap.schema.json`, and `#:schema ./hitgap.schema.json` as the first line of a patch beside
    /// it. What names mean and what must go together only `check` knows.
    Schema(schema::SchemaArgs),
    /// Print what a shell needs to complete commands and options
    ///
    /// For example: `hitgap completions bash > ~/.local/share/bash-completion/completions/hitgap`
    Completions(completions::CompletionsArgs),
    /// Print the manual page, or write one for each command
    ///
    /// For example: `hitgap manual | man -l -`
    Manual(manual::ManualArgs),
}

impl Cli {
    /// Reads the words of the command line. Where they are none that are known, it says so and ends the program, as it does
    /// where only help is asked for; what is repeated of them reaches no terminal raw.
    #[must_use]
    pub fn read() -> Self {
        let (words, alone) = bare::words(std::env::args_os().collect(), &Self::command());
        /// So long are the words that people type, and longer than any option.
        const USUAL: usize = 200;
        let odd = |word: &str| word.len() > USUAL || unfit(word, |_| false).is_some();
        let hostile = std::env::args_os().any(|word| odd(&word.to_string_lossy()));
        let cli = Self::try_parse_from(words).unwrap_or_else(|mut error| {
            suggest(&mut error);
            if hostile {
                // A word may stand twice, in the fault and in the tip.
                let lines: Vec<String> = error.render().to_string().lines().map(|line| within(line, USUAL)).collect();
                terminal::say(&lines.join("\n"));
                std::process::exit(error.exit_code());
            }
            bare::hint();
            error.exit()
        });
        cli.alone(alone)
    }

    /// Lets a check say how to hear fixes too, where the patch stood alone.
    fn alone(mut self, alone: bool) -> Self {
        if let Command::Check(args) = &mut self.command {
            args.alone = alone;
        }
        self
    }

    /// Does what was asked.
    ///
    /// # Errors
    /// [`Failure`], ready to be shown, with its exit status.
    pub fn run(self) -> Result<Outcome, Failure> {
        let _threads = threads::ready();
        let outcome = self.command.run();
        interrupt::end();
        outcome
    }
}

/// Names the option that is meant by another word for it, where the command has that option.
fn suggest(error: &mut clap::Error) {
    let Some(ContextValue::String(found)) = error.get(ContextKind::InvalidArg) else { return };
    let command = std::env::args().nth(1).unwrap_or_default();
    let whole = Cli::command();
    let has = |option: &str| {
        let command = whole.find_subcommand(&command);
        command.is_some_and(|c| c.get_arguments().any(|a| a.get_long().is_some_and(|long| option[2..] == *long)))
    };
    if error.kind() == ErrorKind::UnknownArgument
        && let Some(meant) = args::option_meant(found, has)
    {
        error.insert(ContextKind::SuggestedArg, ContextValue::String(meant.to_owned()));
        // It would hold what is put beside it for the usual tips.
        error.remove(ContextKind::Suggested);
    }
}

impl Command {
    fn run(self) -> Result<Outcome, Failure> {
        match self {
            Command::New(args) => new::run(&args),
            Command::Check(args) => check::run(&args),
            Command::Compare(args) => compare::run(&args),
            Command::Open(args) => open::run(&args),
            Command::Render(args) => render::run(&args),
            Command::Sweep(args) => sweep::run(&args),
            Command::Hits(args) => hits::run(&args),
            Command::Advise(args) => advise::run(&args),
            Command::Mend(args) => mend::run(&args),
            Command::Measure(args) => measure::run(&args),
            Command::Identify(args) => identify::run(&args),
            Command::Boxes(args) => boxes::run(&args),
            Command::Flam(args) => flam::run(&args),
            Command::Train(args) => train::run(&args),
            Command::Results(args) => results::run(&args),
            Command::Lesson(args) => lesson::run(&args),
            Command::Voices(args) => voices::run(&args),
            Command::Schema(args) => schema::run(&args),
            Command::Completions(args) => completions::run(&args),
            Command::Manual(args) => manual::run(&args),
        }
    }
}
