//! The main thing first: a sentence, then a grid of versions by tempos, then what stands against those that are not together.

use super::{Checked, words};
use crate::judge::Reason::{GapTooLarge, MissesTheOne, NeverPlays, PairsWithNothing};
use crate::judge::{Band, Judged, Reason, State};
use crate::patch::{Rig, Timing};
use crate::time::Span;
use num_rational::Ratio;
use std::collections::BTreeSet;
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

/// The verdict on all versions in one sentence a version, those that hold first.
#[must_use]
pub(super) fn headline(checked: &Checked<'_>) -> String {
    /// The most versions of one kind that are told one by one.
    const MOST: usize = 3;
    let title = checked.patch.title.as_deref().map_or_else(|| words::plain(&checked.name), words::plain);
    let mut versions: Vec<&[Judged<'_>]> = checked.results.chunk_by(|a, b| a.variant.name == b.variant.name).collect();
    let worst = |version: &[Judged<'_>]| version.iter().map(Judged::state).min().unwrap_or(State::Together);
    // A stable sort: within a state fixes stand in the order of the patch, behind them the original.
    versions.sort_by_key(|version| (std::cmp::Reverse(worst(version)), is_original(version)));
    let mut said = Vec::new();
    for same in versions.chunk_by(|a, b| worst(a) == worst(b)) {
        if same.len() <= MOST {
            said.extend(same.iter().map(|version| sentence(checked, version)));
            continue;
        }
        let names = same[..MOST].iter().map(|version| called(version)).collect::<Vec<_>>().join(", ");
        let more = same.len() - MOST;
        said.push(match worst(same[0]) {
            State::Together => format!("{names} and {more} more hold at every tempo"),
            State::Apart => format!("{names} and {more} more are on the one, but fall apart somewhere"),
            State::Off => format!("{names} and {more} more are off the one somewhere"),
        });
    }
    format!("{title}: {}.", said.join("; "))
}

fn is_original(version: &[Judged<'_>]) -> bool {
    version[0].variant.name == "original"
}

fn called(version: &[Judged<'_>]) -> String {
    if is_original(version) { "the original".into() } else { format!("`{}`", version[0].variant.name) }
}

/// One version over all its tempos, without a full stop.
fn sentence(checked: &Checked<'_>, version: &[Judged<'_>]) -> String {
    let name = called(version);
    let of = |state| version.iter().filter(|judged| judged.state() == state).collect::<Vec<_>>();
    let (off, apart, together) = (of(State::Off), of(State::Apart), of(State::Together));
    if together.len() == version.len() {
        let runs = if version[0].runs.is_some() { ", in every run" } else { "" };
        return format!("{name} holds at {}{runs}", everywhere(version));
    }
    let alone = |list: &[&Judged<'_>]| list.len() == version.len();
    let at = |list: &[&Judged<'_>]| {
        if alone(list) { String::new() } else { format!(" at {}", tempos(list, version.len())) }
    };
    let mut parts = Vec::new();
    if !off.is_empty() {
        let by = alike(off.iter().map(|judged| who_is_off(judged)));
        parts.push(match by {
            Some(by) => format!("off the one{}: {by}", at(&off)),
            None => format!("off the one{}", at(&off)),
        });
    }
    if !apart.is_empty() {
        parts.push(format!("apart {}{}", apart_by(checked, &apart), at(&apart)));
    }
    if !together.is_empty() {
        parts.push(format!("together{}", at(&together)));
    }
    let but = if off.is_empty() { "on the one, but " } else { "" };
    format!("{name} is {but}{}", parts.join(", "))
}

/// What all are, where all are one.
fn alike(mut texts: impl Iterator<Item = Option<String>>) -> Option<String> {
    let first = texts.next()??;
    texts.all(|text| text.as_deref() == Some(&first)).then_some(first)
}

/// `50, 80`, or `7 of 12 tempos` where they are many.
fn tempos(list: &[&Judged<'_>], of: usize) -> String {
    const MOST: usize = 4;
    if list.len() > MOST {
        return format!("{} of {of} tempos", list.len());
    }
    list.iter().map(|judged| judged.tempo.to_string()).collect::<Vec<_>>().join(", ")
}

/// `every tempo`, or the only one.
fn everywhere(version: &[Judged<'_>]) -> String {
    if let [only] = version { only.tempo.to_string() } else { "every tempo".into() }
}

/// The widest gaps of some cells, from the least to the largest: `by 7.5 to 24 ms`.
fn apart_by(checked: &Checked<'_>, cells: &[&Judged<'_>]) -> String {
    let typical = cells.iter().filter(|judged| judged.verdict.state() == State::Apart);
    let widest = typical.filter_map(|judged| judged.verdict.worst_gap()?.worst());
    let (Some(least), Some(most)) = (widest.clone().min(), widest.max()) else { return "in some runs".into() };
    let [least, most] = [least, most].map(|gap| words::gap_ms(gap, checked.patch.max_gap));
    if least == most { format!("by {most} ms") } else { format!("by {least} to {most} ms") }
}

/// Who is off, and by how many beats: `wren by 2 beats`.
fn who_is_off(judged: &Judged<'_>) -> Option<String> {
    let rig = &judged.variant.rig;
    let first = judged.verdict.reasons.iter().find_map(|reason| match *reason {
        MissesTheOne { sequencer, pulses_late, scale, .. } => {
            let (pulses, beats) = counted_off(rig, sequencer, pulses_late, scale);
            Some(format!("{} is {}", rig.player_name(sequencer), beats.unwrap_or(pulses)))
        }
        NeverPlays { sequencer } => Some(format!("{} never plays", rig.player_name(sequencer))),
        _ => None,
    })?;
    let more = judged
        .verdict
        .reasons
        .iter()
        .filter(|reason| matches!(reason, MissesTheOne { .. } | NeverPlays { .. }))
        .count()
        - 1;
    Some(if more > 0 { format!("{first}, and {more} more") } else { first })
}

/// An offset as people count it: in clock pulses without a side, and in beats, with it, where the clock has a period:
/// `1 clock pulse` and `1/24 beat late`.
fn counted_off(rig: &Rig, sequencer: usize, late: i64, scale: i64) -> (String, Option<String>) {
    let side = if late < 0 { "early" } else { "late" };
    let size = Ratio::new(i128::from(late.unsigned_abs()), i128::from(scale));
    let pulses =
        format!("{} clock {}", fraction(size), if size <= Ratio::from_integer(1) { "pulse" } else { "pulses" });
    let output = rig.origin(&rig.sequencers[sequencer].clock);
    let turned = rig.course.turns.iter().any(|turn| turn.output == output);
    let beats = match &rig.outputs[output].timing {
        Timing::Rate { period, .. } if !turned => {
            let beats = *period * size;
            Some(format!(
                "{} {} {side}",
                fraction(beats),
                if beats <= Ratio::from_integer(1) { "beat" } else { "beats" }
            ))
        }
        _ => None,
    };
    (pulses, beats)
}

/// A number as people write parts of beats: `2`, `1/24`, `1 1/2`.
fn fraction(number: Ratio<i128>) -> String {
    let (whole, rest) = (number.trunc(), number.fract());
    match (*whole.numer(), *rest.numer()) {
        (whole, 0) => whole.to_string(),
        (0, _) => rest.to_string(),
        _ => format!("{whole} {rest}"),
    }
}

/// Versions down, tempos across; in each cell the state, in a mark, a word and a colour, and its figures below.
#[must_use]
pub(super) fn grid(checked: &Checked<'_>, layout: Layout) -> String {
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
        let (mark, word) = marked(state);
        let mut lines = vec![format!("{mark} {word}")];
        let rig = &judged.variant.rig;
        match state {
            State::Off => lines.extend(off_lines(rig, judged)),
            State::Apart if judged.verdict.passes() => lines.push("in some runs".into()),
            _ => {
                if let Some((gap, size)) = judged.verdict.worst_gap().and_then(|gap| Some((gap, gap.worst()?))) {
                    let band = if state == State::Apart { format!(", {}", Band::of(size)) } else { String::new() };
                    let figure = if size == Span::ZERO {
                        "exactly".into()
                    } else {
                        format!("{} ms", words::gap_ms(size, checked.patch.max_gap))
                    };
                    lines.push(format!("{figure}{band}"));
                    if state == State::Apart && rig.players() > 2 {
                        lines.push(gap.between.map(|player| rig.player_name(player)).join(" and "));
                    }
                }
            }
        }
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

/// The mark and the word of a state.
const fn marked(state: State) -> (char, &'static str) {
    match state {
        State::Off => ('!', "off the one"),
        State::Apart => ('~', "apart"),
        State::Together => ('=', "together"),
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
    let wrong = judged.verdict.reasons.iter().filter(|reason| !matches!(reason, GapTooLarge { .. }));
    let size = |reason: &Reason| match *reason {
        MissesTheOne { off_by, .. } => off_by.map(Span::abs),
        _ => None,
    };
    let mut lines = match wrong.clone().max_by_key(|reason| size(reason)) {
        Some(&MissesTheOne { sequencer, pulses_late, scale, off_by }) => {
            let (pulses, beats) = counted_off(rig, sequencer, pulses_late, scale);
            let side = if pulses_late < 0 { "early" } else { "late" };
            let (first, second) = match beats {
                Some(beats) => (beats, pulses),
                None => (format!("{pulses} {side}"), String::new()),
            };
            let time = off_by.map(|time| format!("{} ms", words::ms(time.abs())));
            // The grid has little room; the lines below it say which pulses.
            let second = second.replace("clock ", "");
            let second: Vec<String> = [Some(second).filter(|s| !s.is_empty()), time].into_iter().flatten().collect();
            vec![format!("{} {first}", rig.player_name(sequencer)), second.join(", ")]
        }
        Some(&NeverPlays { sequencer }) => vec![format!("{} never plays", rig.player_name(sequencer))],
        Some(&PairsWithNothing { sequencer }) => vec![format!("{} meets nobody", rig.player_name(sequencer))],
        _ => vec!["in some runs".into()],
    };
    let more = wrong.count().saturating_sub(1);
    if more > 0 {
        lines.push(format!("and {more} more"));
    }
    lines
}

/// What stands against a version that is not together everywhere, a line each, tempos that say alike taken together.
///
/// Gaps of a box that is off the one are left out: they are the same fault said again.
pub(super) fn against(checked: &Checked<'_>, version: &[Judged<'_>]) -> Vec<String> {
    let mut lines: Vec<Line> = Vec::new();
    for judged in version {
        let reasons = &judged.verdict.reasons;
        let off =
            |player: usize| reasons.iter().any(|r| matches!(r, MissesTheOne { sequencer, .. } if *sequencer == player));
        let again = |reason: &&Reason| matches!(reason, GapTooLarge { between, .. } if between.iter().any(|&p| off(p)));
        for reason in reasons.iter().filter(|reason| !again(reason)) {
            let (what, figure, heard) = told(checked, &judged.variant.rig, reason);
            let at = lines.iter().position(|line| line.what == what).unwrap_or_else(|| {
                lines.push(Line { what, tempos: Vec::new(), figures: Vec::new(), heard: BTreeSet::new() });
                lines.len() - 1
            });
            lines[at].tempos.push(judged.tempo.to_string());
            lines[at].figures.extend(figure);
            lines[at].heard.extend(heard);
        }
    }
    lines.iter().map(|line| line.say(version)).collect()
}

/// One thing that stands against a version, over the tempos at which it does.
struct Line {
    what: String,
    tempos: Vec<String>,
    figures: Vec<String>,
    heard: BTreeSet<Band>,
}

impl Line {
    fn say(&self, version: &[Judged<'_>]) -> String {
        let at = if self.tempos.len() == version.len() { everywhere(version) } else { self.tempos.join(", ") };
        let one = self.figures.windows(2).all(|two| two[0] == two[1]);
        let figures = match self.figures.first() {
            None => String::new(),
            Some(figure) if one => format!(": {figure} ms"),
            Some(_) => format!(": {} ms", self.figures.join(", ")),
        };
        let heard: Vec<String> = self.heard.iter().map(ToString::to_string).collect();
        let heard = if heard.is_empty() { String::new() } else { format!(" ({})", heard.join(", ")) };
        format!("at {at}: {}{figures}{heard}", self.what)
    }
}

/// What a reason says, the time that goes with it, and how it is heard.
fn told(checked: &Checked<'_>, rig: &Rig, reason: &Reason) -> (String, Option<String>, Option<Band>) {
    match *reason {
        MissesTheOne { sequencer, pulses_late, scale, off_by } => {
            let (pulses, beats) = counted_off(rig, sequencer, pulses_late, scale);
            let side = if pulses_late < 0 { "early" } else { "late" };
            let by = beats.map_or_else(|| format!("{pulses} {side}"), |beats| format!("{beats}, {pulses}"));
            let time = off_by.map(|time| words::ms(time.abs()));
            (format!("{} is off the one, {by}", rig.player_name(sequencer)), time, None)
        }
        GapTooLarge { between: [a, b], gap } => {
            let (late, early) = if gap > Span::ZERO { (b, a) } else { (a, b) };
            let what = format!("{} after {}", rig.player_name(late), rig.player_name(early));
            (what, Some(words::gap_ms(gap.abs(), checked.patch.max_gap)), Some(Band::of(gap)))
        }
        NeverPlays { .. } | PairsWithNothing { .. } => (words::reason(rig, reason, checked.patch.max_gap), None, None),
    }
}

/// What the words above mean: those bands that were said, and what together is.
#[must_use]
pub(super) fn legend(checked: &Checked<'_>, said: &str) -> String {
    let mut out = String::new();
    // In brackets below, after a comma in the grid.
    let is_said = |band: &&Band| [", ", "("].iter().any(|before| said.contains(&format!("{before}{band}")));
    for band in Band::ALL.iter().filter(is_said) {
        let _ = writeln!(out, "{:<9} {}", format!("{band}:"), band.heard());
    }
    let limit = words::exact_ms(checked.patch.max_gap);
    let from = match &checked.max_gap_from {
        Some(from) => format!(" {from}"),
        None if checked.patch.max_gap == Span::from_ms(2) => {
            " That is the smallest published figure (Watson 2004); `hitgap train` finds yours.".to_owned()
        }
        None => String::new(),
    };
    let _ = writeln!(out, "together: on the one, and no gap over {limit} ms.{from}");
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::judge;
    use crate::patch::{Asked, Patch};
    use crate::rig::play;

    fn patch(name: &str) -> Patch {
        let file = format!("{}/patches/{name}.toml", env!("CARGO_MANIFEST_DIR"));
        let text = std::fs::read_to_string(file).expect("an example");
        Patch::parse(&text, &Asked::default()).expect("a patch")
    }

    fn checked(patch: &Patch) -> Checked<'_> {
        let variants = std::iter::once(&patch.original).chain(&patch.fixes);
        let cells = variants.flat_map(|variant| patch.tempos.iter().map(move |&tempo| (variant, tempo)));
        let results = cells.map(|(variant, tempo)| {
            let performance = play(&variant.rig, tempo).expect("played");
            let verdict = judge(&variant.rig, &performance, patch.max_gap).expect("judged");
            let (colours, sure, drawn, breakdown) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
            Judged { variant, tempo, verdict, colours, sure, drawn, breakdown, runs: None }
        });
        Checked { name: "x.toml".into(), patch, bars: None, max_gap_from: None, results: results.collect() }
    }

    #[test]
    fn parts_of_beats_are_fractions_as_people_write_them() {
        let shown = |n, d| fraction(Ratio::new(n, d));
        assert_eq!([shown(2, 1), shown(1, 24), shown(3, 2), shown(0, 1)], ["2", "1/24", "1 1/2", "0"]);
    }

    #[test]
    fn the_sentence_begins_with_what_holds_and_ends_with_the_original() {
        let patch = patch("late-bell");
        assert_eq!(
            headline(&checked(&patch)),
            "The late bell: `or-gate` holds at every tempo; `phase` is on the one, but apart by 7.5 to 24 ms; the original is off the one: wren is 2 beats late."
        );
    }

    #[test]
    fn a_grid_is_as_wide_as_its_room_and_loses_no_cell() {
        let patch = patch("late-bell");
        let checked = checked(&patch);
        for width in [20, 40, 79, 80, 200] {
            let text = grid(&checked, Layout { width, colour: false });
            let widest = text.lines().map(UnicodeWidthStr::width).max().expect("lines");
            // One column stands however narrow the room is: a name of 8, two blanks, and 17 of "wren 2 beats late".
            assert!(widest <= width.max(27), "{width}: {widest}");
            assert_eq!(text.matches("! off the one").count(), 4);
            assert_eq!(text.matches("~ apart").count(), 4);
            assert_eq!(text.matches("= together").count(), 4);
        }
    }

    #[test]
    fn colours_are_never_the_only_sign() {
        let patch = patch("late-bell");
        let checked = checked(&patch);
        let coloured = grid(&checked, Layout { width: 200, colour: true });
        let mut bare = coloured.clone();
        for code in ["\u{1b}[1;31m", "\u{1b}[33m", "\u{1b}[32m", "\u{1b}[0m"] {
            assert!(coloured.contains(code), "{code:?}");
            bare = bare.replace(code, "");
        }
        assert_eq!(bare, grid(&checked, Layout { width: 200, colour: false }));
    }

    #[test]
    fn a_fault_is_said_once() {
        let patch = patch("late-bell");
        let checked = checked(&patch);
        let lines: Vec<Vec<String>> = checked
            .results
            .chunk_by(|a, b| a.variant.name == b.variant.name)
            .map(|same| against(&checked, same))
            .collect();
        assert_eq!(
            lines,
            [
                vec![
                    "at every tempo: wren is off the one, 2 beats late, 1 clock pulse: 2400, 1500, 1000, 750 ms"
                        .to_owned()
                ],
                vec!["at every tempo: wren after ox: 24, 15, 10, 7.5 ms (split, flam)".to_owned()],
                vec![],
            ]
        );
    }
}
