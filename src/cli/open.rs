use super::args::{DrawArgs, JudgeArgs, PatchArgs};
use super::{CARE_SHORT, Failure, Outcome, opener, terminal};
use crate::export::Draw;
use crate::serve::{ServeError, Server, Subject};
use crate::source::Talk;
use crate::store::interrupt::parting;
use clap::Args;

#[derive(Args, Debug)]
pub(super) struct OpenPatchArgs {
    #[command(flatten)]
    patch: PatchArgs,
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
    /// The port of this machine that the page is served on (default: any that is free)
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..), allow_negative_numbers = true)]
    port: Option<u16>,
    /// Start no browser: the address is printed all the same
    #[arg(long)]
    no_open: bool,
}

pub(super) fn run(args: &OpenPatchArgs) -> Result<Outcome, Failure> {
    let subject = Subject {
        patch: args.patch.patch.clone(),
        fixes: args.fix.clone(),
        tempos: args.patch.tempo.as_ref().map(|tempos| tempos.0.clone()),
        bars: args.patch.bars,
        max_gap: args.judge.max_gap,
        boxes: args.patch.boxes.boxes.clone(),
        seed: args.seed,
        draw: Draw(args.draw.run),
        talk: Talk { color: false, say: terminal::say },
        tell: |error| Failure::from(error).to_string(),
    };
    let server = Server::new(subject, args.port.unwrap_or(0))?;
    let [printed, handed] = server.addresses();
    terminal::result(|out| {
        writeln!(out, "Open {printed}")?;
        writeln!(out, "The page follows the patch: save the file, and hear it. Ctrl-C ends it.")?;
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
