//! The examples that the program carries, so that they are at hand wherever it is installed.

use super::file::write;
use super::paste::quoted;
use super::{Failure, Outcome, terminal};
use crate::patch::shown;
use crate::show::report::plain;
use clap::builder::{PossibleValue, TypedValueParser};
use std::ffi::OsStr;
use std::path::{Path, PathBuf};

/// A file of `patches/` as it stands there.
#[derive(Clone, Copy, Debug)]
pub(super) struct Embedded {
    pub(super) name: &'static str,
    pub(super) text: &'static str,
}

/// A file that can be tried at once, with all that it needs.
#[derive(Debug)]
pub(super) struct Example {
    pub(super) title: &'static str,
    pub(super) file: Embedded,
    /// What lies beside it, because it or a command to try names that.
    pub(super) beside: &'static [Embedded],
    /// Commands to try, in which `FILE` is its own file.
    pub(super) then: &'static [&'static str],
}

macro_rules! embedded {
    ($name:literal) => {
        Embedded { name: $name, text: include_str!(concat!("../../patches/", $name)) }
    };
}

/// A patch whose fixes are held against the original.
const FIXED: &[&str] = &["check FILE", "compare FILE"];
/// A patch without fixes.
const ALONE: &[&str] = &["check FILE", "render FILE"];

const fn example(title: &'static str, file: Embedded) -> Example {
    Example { title, file, beside: &[], then: FIXED }
}

/// All of them, patches first.
pub(super) const EXAMPLES: &[Example] = &[
    example("The late bell", embedded!("late-bell.toml")),
    example("Thin ice", embedded!("thin-ice.toml")),
    example("Moth wakes on seven", embedded!("moth-wakes-on-seven.toml")),
    example("Moth blinks", embedded!("moth-blinks.toml")),
    example("Eight on one wire", embedded!("eight-on-one-wire.toml")),
    example("Three in the basket", embedded!("three-in-the-basket.toml")),
    example("Across the room", embedded!("across-the-room.toml")),
    example("Counting twenty-four", embedded!("counting-twenty-four.toml")),
    example("Five teachers", embedded!("five-teachers.toml")),
    Example { then: ALONE, ..example("A gate at last", embedded!("gate-at-last.toml")) },
    example("Half and double", embedded!("half-and-double.toml")),
    example("Hand in hand", embedded!("hand-in-hand.toml")),
    example("The Lantern hurries", embedded!("lantern-hurries.toml")),
    example("The Lantern rests", embedded!("lantern-rests.toml")),
    example("The Lantern trembles", embedded!("lantern-trembles.toml")),
    example("Loose hands", embedded!("loose-hands.toml")),
    example("Serial beside pulses", embedded!("serial-beside-pulses.toml")),
    example("A slow edge", embedded!("slow-edge.toml")),
    example("A soft attack", embedded!("soft-attack.toml")),
    Example { beside: &[embedded!("taken-by-hand.csv")], ..example("Taken by hand", embedded!("taken-by-hand.toml")) },
    example("Through the laptop", embedded!("through-the-laptop.toml")),
    Example { then: ALONE, ..example("Wren slips", embedded!("wren-slips.toml")) },
    Example {
        beside: &[embedded!("late-bell.toml")],
        then: &["advise late-bell.toml --on sequencer.wren.clock --components FILE"],
        ..example("Generic components", embedded!("components.toml"))
    },
    Example {
        beside: &[
            embedded!("late-bell.toml"),
            embedded!("moth-wakes-on-seven.toml"),
            embedded!("moth-blinks.toml"),
            embedded!("eight-on-one-wire.toml"),
        ],
        then: &["lesson FILE"],
        ..example("Three robots and a clock", embedded!("three-robots.lesson.toml"))
    },
    Example { then: &["results FILE"], ..example("Wren listens", embedded!("wren-listens.json")) },
];

impl Example {
    /// The name by which it is asked for: that of its file, up to the first dot.
    pub(super) fn name(&self) -> &'static str {
        self.file.name.split('.').next().unwrap_or(self.file.name)
    }

    pub(super) fn named(name: &str) -> Option<&'static Self> {
        EXAMPLES.iter().find(|e| e.name() == name)
    }
}

/// Writes an example and what goes with it, into the current folder unless `path` says where, and says what to try.
///
/// # Errors
/// Exit status 2 for an example that there is not, 3 where a file is in the way or cannot be written.
pub(super) fn write_example(name: &str, path: Option<&Path>, overwrite: bool) -> Result<Outcome, Failure> {
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

/// A line for each, its name and its title; an empty line after every so many, since a message longer than a screen is cut.
pub(super) fn list() -> String {
    const IN_A_MESSAGE: usize = 20;
    let width = EXAMPLES.iter().map(|e| e.name().len()).max().unwrap_or(0);
    let part = |part: &[Example]| -> Vec<String> {
        part.iter().map(|e| format!("  {:width$}  {}", e.name(), e.title)).collect()
    };
    EXAMPLES.chunks(IN_A_MESSAGE).map(|some| part(some).join("\n")).collect::<Vec<_>>().join("\n\n")
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

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    /// The folder and the table hold the same: an example that is added there is added here.
    #[test]
    fn every_example_is_carried_under_a_name_and_the_title_of_its_file() {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("patches");
        let there: BTreeSet<String> = std::fs::read_dir(folder)
            .expect("the examples")
            .map(|entry| entry.expect("an entry").file_name().into_string().expect("a plain name"))
            .collect();
        let files = EXAMPLES.iter().flat_map(|e| e.beside.iter().chain([&e.file]));
        assert_eq!(files.map(|f| f.name.to_owned()).collect::<BTreeSet<_>>(), there);
        let names: BTreeSet<&str> = EXAMPLES.iter().map(Example::name).collect();
        assert_eq!(names.len(), EXAMPLES.len(), "two have one name");
        for example in EXAMPLES.iter().filter(|e| e.file.name.ends_with(".toml")) {
            let file: toml::Table = example.file.text.parse().expect(example.file.name);
            assert_eq!(file["title"].as_str(), Some(example.title), "{}", example.file.name);
        }
    }
}
