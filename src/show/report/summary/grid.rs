use super::first::furthest_first;
use crate::judge::Reason::{MissesTheOne, NeverPlays, PairsWithNothing};
use crate::judge::{Band, Judged, State};
use crate::patch::Rig;
use crate::show::report::{Checked, offset, words};
use crate::time::Span;
use std::fmt::Write;
use unicode_width::UnicodeWidthStr;

/// How a text is laid out on a terminal or in a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Layout {
    /// The most columns of a line; a grid wider than that goes on below.
    pub width: usize,
    /// Whether states are coloured, besides their words and marks.
    pub colour: bool,
}

impl Layout {
    /// A text that no terminal shows: 100 columns, no colours.
    pub const PLAIN: Self = Self { width: 100, colour: false };
}

/// Versions down, tempos across; in each cell the state, in a mark, a word and a colour, and its figures below.
#[must_use]
pub(in crate::show::report) fn grid(checked: &Checked<'_>, layout: Layout) -> String {
    let versions: Vec<&[Judged<'_>]> = checked.results.chunk_by(|a, b| a.variant.name == b.variant.name).collect();
    let Some(first) = versions.first() else { return String::new() };
    let names: Vec<String> = versions.iter().map(|version| version[0].variant.name.clone()).collect();
    let head = names.iter().map(|name| name.width()).chain([5]).max().unwrap_or(5);
    let cells: Vec<Vec<Cell>> =
        versions.iter().map(|version| version.iter().map(|judged| Cell::of(checked, judged)).collect()).collect();
    let column =
        |n: usize| cells.iter().map(|row| row[n].width()).max().unwrap_or(0).max(first[n].tempo.to_string().width());
    let mut out = String::new();
    let mut from = 0;
    while from < first.len() {
        // As many tempos side by side as there is room for, and one at least.
        let mut used = head;
        let mut to = from;
        while to < first.len() && (to == from || used + 2 + column(to) <= layout.width) {
            used += 2 + column(to);
            to += 1;
        }
        let line = |out: &mut String, name: &str, parts: &mut dyn Iterator<Item = (String, usize)>| {
            let mut line = format!("{name}{}", " ".repeat(head - name.width()));
            for (part, room) in parts {
                line.push_str("  ");
                line.push_str(&part);
                line.push_str(&" ".repeat(room));
            }
            let _ = writeln!(out, "{}", line.trim_end());
        };
        line(
            &mut out,
            "tempo",
            &mut (from..to).map(|n| {
                let tempo = first[n].tempo.to_string();
                let room = column(n) - tempo.width();
                (tempo, room)
            }),
        );
        for (name, row) in names.iter().zip(&cells) {
            let deep = row[from..to].iter().map(|cell| cell.lines.len()).max().unwrap_or(1);
            for depth in 0..deep {
                let name = if depth == 0 { name.as_str() } else { "" };
                line(&mut out, name, &mut (from..to).map(|n| row[n].part(depth, column(n), layout.colour)));
            }
        }
        out.push('\n');
        from = to;
    }
    out
}

/// What stands in the grid for a version at a tempo.
struct Cell {
    state: State,
    lines: Vec<String>,
}

impl Cell {
    fn of(checked: &Checked<'_>, judged: &Judged<'_>) -> Self {
        let state = judged.state();
        let mut lines = vec![format!("{} {}", mark(state), state_word(state))];
        lines.extend(cell_lines(judged, checked.patch.max_gap));
        Self { state, lines }
    }

    fn width(&self) -> usize {
        self.lines.iter().map(|line| line.width()).max().unwrap_or(0)
    }

    /// One of its lines, and how many blanks fill its column.
    fn part(&self, depth: usize, column: usize, colour: bool) -> (String, usize) {
        let line = self.lines.get(depth).map_or("", String::as_str);
        let room = column - line.width();
        let shown = if depth == 0 && colour { coloured(self.state, line) } else { line.to_owned() };
        (shown, room)
    }
}

/// What is said of a version at a tempo below its state: who is off, or the widest gap and whose it is.
#[must_use]
pub fn cell_lines(judged: &Judged<'_>, max_gap: Span) -> Vec<String> {
    let rig = &judged.variant.rig;
    let state = judged.state();
    match state {
        State::Off => return off_lines(rig, judged),
        State::Apart if judged.verdict.passes() => return vec!["in some runs".into()],
        _ => {}
    }
    let mut lines = Vec::new();
    if let Some((gap, size)) = judged.verdict.worst_gap().and_then(|gap| Some((gap, gap.worst()?))) {
        let band = if state == State::Apart { format!(", {}", Band::of(size)) } else { String::new() };
        let figure = if size == Span::ZERO { "exactly".into() } else { format!("{} ms", words::gap_ms(size, max_gap)) };
        lines.push(format!("{figure}{band}"));
        if size != Span::ZERO && rig.players() > 2 {
            lines.push(gap.between.map(|player| rig.player_name(player)).join(" and "));
        }
    }
    lines
}

/// The mark of a state, for a terminal.
const fn mark(state: State) -> char {
    match state {
        State::Off => '!',
        State::Apart => '~',
        State::Together => '=',
    }
}

/// What people call a state.
#[must_use]
pub const fn state_word(state: State) -> &'static str {
    match state {
        State::Off => "off the one",
        State::Apart => "apart",
        State::Together => "together",
    }
}

/// In the colours of the terminal itself (ECMA-48, SGR 31 to 33), so that they suit its background.
fn coloured(state: State, text: &str) -> String {
    let colour = match state {
        State::Off => "1;31",
        State::Apart => "33",
        State::Together => "32",
    };
    format!("\u{1b}[{colour}m{text}\u{1b}[0m")
}

/// Who is off the one furthest, by how much, and how many more there are.
fn off_lines(rig: &Rig, judged: &Judged<'_>) -> Vec<String> {
    let wrong = furthest_first(judged);
    let mut lines = match wrong.first() {
        Some(&&MissesTheOne { sequencer, pulses_late, scale, off_by }) => {
            // The grid has little room; the lines below it say which pulses.
            let pulses = offset::pulses(pulses_late, scale, "pulse");
            let time = off_by.map(|time| format!("{} ms", words::ms(time.abs())));
            let (by, more) = match offset::beats(rig, sequencer, pulses_late, scale) {
                Some(beats) => (beats, Some(pulses)),
                None => (format!("{pulses} {}", offset::side(pulses_late)), None),
            };
            let more: Vec<String> = more.into_iter().chain(time).collect();
            vec![format!("{} {by}", rig.player_name(sequencer)), more.join(", ")]
        }
        Some(&&NeverPlays { sequencer }) => vec![format!("{} never plays", rig.player_name(sequencer))],
        Some(&&PairsWithNothing { sequencer }) => vec![format!("{} meets nobody", rig.player_name(sequencer))],
        _ => vec!["in some runs".into()],
    };
    let more = wrong.len().saturating_sub(1);
    if more > 0 {
        lines.push(format!("and {more} more"));
    }
    lines
}
