use super::examples::{Names, write_example};
use super::file::write;
use super::paste::quoted;
use super::{Failure, Outcome, terminal};
use crate::show::report::plain;
use crate::source::carried::{TEMPLATES, Template};
use clap::Args;
use std::path::PathBuf;

#[derive(Args, Debug)]
pub(super) struct NewArgs {
    /// The file to write, such as mine.toml; an example has a name of its own
    #[arg(required_unless_present_any = ["example", "list"])]
    patch: Option<PathBuf>,
    /// What to write: one of those that --list names (default: rig)
    #[arg(long = "as", value_name = "NAME", value_parser = TEMPLATES.map(|template| template.name), conflicts_with = "example")]
    template: Option<String>,
    /// List what may be written, and write nothing
    #[arg(long, conflicts_with_all = ["patch", "template", "overwrite", "example"])]
    list: bool,
    /// Write this example instead, into the current folder unless PATCH says where, and what it reads beside it
    #[arg(long, value_name = "NAME", value_parser = Names)]
    example: Option<String>,
    /// Write over files that are there
    #[arg(long)]
    overwrite: bool,
}

pub(super) fn run(args: &NewArgs) -> Result<Outcome, Failure> {
    if let Some(name) = &args.example {
        return write_example(name, args.patch.as_deref(), args.overwrite);
    }
    let Some(patch) = &args.patch else {
        terminal::result(|out| {
            TEMPLATES.iter().try_for_each(|template| writeln!(out, "{:<17}  {}", template.name, template.about))?;
            writeln!(out, "\nhitgap new mine.toml --as {} writes the second, for example", TEMPLATES[1].name)
        })?;
        return Ok(Outcome::Done);
    };
    let template = Template::meant(args.template.as_deref(), patch);
    write(patch, template.text.as_bytes(), args.overwrite)?;
    let name = patch.display().to_string();
    let (name, word) = (plain(&name), quoted(&name));
    terminal::result(|out| {
        writeln!(out, "{name}\n")?;
        for (n, line) in template.next.iter().enumerate() {
            writeln!(out, "{}{}", if n == 0 { "Next:  " } else { "       " }, line.replace("FILE", &word))?;
        }
        if template.text.contains("like = ") {
            writeln!(out, "Which kinds of boxes there are, and which you own: hitgap boxes")?;
        }
        Ok(())
    })?;
    Ok(Outcome::Done)
}
