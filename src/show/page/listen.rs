use super::frame::{escape, fill, json, policy, scoped, styles};
use super::modules::{Module, joined, modules};
use super::sounds::{PageVoice, RATE};
use crate::show::report::{exact_ms, gap_ms, plain};
use crate::time::{Instant, Span, Tempo};
use std::fmt::Write;
use std::sync::LazyLock;

/// All that a listening page says and plays.
#[derive(Clone, Debug)]
pub struct ListeningPage {
    /// What it is about.
    pub title: String,
    /// What is done here, in a sentence; `None` for that of a comparison.
    pub lead: Option<String>,
    /// A few lines more.
    pub note: Option<String>,
    /// The patch as it was named, or what stands in its place.
    pub source: String,
    /// The largest acceptable gap.
    pub max_gap: Span,
    /// The caution about listening.
    pub care: String,
    /// The voices that hits name by their places here.
    pub voices: Vec<PageVoice>,
    /// The versions that are held against each other, the original first.
    pub variants: Vec<PageVariant>,
    /// What each of them plays at each tempo; at least one.
    pub tempos: Vec<PageTempo>,
    /// Pictures that are always shown.
    pub pictures: Vec<Drawn>,
    /// A section of its own after the player: markup.
    pub extra: Option<String>,
}

/// A picture as SVG, drawn for a page's column and for a phone's: its text is not scaled.
#[derive(Clone, Debug)]
pub struct Drawn {
    /// For a column of about 560 pixels.
    pub wide: String,
    /// For one of about 320.
    pub narrow: String,
}

/// A version.
#[derive(Clone, Debug)]
pub struct PageVariant {
    /// Its name.
    pub name: String,
    /// What it says of itself.
    pub about: Option<String>,
}

/// All versions at one tempo.
#[derive(Clone, Debug)]
pub struct PageTempo {
    /// The tempo.
    pub tempo: Tempo,
    /// How long a bar lasts; the whole piece where bars differ.
    pub bar: Span,
    /// How many bars there are.
    pub available: u32,
    /// How many are looped unless others are asked for: as many as it takes until all repeats.
    pub bars: u32,
    /// Each version, in the order of [`ListeningPage::variants`]; `None` for one that is not made at this tempo. The first
    /// always is.
    pub cells: Vec<Option<Cell>>,
    /// Why some are not made.
    pub note: Option<String>,
}

/// One version at one tempo.
#[derive(Clone, Debug)]
pub struct Cell {
    /// Its hits that are due from the loop's beginning on.
    pub hits: Vec<PageHit>,
    /// A factor on all of it, with which it is as loud as the others.
    pub gain: f64,
    /// Whether it passes.
    pub passes: bool,
    /// Who misses the one, or `nobody`; empty where there is no one to miss.
    pub misses: String,
    /// The worst gap in words.
    pub gap: String,
    /// The worst gap; `None` where nothing meets.
    pub worst: Option<Span>,
    /// Its band, and what is heard.
    pub band: Option<(String, String)>,
    /// The coincident hits of that pair: when the first sounds, by how much the second is later, and whose they are.
    pub pairs: Vec<Pair>,
    /// The timing diagram.
    pub timing: Option<Drawn>,
}

/// A hit of a version.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PageHit {
    /// When it sounds, from the loop's beginning: before it where it is early, and goes round.
    pub at: Instant,
    /// Which of the page's voices.
    pub voice: usize,
    /// How strong.
    pub gain: f64,
    /// The bar in which it is due, from 0 on: a loop has what is due in its bars.
    pub bar: u32,
}

/// Two hits that are meant to be one.
#[derive(Clone, Debug)]
pub struct Pair {
    /// When the first of them sounds, from the loop's beginning.
    pub at: Instant,
    /// How much later the other does.
    pub gap: Span,
    /// Whose they are, the first to sound first.
    pub names: [String; 2],
    /// The bar in which they are due, from 0 on.
    pub bar: u32,
}

/// What an arrow in the pictures means.
const DECIDES: &str = "<p class=\"small\">“Decides by”: how far a box's reset and its clock could still move against each other \
before it plays another step. The less, the more it hangs on luck.</p>\n";
const TEMPLATE: &str = concat!(include_str!("parts/head.html"), include_str!("parts/page.html"));
pub(super) const STYLE: &str = include_str!("parts/page.css");
/// Where the player begins in the template, and where it ends.
const PLAYER: [&str; 2] = ["<main data-player=\"\">\n", "</main>\n"];
/// In this order: each uses those before it.
pub(super) const MODULES: &[Module] = modules![
    "engine",
    "chance",
    "sound",
    "state",
    "wave",
    "player",
    "blind",
    "chapters",
    "keys",
    "identify",
    "listening",
];
static SCRIPT: LazyLock<String> = LazyLock::new(|| joined(MODULES));

/// How many bytes a page should have at most: it is mailed, and opened on phones.
pub const BUDGET: usize = 8_000_000;

