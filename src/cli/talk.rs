//! Results go to stdout, talk to stderr; both through writers whose failures are looked at.

use super::Failure;
use std::io::{self, Write};

/// Writes a result to stdout.
///
/// # Errors
/// [`Failure::ClosedPipe`] where nobody reads any more.
pub(super) fn result(write: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> Result<(), Failure> {
    let mut out = io::BufWriter::new(io::stdout().lock());
    write(&mut out)?;
    out.flush()?;
    Ok(())
}

/// Says something to people on stderr. Nothing is lost if they do not listen.
pub(super) fn say(text: &str) {
    let _ = writeln!(io::stderr().lock(), "{}", text.trim_end());
}
