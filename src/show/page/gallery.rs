//! A gallery to begin from: rigs, each with what is heard of it, and a button.

use super::frame::{Asks, escape, fill, policy};
use super::listen::{GLYPHS, STYLE, ServedPage, glyph, sentence};
use super::modules::{Module, joined, modules};
use crate::judge::State;
use crate::show::report::state_word;
use std::fmt::Write;
use std::sync::LazyLock;

/// A rig to begin from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct GalleryRig {
    /// The word by which it is asked for.
    pub name: String,
    /// What it is called.
    pub title: String,
    /// What it shows.
    pub about: String,
    /// The verdict in a sentence; names stand between backticks.
    pub lead: String,
    /// The tempos, as they are written.
    pub tempos: Vec<String>,
    /// Each version and its state at each tempo.
    pub versions: Vec<(String, Vec<State>)>,
}

const TEMPLATE: &str = concat!(include_str!("parts/head.html"), include_str!("parts/gallery.html"));
const LOOKS: &str = include_str!("parts/gallery.css");
pub(super) const MODULES: &[Module] = modules!["gallery"];
static SCRIPT: LazyLock<String> = LazyLock::new(|| joined(MODULES));

/// The gallery: rigs that are empty enough to build upon, and examples; where a rig is `open`, its name and whether it is saved.
#[must_use]
pub fn gallery_page([begin, examples]: [&[GalleryRig]; 2], folder: &str, open: Option<(&str, bool)>) -> ServedPage {
    let style = format!("{STYLE}{LOOKS}");
    let policy = policy(&SCRIPT, &[&style], Asks::Server);
    let cards = |rigs: &[GalleryRig]| rigs.iter().map(card).collect::<String>();
    let html = fill(
        TEMPLATE,
        &[
            ("csp", &escape(&policy)),
            ("title", "Which rig?"),
            ("style", &style),
            ("glyphs", GLYPHS),
            ("folder", &escape(folder)),
            ("open", &open.map_or_else(String::new, |(name, saved)| back(name, saved))),
            ("begin", &cards(begin)),
            ("examples", &cards(examples)),
            ("script", SCRIPT.as_str()),
        ],
    );
    ServedPage { html, policy: format!("{policy}; frame-ancestors 'none'") }
}

/// The way back to what is open.
fn back(name: &str, saved: bool) -> String {
    let kept = if saved {
        String::new()
    } else {
        format!(" What is not saved of it is kept beside it: <code>hitgap open {}</code> takes it up.", escape(name))
    };
    format!("<p class=\"open-now\"><a href=\"/\">Back to {}</a>, which is open.{kept}</p>\n", escape(name))
}

fn card(rig: &GalleryRig) -> String {
    let mut out = format!(
        "<li class=\"rig\"><h3><button type=\"button\" data-begin=\"{}\">{}</button></h3>\n<p>{}</p>\n",
        escape(&rig.name),
        escape(&rig.title),
        escape(&rig.about)
    );
    if !rig.lead.is_empty() {
        let _ = writeln!(out, "<p class=\"small\">{}.</p>", sentence(&rig.lead));
    }
    if !rig.versions.is_empty() {
        let heads: String = rig.tempos.iter().map(|t| format!("<th scope=\"col\">{}</th>", escape(t))).collect();
        let row = |(name, states): &(String, Vec<State>)| {
            let cells: String = states.iter().map(|state| state_cell(*state)).collect();
            format!("<tr><th scope=\"row\">{}</th>{cells}</tr>", escape(name))
        };
        let rows: String = rig.versions.iter().map(row).collect();
        let _ = writeln!(
            out,
            "<table class=\"states\"><thead><tr><th scope=\"col\">at</th>{heads}</tr></thead><tbody>{rows}</tbody></table>"
        );
    }
    out + "</li>\n"
}

fn state_cell(state: State) -> String {
    let word = state_word(state);
    let class = word.split(' ').next().unwrap_or(word);
    format!("<td class=\"{class}\" title=\"{word}\">{}<span class=\"unseen\">{word}</span></td>", glyph(word))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rig_stands_with_its_button_and_each_state_by_its_word() {
        let rig = GalleryRig {
            name: "late-bell".to_owned(),
            title: "The <late> bell".to_owned(),
            about: "It is late.".to_owned(),
            lead: "`or-gate` holds".to_owned(),
            tempos: vec!["50".to_owned()],
            versions: vec![("original".to_owned(), vec![State::Off]), ("or-gate".to_owned(), vec![State::Together])],
        };
        let page = gallery_page([&[], std::slice::from_ref(&rig)], "here", None);
        assert!(!page.html.contains("open-now"));
        let back = gallery_page([&[], &[rig]], "here", Some(("a<b.toml", false))).html;
        assert!(back.contains("<a href=\"/\">Back to a&lt;b.toml</a>") && back.contains("not saved"), "{back}");
        for wanted in [
            "data-begin=\"late-bell\">The &lt;late&gt; bell<",
            "<b class=\"name\">or-gate</b> holds.",
            "<span class=\"unseen\">off the one</span>",
            "<span class=\"unseen\">together</span>",
        ] {
            assert!(page.html.contains(wanted), "{wanted}: {}", page.html);
        }
        assert!(page.policy.contains("connect-src 'self'") && !page.policy.contains("unsafe"));
    }
}
