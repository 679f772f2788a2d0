use super::examples::{Embedded, Example, Names, list};
use super::file::write;
use super::{Failure, Outcome, terminal};
use crate::patch::shown;
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
        next: &["hitgap advise patches/late-bell.toml --on sequencer.wren.clock --components FILE"],
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
        return example(name, args.patch.as_deref(), args.overwrite);
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
    let (name, word) = (plain(&patch.display().to_string()), word(patch));
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

fn example(name: &str, path: Option<&Path>, overwrite: bool) -> Result<Outcome, Failure> {
    let Some(example) = Example::named(name) else {
        let help = format!("take one of these, each with its title:\n\n{}", list());
        return Err(Failure::input(format!("there is no example `{}`", shown(name)), help));
    };
    let path = path.unwrap_or(Path::new(example.file.name));
    let beside: Vec<(PathBuf, Embedded)> =
        example.beside.iter().map(|file| (path.with_file_name(file.name), *file)).collect();
    let own = path.file_name().unwrap_or_default();
    if let Some(file) = example.beside.iter().find(|file| own.eq_ignore_ascii_case(file.name)) {
        let found = format!("`{}` cannot be `{name}`: another file of that name goes with it", file.name);
        return Err(Failure::input(found, "give it another name"));
    }
    // What is in the way is found before anything is written.
    let mut taken: Vec<&Path> =
        beside.iter().filter(|(p, f)| is_there(p) && !is_same(p, f)).map(|(p, _)| &**p).collect();
    taken.extend(is_there(path).then_some(path));
    if !overwrite && !taken.is_empty() {
        let names: Vec<String> = taken.iter().map(|p| format!("`{}`", shown(&p.display().to_string()))).collect();
        let (are, it) = if names.len() == 1 { ("is", "it") } else { ("are", "them") };
        let help = format!("go to another folder, or write over {it} with --overwrite");
        return Err(Failure::File(format!("error: {} {are} there already\nhelp: {help}", names.join(" and "))));
    }
    let mut lines = vec![plain(&path.display().to_string())];
    for (path, file) in &beside {
        let there = is_same(path, file);
        if !there {
            write(path, file.text.as_bytes(), overwrite)?;
        }
        let there = if there { "; it is there already" } else { "" };
        lines.push(format!("{}, which goes with it{there}", plain(&path.display().to_string())));
    }
    // Last, so that where it is, all that it needs is there too.
    write(path, example.file.text.as_bytes(), overwrite)?;
    let typed = |part: &str| match beside.iter().find(|(_, file)| file.name == part) {
        Some((path, _)) => word(path),
        None if part == "FILE" => word(path),
        None => part.to_owned(),
    };
    let next = example.then.iter().map(|line| line.split(' ').map(typed).collect::<Vec<_>>().join(" "));
    terminal::result(|out| {
        writeln!(out, "{}\n", lines.join("\n"))?;
        next.enumerate()
            .try_for_each(|(n, line)| writeln!(out, "{}hitgap {line}", if n == 0 { "Next:  " } else { "       " }))
    })?;
    Ok(Outcome::Done)
}

/// Whether something has this name, be it a link that leads nowhere.
fn is_there(path: &Path) -> bool {
    path.symlink_metadata().is_ok()
}

/// Whether this very file is there. Nothing else is read: a pipe would wait for ever.
fn is_same(path: &Path, file: &Embedded) -> bool {
    let length = path.metadata().ok().filter(std::fs::Metadata::is_file).map(|m| m.len());
    length == u64::try_from(file.text.len()).ok() && std::fs::read(path).is_ok_and(|b| b == file.text.as_bytes())
}

/// A file's name as it is typed in a shell.
fn word(path: &Path) -> String {
    let name = plain(&path.display().to_string());
    // What a shell would take for several words, or for more than a name.
    let plainly = |c: char| c.is_alphanumeric() || "._-/+:\\".contains(c);
    if name.chars().all(plainly) { name } else { format!("\"{name}\"") }
}

/// What is asked for: by its name, or by that of the file.
fn template(name: Option<&str>, file: &Path) -> &'static Template {
    static ALL: [Template; 6] = TEMPLATES;
    let lesson = file.to_string_lossy().ends_with(".lesson.toml").then_some(LESSON);
    let name = name.or(lesson);
    ALL.iter().find(|template| Some(template.name) == name).unwrap_or(&ALL[0])
}
