mod data;
mod markup;
mod served;

#[cfg(test)]
pub(super) use served::modules as served_modules;
pub use served::{ServedMoment, ServedPage, ServedParts, served_moment, served_page, served_parts, served_picture};

use self::data::data;
use self::markup::{answers, bars, note, options, pictures, table, wires};
pub(super) use self::markup::{glyph, sentence};
use super::frame::{Asks, escape, fill, json, policy, scoped, styles, without_styles};
use super::modules::{Module, joined, modules};
use super::sounds::PageVoice;
use crate::judge::State;
use crate::sound::loops::LoopHit;
use crate::time::{Instant, Span, Tempo};
use std::collections::BTreeSet;
use std::sync::LazyLock;

/// All that a listening page says and plays.
#[derive(Clone, Debug)]
pub struct ListeningPage {
    /// What it is about.
    pub title: String,
    /// The verdict, or what is done here, in a sentence; names stand between backticks.
    pub lead: String,
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
    /// Who plays in it, in the order in which hits name them.
    pub players: Vec<PagePlayer>,
}

/// A box that plays.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PagePlayer {
    /// Its name.
    pub name: String,
    /// Its pattern as it is written; empty for a take.
    pub pattern: String,
}

/// All versions at one tempo.
#[derive(Clone, Debug)]
pub struct PageTempo {
    /// The tempo.
    pub tempo: Tempo,
    /// How long a bar lasts; the whole piece where bars differ.
    pub bar: Span,
    /// The beats of a bar, from the loop's beginning, and whether each is a downbeat.
    pub beats: Vec<(Instant, bool)>,
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
    /// Its hits that are due from the loop's beginning on: their voices are places among [`ListeningPage::voices`], their players among
    /// [`PageVariant::players`].
    pub hits: Vec<LoopHit>,
    /// A factor on all of it, with which it is as loud as the others.
    pub gain: f64,
    /// Whether it passes.
    pub passes: bool,
    /// What a listener meets.
    pub state: State,
    /// What is said below that: who is off, or the widest gap.
    pub lines: Vec<String>,
    /// Who misses the one, or `nobody`; empty where there is no one to miss.
    pub misses: String,
    /// The worst gap in words.
    pub gap: String,
    /// The worst gap; `None` where nothing meets.
    pub worst: Option<Span>,
    /// Its band, and what is heard.
    pub band: Option<(String, String)>,
    /// The timing diagram.
    pub timing: Option<Drawn>,
}

const TEMPLATE: &str = concat!(include_str!("parts/head.html"), include_str!("parts/page.html"));
/// The glyphs of the three states, drawn after notation: one note, a small note before another, a note in a wrong place.
pub(super) const GLYPHS: &str = include_str!("parts/glyphs.html");
/// The question by which the level is found, of every page that plays.
pub(super) const CHECK: &str = include_str!("parts/check.html");
pub(super) const STYLE: &str = include_str!("parts/page.css");
/// Where the player begins in the template, and where it ends.
const PLAYER: [&str; 2] = ["<main data-player=\"\">\n", "</main>\n"];
/// In this order: each uses those before it.
pub(super) const MODULES: &[Module] = modules![
    "engine",
    "chance",
    "loudness",
    "level",
    "master",
    "check",
    "sound",
    "carry",
    "state",
    "hits",
    "zoom",
    "lanes",
    "bar",
    "called",
    "player",
    "answers",
    "blind-file",
    "blind",
    "chapters",
    "keys",
    "class",
    "identify",
    "listening",
];
/// What only a served page has; it runs last.
const SERVED_MODULES: &[Module] = modules![
    "near",
    "voices",
    "told",
    "live",
    "make",
    "morph",
    "outbox",
    "amount",
    "words",
    "rate",
    "steps",
    "dial",
    "limits",
    "limits-editor",
    "editors",
    "panel",
    "dress",
    "adding",
    "since",
    "keeping",
    "desk",
    "taps",
    "tempo-desk",
    "place",
    "versions",
    "draft",
    "pane",
    "files",
    "inputs",
    "cure",
    "cures",
    "counsel",
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
    let drawn = Drawings::new(page, "");
    let main = format!("{}{}{}", PLAYER[0], work(page, player, "", &drawn), PLAYER[1]);
    frame(&Frame {
        title: &page.title,
        lead: &page.lead,
        note: "",
        care: &page.care,
        main: &main,
        footer: &format!("Made from {} by hitgap. Nothing here is sent anywhere.", page.source),
        style: STYLE,
        served: false,
        pictures: &[&drawn.pictures, &drawn.wires],
    })
}

/// The pictures of a player, as markup.
#[derive(Clone, Debug)]
pub(super) struct Drawings {
    /// Those that are always shown.
    pub(super) pictures: String,
    /// Those of the wires, for who asks.
    pub(super) wires: String,
}

impl Drawings {
    /// With all of their ids within the prefix.
    pub(super) fn new(page: &ListeningPage, prefix: &str) -> Self {
        Self { pictures: pictures(page, prefix), wires: wires(page, prefix) }
    }
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
    /// Whether it is served, and follows its patch.
    pub(super) served: bool,
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
    // What pictures bring stands once in the page and not in each of them.
    let sheets: BTreeSet<&str> = frame.pictures.iter().flat_map(|p| styles(p)).collect();
    let style = sheets.into_iter().fold(frame.style.to_owned(), |all, sheet| all + sheet);
    let (script, asks) = if frame.served { (&*served::SCRIPT, Asks::Server) } else { (&*SCRIPT, Asks::Nobody) };
    let csp = policy(script, &[&style], asks);
    let head = fill(
        before,
        &[
            ("csp", &escape(&csp)),
            ("title", &escape(frame.title)),
            ("style", &style),
            ("sentence", &sentence(frame.lead)),
            ("note", frame.note),
            ("glyphs", GLYPHS),
            ("care", &escape(frame.care)),
        ],
    );
    let foot = fill(after, &[("footer", &escape(frame.footer)), ("script", script.as_str())]);
    format!("{head}{}{foot}", without_styles(frame.main))
}

/// A player filled in; all of its ids begin with `prefix`.
pub(super) fn work(page: &ListeningPage, player: &str, prefix: &str, drawn: &Drawings) -> String {
    let tempos = tempos(page);
    let versions = |chosen| options(page.variants.iter().map(|v| v.name.as_str()), chosen);
    fill(
        &scoped(player, prefix),
        &[
            ("answers", &scoped(&answers(page), prefix)),
            ("check", &scoped(CHECK, prefix)),
            ("tempos", &tempos),
            ("versions", &versions(0)),
            ("bars", &bars(page)),
            ("table", &table(page)),
            ("pictures", &drawn.pictures),
            ("wires", &drawn.wires),
            ("extra", page.extra.as_deref().unwrap_or_default()),
            ("about", &about(page)),
            ("sides_a", &versions(0)),
            ("sides_b", &versions(1.min(page.variants.len() - 1))),
            ("data", &json(&data(page))),
        ],
    )
}

/// The tempos to choose from.
fn tempos(page: &ListeningPage) -> String {
    let tempos: Vec<String> = page.tempos.iter().map(|t| t.tempo.to_string()).collect();
    options(tempos.iter().map(String::as_str), 0)
}

/// What the patch says of itself, in a section of its own.
fn about(page: &ListeningPage) -> String {
    let section = |text: &String| format!("<section>\n<h2>About this rig</h2>\n{}</section>", note(text));
    page.note.as_ref().map_or_else(String::new, section)
}

#[cfg(test)]
mod tests;
