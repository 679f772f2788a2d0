//! Results go to stdout, talk to stderr; both through writers whose failures are looked at.

use super::Failure;
use crate::patch::tamed_json;
use std::io::{self, Write};

/// Writes a result to stdout.
///
/// # Errors
/// [`Failure::ClosedPipe`] where nobody reads any more.
pub(super) fn result(write: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> Result<(), Failure> {
    let mut out = io::BufWriter::new(Heard { out: io::stdout().lock(), closed: false });
    let done = write(&mut out).and_then(|()| out.flush());
    // What is left in the buffer must not be tried again.
    let (heard, _) = out.into_parts();
    if heard.closed {
        return Err(Failure::ClosedPipe);
    }
    Ok(done?)
}

/// Writes a value as JSON on lines of its own, fit for a terminal.
///
/// # Errors
/// As of the writer.
pub(super) fn json(out: &mut dyn Write, value: &impl serde::Serialize) -> io::Result<()> {
    writeln!(out, "{}", tamed_json(&serde_json::to_string_pretty(value)?))
}

/// A writer that remembers that its reader went away: not every format hands the error on as it was.
struct Heard<W> {
    out: W,
    closed: bool,
}

impl<W: Write> Heard<W> {
    fn noting<T>(&mut self, write: impl FnOnce(&mut W) -> io::Result<T>) -> io::Result<T> {
        let done = write(&mut self.out);
        self.closed |= matches!(&done, Err(e) if e.kind() == io::ErrorKind::BrokenPipe);
        done
    }
}

impl<W: Write> Write for Heard<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.noting(|out| out.write(bytes))
    }

    fn flush(&mut self) -> io::Result<()> {
        self.noting(W::flush)
    }
}

/// Says something to people on stderr. Nothing is lost if they do not listen.
pub(super) fn say(text: &str) {
    let _ = writeln!(io::stderr().lock(), "{}", text.trim_end());
}
