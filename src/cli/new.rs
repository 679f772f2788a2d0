use super::examples::{Names, write_example};
use super::file::write;
use super::paste::quoted;
use super::{Failure, Outcome, terminal};
use crate::show::report::plain;
use clap::Args;
use std::path::{Path, PathBuf};

/// A file to start from.
struct Template {
    name: &'static str,
    /// What it is, in a line.
    about: &'static str,
    text: &'static str,
    /// What to type next, with `FILE` for its name.
    next: &'static [&'static str],
}

const PLAY: &[&str] = &["hitgap check FILE", "hitgap compare FILE"];

/// The first is written where nothing else is asked for.
const TEMPLATES: [Template; 6] = [
    Template {
        name: "rig",
        about: "three boxes on one clock, two by pulses and one by a serial cable, and a fix",
        text: include_str!("new/rig.toml"),
        next: PLAY,
    },
    Template {
        name: "two-boxes",
        about: "two boxes that read one reset each in its own way",
        text: include_str!("new/two-boxes.toml"),
        next: PLAY,
    },
    Template {
        name: "serial-and-pulses",
        about: "a box on a serial cable beside one that takes pulses",
        text: include_str!("new/serial-and-pulses.toml"),
        next: PLAY,
    },
    Template {
        name: "no-resets",
        about: "boxes that have no reset",
        text: include_str!("new/no-resets.toml"),
        next: &["hitgap check FILE", "hitgap render FILE"],
    },
    Template {
        name: LESSON,
        about: "a lesson in chapters, for a class; also written where the name ends in .lesson.toml",
        text: include_str!("new/lesson.toml"),
        next: &["hitgap lesson FILE"],
    },
    Template {
        name: "components",
        about: "a shopping list: parts that `advise` tries in a patch",
        text: include_str!("new/components.toml"),
        next: &[
            "hitgap new --example late-bell",
            "hitgap advise late-bell.toml --on sequencer.wren.clock --components FILE",
        ],
    },
];

const LESSON: &str = "lesson";

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
    let template = template(args.template.as_deref(), patch);
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

/// What is asked for: by its name, or by that of the file.
fn template(name: Option<&str>, file: &Path) -> &'static Template {
    static ALL: [Template; 6] = TEMPLATES;
    let lesson = file.to_string_lossy().ends_with(".lesson.toml").then_some(LESSON);
    let name = name.or(lesson);
    ALL.iter().find(|template| Some(template.name) == name).unwrap_or(&ALL[0])
}
