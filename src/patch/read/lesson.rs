//! Lessons: chapters of a teacher's text, each with a patch to hear or two voices a time apart.

use crate::patch::check::fault::{Fault, Faults};
use crate::patch::check::node::{self, Key, Node, Value};
use crate::patch::check::show::{is_unsafe, shown};
use crate::patch::check::view::Section;
use crate::patch::read::fields::{Fields, Got, Told};
pub(in crate::patch) use crate::patch::read::lesson_keys::{CHAPTER, FLAM, KEYS};
use crate::patch::read::lesson_keys::{MOST_CHAPTERS, MOST_SETTINGS, OF_A_PATCH};
use crate::patch::read::quantity::{self, QuantityError};
use crate::patch::read::tempo::tempos;
use crate::patch::read::values::{Values, check};
use crate::patch::read::words::words;
use crate::time::Tempo;
use std::ops::Range;

/// A lesson as it was written. Patches are named and not yet read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lesson {
    /// What it is called.
    pub title: String,
    /// What is said before the first chapter, in Markdown.
    pub note: Option<String>,
    /// In the order of the file; at least one.
    pub chapters: Vec<Chapter>,
}

/// A chapter. All of its words but the heading are Markdown.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Chapter {
    /// What it is called.
    pub heading: String,
    /// What is said before anything is heard.
    pub text: String,
    /// What to listen for.
    pub listen_for: Option<String>,
    /// A question, for afterwards.
    pub question: Option<String>,
    /// What is shown when the answer to it is asked for.
    pub answer: Option<String>,
    /// What is heard.
    pub played: ChapterContent,
    /// Tempos, no two equal; without any, those of the patch, or 120.
    pub tempos: Vec<Tempo>,
    /// How many bars go round at first; `None` for as many as it takes until all repeats.
    pub looped: Option<Spot>,
}

/// What a chapter plays.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ChapterContent {
    /// The original of a patch, and fixes.
    Patch(PatchSetting),
    /// Two voices a time apart.
    Flam(FlamSetting),
}

/// A patch, and what of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PatchSetting {
    /// The path, as seen from the lesson's folder.
    pub file: Spot,
    /// Names of fixes, or several joined by `+`; without any, every fix.
    pub fixes: Vec<Spot>,
    /// How many bars to play; `None` for those of the patch.
    pub bars: Option<u64>,
    /// Which draw of what is left to chance; `None` for the typical run.
    pub run: Option<u64>,
}

/// Two voices, and how far apart, in the words of `hitgap flam`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FlamSetting {
    /// The two voices, of the built-in kit.
    pub voices: Spot,
    /// How far the second is behind the first: times, or shares of a period.
    pub apart: Vec<Spot>,
    /// Whether these are shares of the period of `rate`.
    pub shares: bool,
    /// The output whose period counts.
    pub rate: Spot,
}

/// A text of the lesson and where it stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Spot {
    /// What it says.
    pub text: String,
    at: Range<usize>,
}

impl Spot {
    /// A fault of what is named here, which shows only when it is looked for: found against expected, and what to do.
    #[must_use]
    pub fn fault(&self, message: &str, label: &str, help: &str) -> Faults {
        Faults::one(Fault::new(self.at.clone(), message).label(label).help(help))
    }
}

impl Lesson {
    /// Reads a lesson's file.
    ///
    /// # Errors
    /// All its faults at once, in its order; a fault of syntax alone.
    pub fn parse(source: &str) -> Result<Self, Faults> {
        let table = node::read_file(source, "a lesson is written by hand: is this another kind of file?")?;
        let (mut faults, mut warnings) = (Faults::default(), Faults::warnings());
        let key = Key { text: String::new(), at: 0..0 };
        let section = Section::new(&key, &table);
        let mut fields = Fields {
            source,
            what: "the lesson".to_owned(),
            at: 0..0,
            section: &section,
            faults: &mut faults,
            warnings: &mut warnings,
        };
        check(&mut fields, &KEYS);
        let title = needed_words(&mut fields, "title", "write title = \"Three robots and a clock\" at the top");
        let note = words(&mut fields, "note", true);
        let chapters = chapters(&mut fields);
        faults.sort();
        match (title, chapters, faults.is_empty()) {
            (Ok(title), Ok(chapters), true) => Ok(Self { title, note, chapters }),
            _ => Err(faults),
        }
    }
}

