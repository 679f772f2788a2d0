//! The command line: parse, call, turn the outcome into an exit status.

use hitgap::cli::{Cli, Outcome, listen};
use std::process::ExitCode;

fn main() -> ExitCode {
    listen();
    match Cli::read().run() {
        Ok(Outcome::Done) => ExitCode::SUCCESS,
        Ok(Outcome::Fails) => ExitCode::from(1),
        Err(failure) => {
            failure.tell();
            ExitCode::from(failure.status())
        }
    }
}
