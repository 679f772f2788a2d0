use crate::patch::check::fault::{Fault, Faults, MOST_TOLD};
use crate::patch::check::show::tamed;
use crate::text::spelled;
use annotate_snippets::{Annotation, AnnotationKind, Group, Level, Renderer, Snippet};
use std::ops::Range;

/// So much of a file's name is shown.
const LONGEST_NAME: usize = 300;

impl Faults {
    /// Everything that was found, as a compiler would show it: file, line, the text underlined, what was found, what
    /// was expected, and what to do. Ends with a line feed; empty where there is nothing to tell.
    ///
    /// `source` must be the text that was read. Nothing in it reaches the output in a form that a terminal would obey.
    #[must_use]
    pub fn render(&self, file_name: &str, source: &str, color: bool) -> String {
        let renderer = if color { Renderer::styled() } else { Renderer::plain() };
        let file_name = spelled(file_name, LONGEST_NAME);
        let mut out = String::new();
        for fault in self.list().iter().take(MOST_TOLD) {
            out += &renderer.render(&[group(fault, self.are_warnings(), &file_name, source)]);
            out += "\n\n";
        }
        if let Some(closing) = self.closing() {
            let level = if self.are_warnings() { Level::WARNING } else { Level::ERROR };
            out += &renderer.render(&[Group::with_title(level.primary_title(closing))]);
            out += "\n";
        } else if out.ends_with("\n\n") {
            out.pop();
        }
        out
    }
}

fn group<'a>(fault: &Fault, warning: bool, file_name: &str, source: &str) -> Group<'a> {
    let level = if warning { Level::WARNING } else { Level::ERROR };
    let mut group = Group::with_title(level.primary_title(tamed(&fault.message)));
    match &fault.at {
        Some(at) => {
            let primary = snippet(file_name, source, at, AnnotationKind::Primary, &fault.label);
            group = group.element(primary);
        }
        None => group = group.element(annotate_snippets::Origin::path(file_name.to_owned())),
    }
    if let Some((at, label)) = &fault.context {
        group = group.element(snippet(file_name, source, at, AnnotationKind::Context, label));
    }
    if fault.help.is_empty() { group } else { group.element(Level::HELP.message(tamed(&fault.help))) }
}

/// One line of the source with a part of it underlined.
///
/// Only that line is handed over, so that the cost does not grow with the file; a part that runs over several lines is
/// underlined to the end of its first.
fn snippet<'a>(
    file_name: &str,
    source: &str,
    at: &Range<usize>,
    kind: AnnotationKind,
    label: &str,
) -> Snippet<'a, Annotation<'a>> {
    /// A line longer than this is cut behind the part that matters.
    const MOST_BEHIND: usize = 200;
    let start = floor_boundary(source, at.start.min(source.len()));
    // A fault at the very end stands behind the last line that has anything in it.
    let start = if start == source.len() { source.trim_end_matches(['\n', '\r']).len() } else { start };
    let end = floor_boundary(source, at.end.clamp(start, source.len()));
    let line_start = source[..start].rfind('\n').map_or(0, |n| n + 1);
    let line_start = if source[line_start..start].starts_with('\u{feff}') { line_start + 3 } else { line_start };
    let line_end = source[start..].find('\n').map_or(source.len(), |n| start + n);
    let line_end = line_end - usize::from(source[start..line_end].ends_with('\r'));
    let number = source[..line_start].matches('\n').count() + 1;
    let end = end.min(line_end);
    let cut = floor_boundary(source, line_end.min(end + MOST_BEHIND));
    let mut text = String::new();
    let mut span = 0..0;
    for (n, c) in source[line_start..cut].char_indices() {
        // A control character becomes one that shows it, so that columns stay right.
        if line_start + n == start {
            span.start = text.len();
        }
        if line_start + n == end {
            span.end = text.len();
        }
        text.push(visible(c));
    }
    if start >= cut {
        span.start = text.len();
    }
    if end >= cut {
        span.end = text.len();
    }
    Snippet::source(text)
        .line_start(number)
        .path(file_name.to_owned())
        .annotation(kind.span(span.start..span.end.max(span.start)).label((!label.is_empty()).then(|| tamed(label))))
}

/// The character, or a stand-in of the same width for one that a terminal would obey.
fn visible(c: char) -> char {
    match c {
        '\t' => c,
        '\0'..='\u{1f}' => char::from_u32(0x2400 + u32::from(c)).unwrap_or('\u{fffd}'),
        '\u{7f}' => '\u{2421}',
        c if crate::patch::check::show::is_unsafe(c) => '\u{fffd}',
        c => c,
    }
}

fn floor_boundary(source: &str, at: usize) -> usize {
    (0..=at).rev().find(|n| source.is_char_boundary(*n)).unwrap_or(0)
}
