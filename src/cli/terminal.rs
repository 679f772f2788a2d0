//! Results go to stdout, talk to stderr; both through writers whose failures are looked at.

use super::Failure;
use crate::export::Progress;
use crate::show::report::Layout;
use crate::text::{TamedJson, message};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::ffi::OsStr;
use std::io::{self, IsTerminal, Write};

/// Writes a result to stdout.
///
/// # Errors
/// [`Failure::ClosedPipe`] where nobody reads any more.
pub(super) fn result(write: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> Result<(), Failure> {
    let mut out = io::BufWriter::new(PipeWatch { out: io::stdout().lock(), closed: false });
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
    // Straight into the writer: a text of a gigabyte need not stand in memory beside what it is made from.
    serde_json::to_writer_pretty(TamedJson::new(out), value)?;
    writeln!(out)
}

/// A writer that remembers that its reader went away: not every format hands the error on as it was.
struct PipeWatch<W> {
    out: W,
    closed: bool,
}

impl<W: Write> PipeWatch<W> {
    fn noting<T>(&mut self, write: impl FnOnce(&mut W) -> io::Result<T>) -> io::Result<T> {
        let done = write(&mut self.out);
        self.closed |= matches!(&done, Err(e) if e.kind() == io::ErrorKind::BrokenPipe);
        done
    }
}

impl<W: Write> Write for PipeWatch<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.noting(|out| out.write(bytes))
    }

    fn flush(&mut self) -> io::Result<()> {
        self.noting(W::flush)
    }
}

/// A bar that shows on a terminal how much of `whole` is done, by a template; without a terminal, one that is never seen.
pub(super) fn bar(whole: Option<u64>, template: &str) -> ProgressBar {
    if !io::stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::with_draw_target(whole, ProgressDrawTarget::stderr());
    let style = ProgressStyle::with_template(template);
    bar.set_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()).progress_chars("━╸ "));
    bar
}

/// A bar for what is made; without a terminal, a line a file.
pub(super) struct Bar(Option<ProgressBar>);

impl Bar {
    pub(super) fn new() -> Self {
        let template = "{msg:.dim} {wide_bar} {percent:>3} %  {eta} left";
        Self(io::stderr().is_terminal().then(|| bar(None, template)))
    }
}

impl Progress for Bar {
    fn expect(&self, frames: u64) {
        self.0.iter().for_each(|bar| bar.set_length(frames));
    }

    fn advance(&self, frames: u64) {
        self.0.iter().for_each(|bar| bar.inc(frames));
    }

    fn at(&self, name: &str) {
        self.0.iter().for_each(|bar| bar.set_message(name.to_owned()));
    }

    fn wrote(&self, path: &str) {
        if self.0.is_none() {
            say(&format!("wrote {path}"));
        }
    }

    fn say(&self, text: &str) {
        say(text);
    }

    fn done(&self) {
        self.0.iter().for_each(ProgressBar::finish_and_clear);
    }
}

/// Says something to people on stderr: whatever it was put together from, nothing that a terminal would obey, and no more of one
/// message than a screen holds. Nothing is lost if they do not listen.
pub(super) fn say(text: &str) {
    let _ = writeln!(io::stderr().lock(), "{}", message(text, color()));
}

impl Failure {
    /// Says it to people.
    pub fn tell(&self) {
        let text = self.to_string();
        if !text.is_empty() {
            say(&text);
        }
    }
}

/// Whether messages may be in colours: on a terminal that has some, unless its user wants none.
pub(super) fn color() -> bool {
    let of = std::env::var_os;
    io::stderr().is_terminal() && wants_color(of("NO_COLOR").as_deref(), of("TERM").as_deref())
}

/// How results are laid out: as wide as the terminal and in colours where stdout is one, else plain.
pub(super) fn layout() -> Layout {
    let of = std::env::var_os;
    if !io::stdout().is_terminal() {
        return Layout::PLAIN;
    }
    let width = terminal_size::terminal_size().map_or(Layout::PLAIN.width, |(width, _)| usize::from(width.0));
    Layout { width, colour: wants_color(of("NO_COLOR").as_deref(), of("TERM").as_deref()) }
}

/// How wide a table of results may be: as wide as the terminal where stdout is one, else however wide it is.
pub(super) fn width() -> usize {
    if io::stdout().is_terminal() { layout().width } else { usize::MAX }
}

/// By the variables `NO_COLOR` (of any text but none, as <https://no-color.org> has it) and `TERM`.
fn wants_color(no_color: Option<&OsStr>, term: Option<&OsStr>) -> bool {
    no_color.is_none_or(OsStr::is_empty) && term.is_none_or(|term| term != "dumb")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colors_are_for_who_wants_them() {
        let wants =
            |no_color: Option<&str>, term: Option<&str>| wants_color(no_color.map(OsStr::new), term.map(OsStr::new));
        assert!(wants(None, Some("xterm")) && wants(Some(""), Some("xterm-256color")) && wants(None, None));
        assert!(!wants(Some("1"), Some("xterm")) && !wants(Some("0"), None) && !wants(None, Some("dumb")));
    }
}