fn chapters(fields: &mut Fields<'_, '_>) -> Result<Vec<Chapter>, Told> {
    const HELP: &str = "write a line [[chapter]], and below it heading, text and patch";
    let Some((key, node)) = fields.get("chapter") else { return Err(fields.missing("chapter", HELP)) };
    let list = match &node.value {
        Value::List(list) if !list.is_empty() => list,
        Value::List(_) => {
            let fault = Fault::new(node.at.clone(), "`chapter` is an empty list").label("expected a chapter");
            return Err(fields.tell(fault.help(HELP)));
        }
        Value::Table(_) => {
            let fault = Fault::new(key.at.clone(), "`chapter` is one table, not a list of them")
                .label("expected two brackets: [[chapter]]")
                .help("write [[chapter]] above each chapter");
            return Err(fields.tell(fault));
        }
        _ => return Err(fields.wrong_type("chapter", node, "a table for each chapter", HELP)),
    };
    if list.len() > MOST_CHAPTERS {
        let found = format!("{} chapters", list.len());
        return Err(fields.out_of_bounds("chapter", &found, &format!("at most {MOST_CHAPTERS} chapters")));
    }
    let all: Vec<_> =
        (1..).zip(list).map(|(n, node)| fields.entry((key, node), format!("chapter {n}"), HELP, chapter)).collect();
    all.into_iter().collect()
}

fn chapter(fields: &mut Fields<'_, '_>) -> Result<Chapter, Told> {
    check(fields, &CHAPTER);
    let before = fields.faults.count();
    let heading = needed_words(fields, "heading", "write heading = \"Why two boxes disagree\"");
    let text = needed_lines(fields);
    let [listen_for, question, answer] = ["listen-for", "question", "answer"].map(|key| words(fields, key, true));
    if let (Some((key, _)), false) = (fields.get("answer"), fields.has("question")) {
        let fault = Fault::new(key.at.clone(), format!("{} has an `answer` and no `question`", fields.what))
            .label("expected a `question` beside it")
            .help("write question = \"...\", or take the answer out");
        fields.tell(fault);
    }
    let played = played(fields);
    let (tempos, looped) = (tempos(fields), Values::new(fields, &CHAPTER, None).whole("loop"));
    let (mut tempos, looped) = (tempos?.unwrap_or_default(), looped?);
    let mut seen = std::collections::HashSet::new();
    tempos.retain(|tempo| seen.insert(*tempo));
    let at = fields.get("loop").map_or(0..0, |(_, node)| node.at.clone());
    let looped = looped.map(|bars| Spot { text: bars.to_string(), at });
    let chapter =
        Chapter { looped, heading: heading?, text: text?, listen_for, question, answer, played: played?, tempos };
    // What was wrong with its words has been told.
    if fields.faults.count() > before { Err(Told) } else { Ok(chapter) }
}

fn needed_words(fields: &mut Fields<'_, '_>, key: &str, help: &str) -> Result<String, Told> {
    if !fields.has(key) {
        return Err(fields.missing(key, help));
    }
    words(fields, key, false).ok_or(Told)
}

fn needed_lines(fields: &mut Fields<'_, '_>) -> Result<String, Told> {
    if !fields.has("text") {
        return Err(fields.missing("text", "write text = \"\"\"...\"\"\", the teacher's words in Markdown"));
    }
    words(fields, "text", true).ok_or(Told)
}

fn played(fields: &mut Fields<'_, '_>) -> Result<ChapterContent, Told> {
    match (fields.get("patch"), fields.get("flam")) {
        (None, None) => {
            Err(fields.missing("patch", "write patch = \"late-bell.toml\", or flam = { delays = [\"22 ms\"] }"))
        }
        (Some(_), Some((flam, _))) => {
            let fault = Fault::new(flam.at.clone(), format!("{} has a `patch` and a `flam`", fields.what))
                .label("expected one of the two")
                .help("make two chapters of it");
            Err(fields.tell(fault))
        }
        (Some(_), None) => patch(fields),
        (None, Some((key, node))) => {
            for other in OF_A_PATCH {
                if let Some((key, _)) = fields.get(other) {
                    let fault = Fault::new(key.at.clone(), format!("{} has `{other}` and no `patch`", fields.what))
                        .label("a flam has none")
                        .help(format!("take `{other}` out, or write a patch instead of the flam"));
                    fields.tell(fault);
                }
            }
            let Value::Table(table) = &node.value else {
                return Err(fields.wrong_type(
                    "flam",
                    node,
                    "a table",
                    "write flam = { delays = [\"5 ms\", \"22 ms\"] }",
                ));
            };
            fields.within(key, table, flam)
        }
    }
}

fn patch(fields: &mut Fields<'_, '_>) -> Result<ChapterContent, Told> {
    let file = path(fields);
    let fixes = spots(fields, "fixes", "phase", crate::patch::check::view::MOST_OF_A_KIND);
    let bars = Values::new(fields, &CHAPTER, None).whole("bars");
    let run = Values::new(fields, &CHAPTER, None).whole("run");
    let number = |n: Option<i64>| n.and_then(|n| u64::try_from(n).ok());
    let (file, fixes) = (file?, fixes?.unwrap_or_default());
    Ok(ChapterContent::Patch(PatchSetting { file, fixes, bars: number(bars?), run: number(run?) }))
}

