//! A patch alone on the command line: it is checked.

use super::terminal;
use clap::Command;
use std::ffi::{OsStr, OsString};
use std::path::Path;

/// The words of a command line, and whether a patch stood where a command would: then `check` is put before it.
///
/// What a command is called is the command. Else a word is a patch if there is such a file, or if it is written like one: then
/// it is said that there is none, and not that there is no such command.
pub(super) fn words(mut words: Vec<OsString>, of: &Command) -> (Vec<OsString>, bool) {
    let alone = words.get(1).is_some_and(|word| !is_command(word, of) && is_patch(word));
    if alone {
        words.insert(1, "check".into());
    }
    (words, alone)
}

fn is_command(word: &OsStr, of: &Command) -> bool {
    word == "help" || of.get_subcommands().any(|command| word == command.get_name())
}

fn is_patch(word: &OsStr) -> bool {
    let path = Path::new(word);
    let is_option = word.to_string_lossy().starts_with('-');
    !is_option && (path.extension().is_some_and(|end| end == "toml") || path.is_file())
}

/// Where a command was not understood and a file is called like it, says how that file would be checked.
pub(super) fn hint() {
    let words: Vec<OsString> = std::env::args_os().skip(1).collect();
    if let [word] = words.as_slice()
        && Path::new(word).is_file()
    {
        let name = super::paste::quoted(&word.to_string_lossy());
        terminal::say(&format!("note: to check the file {name}, write: hitgap check {name}\n"));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn only_a_patch_in_the_place_of_a_command_is_checked() {
        let read = |line: &[&str]| {
            let words = std::iter::once("hitgap").chain(line.iter().copied()).map(OsString::from).collect();
            let (words, alone) = words_of(words);
            (words.iter().skip(1).map(|word| word.to_string_lossy().into_owned()).collect::<Vec<_>>().join(" "), alone)
        };
        fn words_of(all: Vec<OsString>) -> (Vec<OsString>, bool) {
            words(all, &crate::cli::Cli::command())
        }
        // A file of this crate, which every test runs beside.
        for (line, wanted, alone) in [
            (vec!["late.toml", "--tempo", "60"], "check late.toml --tempo 60", true),
            (vec!["Cargo.lock"], "check Cargo.lock", true),
            (vec!["patches/none.toml"], "check patches/none.toml", true),
            (vec!["check", "late.toml"], "check late.toml", false),
            (vec!["chekc", "late.toml"], "chekc late.toml", false),
            (vec!["--version"], "--version", false),
            (vec!["--x.toml"], "--x.toml", false),
            (vec!["help", "check"], "help check", false),
            (vec!["src"], "src", false),
            (vec![], "", false),
        ] {
            assert_eq!(read(&line), (wanted.to_owned(), alone), "{line:?}");
        }
    }
}
