//! An example that the program carries, written where it is asked for.

use super::file::write;
use super::paste::quoted;
use super::{Failure, Outcome, terminal};
use crate::patch::shown;
use crate::show::report::plain;
use crate::source::carried::{EXAMPLES, Embedded, Example, listed};
use clap::builder::{PossibleValue, TypedValueParser};
use std::ffi::OsStr;
use std::path::{Path, PathBuf};

/// Writes an example and what goes with it, into the current folder unless `path` says where, and says what to try.
///
/// # Errors
/// Exit status 2 for an example that there is not, 3 where a file is in the way or cannot be written.
pub(super) fn write_example(name: &str, path: Option<&Path>, overwrite: bool) -> Result<Outcome, Failure> {
    let Some(example) = Example::named(name) else {
        let help = format!("take one of these, each with its title:\n\n{}", listed());
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
    let typed_path = |path: &Path| quoted(&path.display().to_string());
    let typed = |part: &str| match beside.iter().find(|(_, file)| file.name == part) {
        Some((path, _)) => typed_path(path),
        None if part == "FILE" => typed_path(path),
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

/// Takes any name, since one that is unknown is answered with titles; help and completions learn which there are.
#[derive(Clone, Debug)]
pub(super) struct Names;

impl TypedValueParser for Names {
    type Value = String;

    fn parse_ref(&self, _: &clap::Command, _: Option<&clap::Arg>, value: &OsStr) -> Result<String, clap::Error> {
        Ok(value.to_string_lossy().into_owned())
    }

    fn possible_values(&self) -> Option<Box<dyn Iterator<Item = PossibleValue> + '_>> {
        Some(Box::new(EXAMPLES.iter().map(|e| PossibleValue::new(e.name()).help(e.title))))
    }
}
