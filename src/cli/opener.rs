//! What was made, opened with the program that the system has for it.

use super::args::OpenArgs;
use super::terminal;
use std::io;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// The variable that names another program to open with.
const OPENER: &str = "HITGAP_OPENER";

/// What a command made that can be opened.
#[derive(Debug, Default)]
pub(super) struct Made {
    /// What a browser opens.
    pub(super) page: Option<PathBuf>,
    /// The sound file that is to be heard first.
    pub(super) sound: Option<PathBuf>,
    /// What makes a page, where none was made, for after a colon.
    pub(super) for_a_page: &'static str,
    /// What makes a sound file, where none was made.
    pub(super) for_a_sound: &'static str,
}

impl Made {
    /// Opens what was asked for; says what is not there. Nothing of that changes how the command ends: all files are there.
    pub(super) fn open(&self, args: &OpenArgs) {
        if args.open {
            match &self.page {
                Some(page) => launch(page),
                None => terminal::say(&format!("note: no page was made, so that none is opened: {}", self.for_a_page)),
            }
        }
        if args.play {
            match &self.sound {
                Some(sound) => launch(sound),
                None => {
                    terminal::say(&format!(
                        "note: no sound file was made, so that none is played: {}",
                        self.for_a_sound
                    ));
                }
            }
        }
    }
}

/// Hands a file to its program and does not wait for that.
fn launch(file: &Path) {
    // Whole, since a program that runs already has a folder of its own; and a whole path is no option.
    let whole = std::path::absolute(file).unwrap_or_else(|_| file.to_path_buf());
    if let Err(error) = start(&whole) {
        terminal::say(&format!("note: `{}` could not be opened: {error}; open it yourself", file.display()));
    }
}

/// Hands an address to the browser. It may open once: where that fails, `instead` is the one for people.
pub(super) fn launch_address(address: &str, instead: &str) {
    if let Err(error) = start(Path::new(address)) {
        terminal::say(&format!("note: no browser could be started: {error}; open {instead} yourself"));
    }
}

fn start(file: &Path) -> io::Result<()> {
    match std::env::var_os(OPENER).filter(|opener| !opener.is_empty()) {
        None => open::that_detached(file),
        Some(opener) => {
            let mut command = Command::new(opener);
            command.arg(file).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
            command.spawn().map(drop)
        }
    }
}
