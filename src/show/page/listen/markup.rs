//! What stands on a page before its script runs: the grid of answers, lists to choose from, the table, the pictures.

use super::{Drawn, ListeningPage, PageTempo, PageVariant};
use crate::show::page::frame::{escape, scoped};
use crate::show::report::{exact_ms, state_word};
use std::fmt::Write;

/// What an arrow in the pictures means.
const DECIDES: &str = "<p class=\"small\">“Decides by”: how far a box's reset and its clock could still move against each other \
before it plays another step. The less, the more it is at risk.</p>\n";
/// A note's paragraphs, which blank lines part: a line's end in the patch is none on the page.
pub(super) fn note(text: &str) -> String {
    let lines: Vec<&str> = text.lines().map(str::trim).collect();
    let paragraphs = lines.split(|l| l.is_empty()).filter(|p| !p.is_empty()).map(|p| p.join(" "));
    paragraphs.map(|p| format!("<p class=\"note\" dir=\"auto\">{}</p>", escape(&p))).collect()
}

/// A sentence whose names stand between backticks, each set off.
pub(in crate::show::page) fn sentence(text: &str) -> String {
    let mut out = String::new();
    for (n, part) in text.split('`').enumerate() {
        let part = escape(part);
        out.push_str(&if n % 2 == 1 { format!("<b class=\"name\">{part}</b>") } else { part });
    }
    out
}

/// An element to choose one thing from, by its place.
pub(super) fn options<'a>(names: impl Iterator<Item = &'a str>, chosen: usize) -> String {
    let option = |(n, name): (usize, &str)| {
        let selected = if n == chosen { " selected" } else { "" };
        format!("<option value=\"{n}\"{selected}>{}</option>", escape(name))
    };
    names.enumerate().map(option).collect()
}

/// The glyph of a state, drawn once in the page and used by its name.
pub(in crate::show::page) fn glyph(word: &str) -> String {
    let name = word.split(' ').next().unwrap_or(word);
    format!("<svg class=\"glyph\" aria-hidden=\"true\"><use href=\"#glyph-{name}\"/></svg>")
}

/// Versions down, tempos across; each cell says its state by a word, a glyph and a colour, and plays when it is chosen.
pub(super) fn answers(page: &ListeningPage) -> String {
    let heads: String = page
        .tempos
        .iter()
        .map(|t| format!("<span role=\"columnheader\">{}</span>", escape(&t.tempo.to_string())))
        .collect();
    let mut out = format!(
        "<div class=\"outcomes{}\" id=\"answers\" role=\"grid\" aria-label=\"Versions by tempos: a cell plays\">\n\
         <div class=\"line heads\" role=\"row\"><span role=\"columnheader\" class=\"corner\">tempo</span>\
         <span class=\"cells\" role=\"presentation\">{heads}</span></div>\n",
        if page.tempos.len() > MANY_TEMPOS { " many" } else { "" }
    );
    for (v, variant) in page.variants.iter().enumerate() {
        let PageVariant { name, about, .. } = variant;
        let about = about.as_ref().map_or_else(String::new, |a| format!(" <span class=\"about\">{}</span>", escape(a)));
        let cells: String = page.tempos.iter().enumerate().map(|(t, tempo)| cell(tempo, (t, v))).collect();
        let _ = writeln!(
            out,
            "<div class=\"line\" role=\"row\"><span role=\"rowheader\" dir=\"auto\"><b>{}</b>{about}</span>\
             <span class=\"cells\" role=\"presentation\">{cells}</span></div>",
            escape(name)
        );
    }
    out.push_str("</div>");
    let one = page.tempos.iter().flat_map(|t| &t.cells).flatten().any(|c| !c.misses.is_empty());
    let off = if one { " <em>Off the one:</em> a box plays another step where its step 1 belongs." } else { "" };
    let _ = write!(
        out,
        "\n<p class=\"small\"><em>Together:</em> hits that belong together land within {0} ms. <em>Apart:</em> they land further apart.{off}</p>",
        exact_ms(page.max_gap)
    );
    out
}

/// More tempos than a phone has room for side by side.
const MANY_TEMPOS: usize = 4;

