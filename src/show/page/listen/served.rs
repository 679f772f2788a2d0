//! The page as it is served while its patch changes: the same, with a script that takes what is new over.

use super::data::{Data, TempoData, VariantData, data_without_voices};
use super::markup::{answers, bars, figure, options, sentence, table};
use super::{
    Drawings, Drawn, Frame, ListeningPage, MODULES, PLAYER, SERVED_MODULES, STYLE, about, frame, template, tempos, work,
};
use crate::show::page::frame::{Asks, policy, styles, without_styles};
use crate::show::page::modules::{Module, joined};
use serde::Serialize;
use std::sync::LazyLock;

pub(super) static SCRIPT: LazyLock<String> = LazyLock::new(|| joined(&modules()));

/// All modules of a served page.
pub(in crate::show::page) fn modules() -> Vec<Module> {
    MODULES.iter().chain(SERVED_MODULES).copied().collect()
}

/// Looks of what only a served page has.
const MORE_STYLE: &str = include_str!("../parts/live.css");
/// Where lanes stand; what the page says of its patch stands above them.
const LANES: &str = "<div class=\"lanes\" id=\"lanes\"";
/// Where the page says what has become of its patch, and where it is changed.
const LIVE: &str = concat!(include_str!("../parts/live.html"), include_str!("../parts/counsel.html"));

/// A page and what else is said of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ServedPage {
    /// The page.
    pub html: String,
    /// The policy under which it runs, for a header: as it says itself, and that nobody frames it.
    pub policy: String,
}

/// The page, whole, as the edition of this number.
#[must_use]
pub fn served_page(page: &ListeningPage, number: u64) -> ServedPage {
    let [_, player, _] = template();
    let drawn = Drawings::new(page, "");
    let live = LIVE.replace("{{number}}", &number.to_string());
    let work = work(page, player, "", &drawn);
    let (before, lanes) = work.split_once(LANES).expect("the player has lanes");
    let main = format!("{}{before}{live}{LANES}{lanes}{}", PLAYER[0], PLAYER[1]);
    let html = frame(&Frame {
        title: &page.title,
        lead: &page.lead,
        note: "",
        care: &page.care,
        main: &main,
        footer: &format!("Made from {} by hitgap, on this machine and for it alone.", page.source),
        style: &format!("{STYLE}{MORE_STYLE}"),
        served: true,
        pictures: &[&drawn.pictures, &drawn.wires],
    });
    let sheets = styles(&html);
    let policy = format!("{}; frame-ancestors 'none'", policy(&SCRIPT, &sheets, Asks::Server));
    ServedPage { html, policy }
}

/// What a page that is open takes over: the data of its script, and markup by the places where it goes.
#[derive(Serialize)]
pub struct ServedParts<'p> {
    data: Data<&'p str>,
    title: &'p str,
    lead: String,
    answers: String,
    pictures: String,
    figures: String,
    about: String,
    options: Options,
    /// Where they have changed the page's own policy would keep a style sheet out: it must be loaded anew.
    sheets: String,
}

/// Lists to choose from, by their ids.
#[derive(Serialize)]
#[serde(rename_all = "kebab-case")]
struct Options {
    version: String,
    tempo: String,
    bars: String,
    blind_a: String,
    blind_b: String,
}

/// All of a page but its voices, for one that is open.
#[must_use]
pub fn served_parts(page: &ListeningPage) -> ServedParts<'_> {
    let drawn = Drawings::new(page, "");
    let versions = |chosen| options(page.variants.iter().map(|v| v.name.as_str()), chosen);
    let mut sheets: Vec<&str> = styles(&drawn.pictures).into_iter().chain(styles(&drawn.wires)).collect();
    sheets.sort_unstable();
    sheets.dedup();
    ServedParts {
        data: data_without_voices(page),
        title: &page.title,
        lead: sentence(&page.lead),
        answers: answers(page),
        pictures: without_styles(&drawn.pictures),
        figures: format!("{}\n{}", table(page), without_styles(&drawn.wires)),
        about: about(page),
        options: Options {
            version: versions(0),
            tempo: tempos(page),
            bars: bars(page),
            blind_a: versions(0),
            blind_b: versions(1.min(page.variants.len().saturating_sub(1))),
        },
        sheets: sheets.concat(),
    }
}

/// What a page takes over at once of one tempo: its versions, what they play, and what is said of each.
#[derive(Serialize)]
pub struct ServedMoment<'p> {
    tempo: String,
    data: MomentData<'p>,
}

#[derive(Serialize)]
struct MomentData<'p> {
    tempo: TempoData,
    variants: Vec<VariantData>,
    voices: Vec<&'p str>,
}

/// The last tempo of a page; `None` where there is none.
#[must_use]
pub fn served_moment(page: &ListeningPage) -> Option<ServedMoment<'_>> {
    let Data { mut tempos, variants, voices, .. } = data_without_voices(page);
    let tempo = tempos.pop()?;
    Some(ServedMoment { tempo: tempo.bpm.clone(), data: MomentData { tempo, variants, voices } })
}

/// A picture as a served page puts it in: its style sheet is that of all pictures, which the page has.
#[must_use]
pub fn served_picture(picture: &Drawn) -> String {
    without_styles(&figure(picture, ""))
}

#[cfg(test)]
mod tests {
    use super::super::tests::page;
    use super::*;

    #[test]
    fn it_is_the_page_with_a_script_more_that_may_ask_its_server_alone() {
        let served = served_page(&page("a", None), 7);
        assert!(
            served.html.contains("data-edition=\"7\"")
                && !super::super::listening_page(&page("a", None)).contains("data-edition")
        );
        assert!(served.policy.contains("connect-src 'self';") && served.policy.ends_with("; frame-ancestors 'none'"));
        // What the page says itself and what the header says are one policy, and both are in force.
        let own = served.html.split_once("Content-Security-Policy\" content=\"").expect("a policy").1;
        let own = own.split_once('"').expect("its end").0.replace("&#39;", "'");
        assert_eq!(format!("{own}; frame-ancestors 'none'"), served.policy);
    }

    #[test]
    fn what_is_taken_over_stands_in_the_page_as_well() {
        let page = page("a <b>", Some("A note."));
        let parts = serde_json::to_value(served_parts(&page)).expect("JSON");
        let html = served_page(&page, 1).html;
        for part in ["lead", "answers", "pictures", "figures", "about"] {
            let markup = parts[part].as_str().expect("markup");
            assert!(html.contains(markup), "{part}: {markup}");
        }
        for (place, markup) in parts["options"].as_object().expect("lists") {
            assert!(html.contains(&format!("id=\"{place}\">{}", markup.as_str().expect("markup"))), "{place}");
        }
    }
}