/// Where a page of so many bytes is past the budget: by how much, and what to leave out, which the command knows. The page is
/// whole all the same.
#[must_use]
pub fn over_budget(bytes: usize, leave_out: &str) -> Option<String> {
    (bytes > BUDGET).then(|| {
        format!(
            "the page has {:.1} MB, and {} MB is what mail and phones take well\nhelp: leave out what nobody will choose: \
             {leave_out}",
            bytes as f64 / 1e6,
            BUDGET / 1_000_000
        )
    })
}

/// The page, whole.
#[must_use]
pub fn listening_page(page: &ListeningPage) -> String {
    let [_, player, _] = template();
    let pictures = pictures(page, "");
    let note = page.note.as_ref().map_or_else(String::new, |n| note(n));
    let main = format!("{}{}{}", PLAYER[0], work(page, player, "", &pictures), PLAYER[1]);
    frame(&Frame {
        title: &page.title,
        lead: &page.lead.clone().unwrap_or_else(|| sentence(page)),
        note: &note,
        care: &page.care,
        main: &main,
        footer: &format!("Made from {} by hitgap. Nothing here is sent anywhere.", page.source),
        style: STYLE,
        pictures: &[&pictures],
    })
}

/// What stands around a page's player or players.
pub(super) struct Frame<'a> {
    pub(super) title: &'a str,
    pub(super) lead: &'a str,
    /// Markup.
    pub(super) note: &'a str,
    pub(super) care: &'a str,
    /// Markup.
    pub(super) main: &'a str,
    pub(super) footer: &'a str,
    pub(super) style: &'a str,
    /// Markup within `main` that has style sheets of its own.
    pub(super) pictures: &'a [&'a str],
}

/// The template before the player, the player, and what follows it.
pub(super) fn template() -> [&'static str; 3] {
    let (before, rest) = TEMPLATE.split_once(PLAYER[0]).expect("the template has a player");
    let (player, after) = rest.split_once(PLAYER[1]).expect("the player ends");
    [before, player, after]
}

/// A page around its main part.
pub(super) fn frame(frame: &Frame<'_>) -> String {
    let [before, _, after] = template();
    let mut sheets: Vec<&str> = frame.pictures.iter().flat_map(|p| styles(p)).collect();
    sheets.push(frame.style);
    let csp = policy(&SCRIPT, &sheets);
    let head = fill(
        before,
        &[
            ("csp", &escape(&csp)),
            ("title", &escape(frame.title)),
            ("style", frame.style),
            ("sentence", &escape(frame.lead)),
            ("note", frame.note),
            ("care", &escape(frame.care)),
        ],
    );
    let foot = fill(after, &[("footer", &escape(frame.footer)), ("script", SCRIPT.as_str())]);
    format!("{head}{}{foot}", frame.main)
}

/// A player filled in; all of its ids begin with `prefix`.
pub(super) fn work(page: &ListeningPage, player: &str, prefix: &str, pictures: &str) -> String {
    let option = |value: usize, name: &str, chosen: bool| {
        let selected = if chosen { " selected" } else { "" };
        format!("<option value=\"{value}\"{selected}>{}</option>", escape(name))
    };
    let sides = |chosen: usize| -> String {
        page.variants.iter().enumerate().map(|(n, v)| option(n, &v.name, n == chosen)).collect()
    };
    fill(
        &scoped(player, prefix),
        &[
            ("tempos", &tempos(page, prefix)),
            ("versions", &versions(page, prefix)),
            ("bars", &bars(page)),
            ("table", &table(page)),
            ("drawn", if pictures.is_empty() { " hidden" } else { "" }),
            ("pictures", pictures),
            ("decides", if pictures.contains(" decides by ") { DECIDES } else { "" }),
            ("extra", page.extra.as_deref().unwrap_or_default()),
            ("sides_a", &sides(0)),
            ("sides_b", &sides(1.min(page.variants.len() - 1))),
            ("data", &json(&data(page))),
        ],
    )
}

/// A note's paragraphs, which blank lines part: a line's end in the patch is none on the page.
fn note(text: &str) -> String {
    let lines: Vec<&str> = text.lines().map(str::trim).collect();
    let paragraphs = lines.split(|l| l.is_empty()).filter(|p| !p.is_empty()).map(|p| p.join(" "));
    paragraphs.map(|p| format!("<p class=\"note\" dir=\"auto\">{}</p>", escape(&p))).collect()
}

fn sentence(page: &ListeningPage) -> String {
    let tempos = page.tempos.len();
    let fixes = page.variants.len() - 1;
    format!(
        "The original and {} of it, at {}: listen to what changes, and test whether you can tell.",
        if fixes == 1 { "one other version".to_owned() } else { format!("{fixes} other versions") },
        if tempos == 1 { "one tempo".to_owned() } else { format!("{tempos} tempos") },
    )
}

fn radio(name: &str, value: usize, text: &str) -> String {
    let checked = if value == 0 { " checked" } else { "" };
    format!(
        "<label><input type=\"radio\" name=\"{name}\" value=\"{value}\"{checked}><span dir=\"auto\">{text}</span></label>"
    )
}