fn cell(tempo: &PageTempo, (t, v): (usize, usize)) -> String {
    let Some(cell) = tempo.cells.get(v).and_then(Option::as_ref) else {
        return "<span class=\"cell none\" role=\"gridcell\">not made</span>".to_owned();
    };
    let word = state_word(cell.state);
    let lines: String =
        cell.lines.iter().map(|line| format!("<span class=\"figure\">{}</span>", escape(line))).collect();
    let first = t + v == 0;
    format!(
        "<button type=\"button\" role=\"gridcell\" class=\"cell {}\" data-cell=\"{t}/{v}\" aria-selected=\"{first}\" tabindex=\"{}\">\
         <span class=\"state\">{}<span class=\"word\">{word}</span></span>{lines}</button>",
        word.split(' ').next().unwrap_or(word),
        if first { 0 } else { -1 },
        glyph(word)
    )
}

/// The lengths of loops in bars, the shortest first: powers of two that every tempo has, and what it takes until all repeats.
pub(super) fn loops(page: &ListeningPage) -> Vec<u32> {
    let most = page.tempos.iter().map(|t| t.available).min().unwrap_or(1).max(1);
    let mut all: Vec<u32> = (0..31).map(|n| 1 << n).take_while(|n| *n <= most.min(64)).collect();
    all.extend(page.tempos.iter().map(|t| t.bars));
    all.sort_unstable();
    all.dedup();
    all
}

pub(super) fn bars(page: &ListeningPage) -> String {
    let text = |n: &u32| if *n == 1 { "1 bar".to_owned() } else { format!("{n} bars") };
    loops(page).iter().map(|n| format!("<option value=\"{n}\">{}</option>", text(n))).collect()
}

pub(super) fn table(page: &ListeningPage) -> String {
    let one = page.tempos.iter().flat_map(|t| &t.cells).flatten().any(|c| !c.misses.is_empty());
    let mut rows = String::new();
    for tempo in &page.tempos {
        for (variant, cell) in page.variants.iter().zip(&tempo.cells) {
            let band = cell.as_ref().and_then(|c| c.band.as_ref()).map_or("—", |(name, _)| name);
            let misses = cell.as_ref().map_or("—", |c| &c.misses);
            let misses = if one { format!("<td>{}</td>", escape(misses)) } else { String::new() };
            let gap = cell.as_ref().map_or("not made", |c| &c.gap);
            let _ = write!(
                rows,
                "<tr><td class=\"number\">{}</td><td dir=\"auto\">{}</td>{misses}<td>{}</td><td>{}</td></tr>",
                tempo.tempo,
                escape(&variant.name),
                escape(gap),
                escape(band)
            );
        }
    }
    let misses = if one { "<th scope=\"col\">misses the one</th>" } else { "" };
    format!(
        "<details class=\"table\"><summary>Every figure as a table</summary><div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"Table of all versions\">\
         <table><thead><tr><th scope=\"col\" class=\"number\">tempo</th><th scope=\"col\">version</th>{misses}\
         <th scope=\"col\">gap</th><th scope=\"col\">heard as</th></tr></thead><tbody>{rows}</tbody></table></div></details>"
    )
}

/// The pictures that are always shown, their ids within the prefix.
pub(in crate::show::page) fn pictures(page: &ListeningPage, prefix: &str) -> String {
    page.pictures.iter().map(|picture| figure(picture, prefix)).collect()
}

/// A picture, its ids within the prefix.
pub(super) fn figure(picture: &Drawn, prefix: &str) -> String {
    format!("<figure class=\"drawn\">{}</figure>", both(picture, prefix))
}

/// What happens on the wires, a picture a version and tempo, for who asks.
pub(in crate::show::page) fn wires(page: &ListeningPage, prefix: &str) -> String {
    let mut out = String::new();
    for (t, tempo) in page.tempos.iter().enumerate() {
        for (v, cell) in tempo.cells.iter().enumerate() {
            let Some(picture) = cell.as_ref().and_then(|c| c.timing.as_ref()) else { continue };
            let hidden = if t + v == 0 { "" } else { " hidden" };
            let _ = write!(
                out,
                "<figure class=\"drawn\" data-timing=\"{t}/{v}\"{hidden}>{}</figure>",
                both(picture, prefix)
            );
        }
    }
    if out.is_empty() {
        return out;
    }
    let decides = if out.contains(" decides by ") { DECIDES } else { "" };
    format!("<details class=\"wires\"><summary>What happens on the wires</summary>\n{out}\n{decides}</details>")
}

/// A picture for a wide column and for a narrow one.
fn both(Drawn { wide, narrow }: &Drawn, prefix: &str) -> String {
    let [wide, narrow] = [wide, narrow].map(|svg| scoped(svg, prefix));
    format!("<div class=\"wide\">{wide}</div><div class=\"narrow\">{narrow}</div>")
}