fn path(fields: &mut Fields<'_, '_>) -> Result<Spot, Told> {
    const EXAMPLE: &str = "late-bell.toml";
    let got = fields.text("patch", EXAMPLE);
    let (text, node) = fields.needed("patch", got, "write patch = \"late-bell.toml\"")?;
    if text.trim().is_empty() || text.chars().any(is_unsafe) {
        let fault = Fault::new(node.at.clone(), format!("`{}` is not a file's name", shown(text)))
            .label("expected the path of a patch, as seen from the lesson's folder")
            .help(format!("write patch = \"{EXAMPLE}\""));
        return Err(fields.tell(fault));
    }
    Ok(Spot { text: text.to_owned(), at: node.at.clone() })
}

fn flam(fields: &mut Fields<'_, '_>) -> Result<ChapterContent, Told> {
    check(fields, &FLAM);
    let delays = spots(fields, "delays", "22 ms", MOST_SETTINGS);
    let phases = spots(fields, "phases", "1 %", MOST_SETTINGS);
    let whole = fields.at.clone();
    let text = |fields: &mut Fields<'_, '_>, key: &str, default: &str| -> Result<Spot, Told> {
        let got = fields.text(key, default)?;
        let spot = |(text, node): (&str, &Node)| Spot { text: text.to_owned(), at: node.at.clone() };
        Ok(got.map_or_else(|| Spot { text: default.to_owned(), at: whole.clone() }, spot))
    };
    let voices = text(fields, "voices", "kick,kick");
    let rate = text(fields, "rate", "1 per beat");
    let (apart, shares) = match (delays?, phases?) {
        (Some(delays), None) => (delays, false),
        (None, Some(phases)) => (phases, true),
        (None, None) => {
            return Err(fields.missing("delays", "write delays = [\"5 ms\", \"22 ms\"], or phases = [\"1 %\"]"));
        }
        (Some(_), Some(_)) => {
            let at = fields.get("phases").map_or(fields.at.clone(), |(key, _)| key.at.clone());
            let fault = Fault::new(at, "the flam has `delays` and `phases`")
                .label("expected one of the two")
                .help("make two chapters of it");
            return Err(fields.tell(fault));
        }
    };
    let (voices, rate) = (voices?, rate?);
    let mut wrong = None;
    let mut held = |fields: &mut Fields<'_, '_>, spot: &Spot, error: Option<QuantityError>| {
        if let Some(error) = error {
            let help = match &error.write {
                Some(write) => format!("write \"{write}\""),
                None => format!("write {}", error.expected),
            };
            let fault = Fault::new(spot.at.clone(), error.message).label(format!("expected {}", error.expected));
            wrong = Some(fields.tell(fault.help(help)));
        }
    };
    for spot in &apart {
        let error = if shares { quantity::share(&spot.text).err() } else { quantity::whole_time(&spot.text).err() };
        held(fields, spot, error);
    }
    held(fields, &rate, quantity::rate(&rate.text).err());
    match wrong {
        Some(told) => Err(told),
        None => Ok(ChapterContent::Flam(FlamSetting { voices, apart, shares, rate })),
    }
}

/// A list of texts, none of them twice.
fn spots(fields: &mut Fields<'_, '_>, key: &str, example: &str, most: usize) -> Got<Vec<Spot>> {
    let help = format!("write {key} = [\"{example}\"]");
    let Some((_, node)) = fields.get(key) else { return Ok(None) };
    let Value::List(list) = &node.value else {
        return Err(fields.wrong_type(key, node, "a list of texts", &help));
    };
    if list.is_empty() {
        let fault =
            Fault::new(node.at.clone(), format!("`{key}` is an empty list")).label("expected at least one text");
        return Err(fields.tell(fault.help(help)));
    }
    if list.len() > most {
        let found = format!("{} texts", list.len());
        return Err(fields.out_of_bounds(key, &found, &format!("at most {most}")));
    }
    let mut all: Vec<Spot> = Vec::new();
    for node in list {
        let Value::Text(text) = &node.value else {
            return Err(fields.wrong_type(key, node, "a text in quotes", &help));
        };
        if let Some(first) = all.iter().find(|s| s.text.trim() == text.trim()) {
            let fault = Fault::new(node.at.clone(), format!("`{}` stands twice in `{key}`", shown(text)))
                .label("expected each once")
                .context(first.at.clone(), "the first is here")
                .help("take one of them out");
            return Err(fields.tell(fault));
        }
        all.push(Spot { text: text.clone(), at: node.at.clone() });
    }
    Ok(Some(all))
}
