use super::file::write;
use super::{Cli, Failure, Outcome, terminal};
use clap::{Args, Command, CommandFactory};
use clap_mangen::Man;
use std::path::PathBuf;

#[derive(Args, Debug)]
pub(super) struct ManualArgs {
    /// Write hitgap.1 and a page for each command into a folder that is there
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Write over files that are there
    #[arg(long, requires = "out")]
    overwrite: bool,
}

pub(super) fn run(args: &ManualArgs) -> Result<Outcome, Failure> {
    let mut whole = Cli::command();
    whole.build();
    let Some(dir) = &args.out else {
        let page = page(whole)?;
        terminal::result(|out| out.write_all(&page))?;
        return Ok(Outcome::Done);
    };
    let mut lines = Vec::new();
    let commands: Vec<Command> = whole.get_subcommands().filter(|c| c.get_name() != "help").cloned().collect();
    for (name, command) in std::iter::once(("hitgap".to_owned(), whole.clone()))
        .chain(commands.into_iter().map(|c| (format!("hitgap-{}", c.get_name()), c)))
    {
        let path = dir.join(format!("{name}.1"));
        write(&path, &page(command)?, args.overwrite)?;
        lines.push(crate::show::report::plain(&path.display().to_string()));
    }
    terminal::result(|out| lines.iter().try_for_each(|line| writeln!(out, "{line}")))?;
    Ok(Outcome::Done)
}

fn page(command: Command) -> Result<Vec<u8>, Failure> {
    let mut bytes = Vec::new();
    Man::new(command).render(&mut bytes)?;
    Ok(bytes)
}
