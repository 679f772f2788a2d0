use super::examples::{Embedded, Example, Names, list};
use super::file::write;
use super::{Failure, Outcome, terminal};
use crate::patch::shown;
use crate::show::report::plain;
use clap::Args;
use std::path::{Path, PathBuf};

/// What is written: a patch that passes its own checks.
const START: &str = include_str!("new.toml");

#[derive(Args, Debug)]
pub(super) struct NewArgs {
    /// The file to write, such as mine.toml; an example has a name of its own
    #[arg(required_unless_present = "example")]
    patch: Option<PathBuf>,
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
    // Without an example there is a file, or the line would not have been read.
    let patch = args.patch.as_deref().unwrap_or(Path::new("mine.toml"));
    write(patch, START.as_bytes(), args.overwrite)?;
    let (name, word) = (plain(&patch.display().to_string()), word(patch));
    terminal::result(|out| {
        writeln!(out, "{name}\n\nNext:  hitgap check {word}\n       hitgap compare {word}")?;
        writeln!(out, "Which way a box reads its reset, no manual says: hitgap identify")
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
