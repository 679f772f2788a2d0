use super::{Cli, Failure, Outcome, terminal};
use clap::{Args, CommandFactory};
use clap_complete::{Shell, generate};

#[derive(Args, Debug)]
pub(super) struct CompletionsArgs {
    /// The shell
    shell: Shell,
}

pub(super) fn run(args: &CompletionsArgs) -> Result<Outcome, Failure> {
    let mut bytes = Vec::new();
    generate(args.shell, &mut Cli::command(), "hitgap", &mut bytes);
    terminal::result(|out| out.write_all(&bytes))?;
    Ok(Outcome::Done)
}
