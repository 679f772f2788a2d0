//! A text with a fault of syntax, read without the line that has it.

use super::{Fault, Table, node};

/// So many lines may be left out.
const MOST_LEFT_OUT: usize = 8;

/// Reads what can be read; with the faults of what cannot.
pub(super) fn read(text: &str) -> (Table, Vec<Fault>) {
    let mut broken: Vec<Fault> = Vec::new();
    let mut text = text.to_owned();
    loop {
        let faults = match node::read_file(&text, "a patch is written by hand") {
            Ok(table) => return (table, broken),
            Err(faults) => faults,
        };
        let Some(fault) = faults.list().first().cloned() else { return (Table::default(), broken) };
        let at = fault.at.as_ref().map(|at| at.start.min(text.len()));
        // The rest of what is told is what the left-out line has brought about.
        if broken.is_empty() {
            broken.push(fault);
        }
        let Some(at) = at.filter(|_| MOST_LEFT_OUT > blanked(&text)) else { return (Table::default(), broken) };
        if !blank(&mut text, at) {
            return (Table::default(), broken);
        }
    }
}

/// What stands for a byte that is left out: no patch has it, and TOML reads it as a remark.
const LEFT_OUT: char = '#';

fn blanked(text: &str) -> usize {
    text.lines().filter(|line| !line.is_empty() && line.chars().all(|c| c == LEFT_OUT)).count()
}

/// Makes a remark of the line at a place, as long as before. Whether it was none.
fn blank(text: &mut String, at: usize) -> bool {
    let bytes = text.as_bytes();
    let at = at.min(bytes.len());
    // A fault at the end of a line may be told at its break.
    let mut from = bytes[..at].iter().rposition(|b| *b == b'\n').map_or(0, |n| n + 1);
    let end = |from: usize| bytes[from..].iter().position(|b| *b == b'\n').map_or(bytes.len(), |n| from + n);
    if bytes[from..end(from)].iter().all(u8::is_ascii_whitespace) && from > 0 {
        from = bytes[..from - 1].iter().rposition(|b| *b == b'\n').map_or(0, |n| n + 1);
    }
    let to = end(from);
    let to = if to > from && bytes[to - 1] == b'\r' { to - 1 } else { to };
    if bytes[from..to].iter().all(|b| *b == b'#') {
        return false;
    }
    text.replace_range(from..to, &LEFT_OUT.to_string().repeat(to - from));
    true
}