fn tempos(page: &ListeningPage, prefix: &str) -> String {
    let name = format!("{prefix}tempo");
    page.tempos.iter().enumerate().map(|(n, t)| radio(&name, n, &t.tempo.to_string())).collect()
}

fn versions(page: &ListeningPage, prefix: &str) -> String {
    let name = format!("{prefix}version");
    let one = |(n, v): (usize, &PageVariant)| {
        let about =
            v.about.as_ref().map_or_else(String::new, |a| format!(" <span class=\"about\">{}</span>", escape(a)));
        radio(&name, n, &format!("{}{about}", escape(&v.name)))
    };
    page.variants.iter().enumerate().map(one).collect()
}

/// The lengths of loops in bars, the shortest first: powers of two that every tempo has, and what it takes until all repeats.
fn loops(page: &ListeningPage) -> Vec<u32> {
    let most = page.tempos.iter().map(|t| t.available).min().unwrap_or(1).max(1);
    let mut all: Vec<u32> = (0..31).map(|n| 1 << n).take_while(|n| *n <= most.min(64)).collect();
    all.extend(page.tempos.iter().map(|t| t.bars));
    all.sort_unstable();
    all.dedup();
    all
}

fn bars(page: &ListeningPage) -> String {
    let text = |n: &u32| if *n == 1 { "1 bar".to_owned() } else { format!("{n} bars") };
    loops(page).iter().map(|n| format!("<option value=\"{n}\">{}</option>", text(n))).collect()
}

fn table(page: &ListeningPage) -> String {
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
        "<details><summary>Every tempo and version as a table</summary><div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"Table of all versions\">\
         <table><thead><tr><th scope=\"col\" class=\"number\">tempo</th><th scope=\"col\">version</th>{misses}\
         <th scope=\"col\">gap</th><th scope=\"col\">heard as</th></tr></thead><tbody>{rows}</tbody></table></div></details>"
    )
}

/// The pictures, their ids within the prefix.
pub(super) fn pictures(page: &ListeningPage, prefix: &str) -> String {
    let mut out = String::new();
    let both = |Drawn { wide, narrow }: &Drawn| {
        let [wide, narrow] = [wide, narrow].map(|svg| scoped(svg, prefix));
        format!("<div class=\"wide\">{wide}</div><div class=\"narrow\">{narrow}</div>")
    };
    for picture in &page.pictures {
        let _ = write!(out, "<figure class=\"drawn\">{}</figure>", both(picture));
    }
    for (t, tempo) in page.tempos.iter().enumerate() {
        for (v, cell) in tempo.cells.iter().enumerate() {
            let Some(picture) = cell.as_ref().and_then(|c| c.timing.as_ref()) else { continue };
            let hidden = if t + v == 0 { "" } else { " hidden" };
            let _ = write!(out, "<figure class=\"drawn\" data-timing=\"{t}/{v}\"{hidden}>{}</figure>", both(picture));
        }
    }
    out
}

/// Milliseconds as a number of JSON, to the picosecond.
fn ms(ps: i64) -> serde_json::Value {
    serde_json::json!(ps as f64 / 1e9)
}

fn data(page: &ListeningPage) -> serde_json::Value {
    let longest = loops(page).last().copied().unwrap_or(1);
    // What comes after the longest loop is never heard there; words and figures are of the whole piece.
    let cell = |cell: &Cell| {
        let hits = cell.hits.iter().filter(|h| h.bar < longest);
        let pairs = cell.pairs.iter().filter(|p| p.bar < longest);
        serde_json::json!({
            "gain": cell.gain,
            "hits": hits.map(|h| serde_json::json!([ms(h.at.0), h.voice, h.gain, h.bar])).collect::<Vec<_>>(),
            "passes": cell.passes,
            "misses": cell.misses,
            "gap": cell.gap,
            "gapMs": cell.worst.map(|w| ms(w.0)),
            "band": cell.band.as_ref().map(|b| &b.0),
            "heard": cell.band.as_ref().map(|b| &b.1),
            "pairs": pairs.map(|p| serde_json::json!([ms(p.at.0), ms(p.gap.0), p.names[0], p.names[1], gap_ms(p.gap, page.max_gap), p.bar])).collect::<Vec<_>>(),
        })
    };
    let tempo = |t: &PageTempo| {
        serde_json::json!({
            "bpm": t.tempo.to_string(), "barMs": ms(t.bar.0), "bars": t.bars, "note": t.note.as_deref().map(plain),
            "cells": t.cells.iter().map(|c| c.as_ref().map(cell)).collect::<Vec<_>>(),
        })
    };
    serde_json::json!({
        "format": 1,
        "title": plain(&page.title),
        "patch": plain(&page.source),
        "maxGap": exact_ms(page.max_gap),
        "rate": RATE,
        "voices": page.voices.iter().map(PageVoice::json).collect::<Vec<_>>(),
        "variants": page.variants.iter().map(|v| serde_json::json!({ "name": plain(&v.name), "about": v.about.as_deref().map(plain) })).collect::<Vec<_>>(),
        "tempos": page.tempos.iter().map(tempo).collect::<Vec<_>>(),
    })
}

#[cfg(test)]
mod tests;
