//! The command line: parse, call, turn the outcome into an exit status.

use hitgap::cli::{Cli, Outcome};
use std::io::Write;
use std::process::ExitCode;

fn main() -> ExitCode {
    match Cli::read().run() {
        Ok(Outcome::Done) => ExitCode::SUCCESS,
        Ok(Outcome::Fails) => ExitCode::from(1),
        Err(failure) => {
            let text = failure.to_string();
            if !text.is_empty() {
                // Nobody need listen: `eprintln` would panic then.
                let _ = writeln!(std::io::stderr().lock(), "{}", text.trim_end());
            }
            ExitCode::from(failure.status())
        }
    }
}
