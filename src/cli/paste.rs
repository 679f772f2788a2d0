//! Commands to paste, made from the one that was typed.

use super::Failure;
use crate::judge::which::Unclear;

pub(super) use crate::text::quoted;

/// The words that were typed, without the program's own name.
fn typed() -> Vec<String> {
    std::env::args_os().skip(1).map(|word| word.to_string_lossy().into_owned()).collect()
}

/// The command that was typed, once for each choice with `option` set to it, a line each.
pub(super) fn commands(option: &str, choices: &[String]) -> String {
    crate::text::commands(&typed(), option, choices)
}

impl From<Unclear> for Failure {
    fn from(error: Unclear) -> Self {
        Self::input(&error, error.help(&typed()))
    }
}
