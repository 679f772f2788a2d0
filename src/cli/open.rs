use super::args::{BoxesArgs, DrawArgs, FilesArgs, JudgeArgs, Tempos, tempos};
use super::{CARE_SHORT, Failure, Outcome, opener, terminal};
use crate::export::Draw;
use crate::serve::{ServeError, Server, Subject};
use crate::source::Talk;
use crate::store::interrupt::parting;
use clap::Args;
use std::path::PathBuf;

#[derive(Args, Debug)]
pub(super) struct OpenPatchArgs {
    /// The patch file; without one, the page is a gallery of rigs to begin from
    patch: Option<PathBuf>,
    /// Tempos in quarter notes a minute: 60,90,120 or 60..160:20 (default: those of the patch)
    #[arg(long, value_name = "TEMPOS", value_parser = tempos)]
    tempo: Option<Tempos>,
    /// How many bars to play (default: those of the patch)
    #[arg(long, value_name = "N", allow_negative_numbers = true)]
    bars: Option<u64>,
    #[command(flatten)]
    boxes: BoxesArgs,
    #[command(flatten)]
    files: FilesArgs,
    #[command(flatten)]
    judge: JudgeArgs,
    /// A fix to hold against the original, or several joined by +; may be given again (default: every fix)
    #[arg(long, value_name = "NAME")]
    fix: Vec<String>,
    #[command(flatten)]
    draw: DrawArgs,
    /// What all chance is drawn from: another number, another noise
    #[arg(long, value_name = "N", default_value_t = 1, allow_negative_numbers = true)]
    seed: u64,
    /// The folder for sound files and pages that are asked for from the page; it is made if need be
    #[arg(long, value_name = "DIR", default_value = "out")]
    out: PathBuf,
    /// The port of this machine that the page is served on (default: any that is free)
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..), allow_negative_numbers = true)]
    port: Option<u16>,
    /// Start no browser: the address is printed all the same
    #[arg(long)]
    no_open: bool,
}

pub(super) fn run(args: &OpenPatchArgs) -> Result<Outcome, Failure> {
    let subject = Subject {
        patch: args.patch.clone().unwrap_or_default(),
        fixes: args.fix.clone(),
        tempos: args.tempo.as_ref().map(|tempos| tempos.0.clone()),
        bars: args.bars,
        max_gap: args.judge.max_gap,
        boxes: args.boxes.boxes.clone(),
        allow_files: args.files.allow_files,
        seed: args.seed,
        draw: Draw(args.draw.run),
        out: args.out.clone(),
        talk: Talk { color: false, say: terminal::say },
        tell: |error| Failure::from(error).to_string(),
    };
    let server = Server::new(subject, args.port.unwrap_or(0))?;
    let [printed, handed] = server.addresses();
    terminal::result(|out| {
        writeln!(out, "Open {printed}")?;
        let what = match args.patch {
            Some(_) => "Turn the rig there and hear it; what you save in any editor is heard too.",
            None => "Choose a rig there; it is written into this folder.",
        };
        writeln!(out, "{what} Ctrl-C ends it.")?;
        writeln!(out, "{CARE_SHORT}")
    })?;
    let unsaved = server.parting();
    parting(move || unsaved().iter().for_each(|words| terminal::say(words)));
    if !args.no_open {
        opener::launch_address(&handed, &printed);
    }
    server.serve()?;
    Ok(Outcome::Done)
}

impl From<ServeError> for Failure {
    fn from(error: ServeError) -> Self {
        match error {
            ServeError::Patch(error) => error.into(),
            ServeError::Port { .. } => Self::File(format!(
                "error: {error}\nhelp: name another with --port, or leave it out: then any that is free"
            )),
            ServeError::System(told) => Self::File(format!("error: the page cannot be served: {told}")),
        }
    }
}
