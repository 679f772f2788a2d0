//! An evening of songs, as people read it: what is put in once, and a line a song.

use super::mend_words::{and, change_of, fault_of, hint, plural, prices};
use super::{Align, Table, WIRING, gap_ms, ms, words};
use crate::judge::Band;
use crate::judge::mend::{Change, Evening, EveningMended, Fault, ListedSong, SongMended, Stopped, Turned};
use crate::time::Span;
use std::fmt::Write;

/// What is to be shown of an evening.
#[derive(Clone, Debug)]
pub struct EveningReport<'a> {
    /// The patch as it was named on the command line.
    pub name: String,
    /// What the patch calls itself, if it does.
    pub title: Option<&'a str>,
    /// Whose threshold the max gap is, in a sentence; `None` where it is not from an ear file.
    pub max_gap_from: Option<String>,
    /// The songs as they are listed.
    pub listed: &'a [ListedSong],
    /// What was asked.
    pub evening: &'a Evening<'a>,
    /// What was found.
    pub mended: &'a EveningMended,
}

/// A song as a line of a card.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SongLine {
    /// Its place in the evening, from 1.
    pub place: usize,
    /// What it is called.
    pub song: String,
    /// At which tempo.
    pub tempo: String,
    /// Who plays and what is dialled by the list itself, where that is not everybody and nothing.
    pub who: String,
    /// What is turned before it, each thing as said to a colleague.
    pub turns: Vec<String>,
    /// What is heard then, or why it is left out.
    pub heard: String,
    /// What is wrong with the patch as it is; empty where nothing is.
    pub now: String,
}

impl EveningReport<'_> {
    /// What the page is about.
    #[must_use]
    pub fn heading(&self) -> String {
        self.title.map_or_else(|| words::plain(&self.name), words::plain)
    }

    /// The answer in a sentence or two.
    #[must_use]
    pub fn answer(&self) -> String {
        let (mended, count) = (self.mended, self.listed.len());
        let titles = |of: &dyn Fn(&SongMended) -> bool| {
            let all = self.listed.iter().zip(&mended.songs).filter(|(_, song)| of(song));
            all.map(|(song, _)| words::plain(&song.title)).collect::<Vec<_>>()
        };
        let left = titles(&|song| song.dialled.is_none() && song.searched);
        let open = titles(&|song| song.dialled.is_none() && !song.searched);
        let songs = plural(count, "song");
        let served = count - left.len() - open.len();
        let wired = !mended.wiring.is_empty();
        let said = match (left.len(), open.len()) {
            (0, 0) if !wired => format!("the wiring as it is serves all of {songs}"),
            (0, 0) => format!("one wiring serves all of {songs}"),
            (n, 0) if n == count => "no wiring serves any song".to_owned(),
            (_, 0) => format!("no one wiring serves all; this one serves {served} of {songs}"),
            _ if served == 0 => "nothing was found so far".to_owned(),
            _ if !wired => format!("so far, the wiring as it is serves {served} of {songs}"),
            _ => format!("so far, this wiring serves {served} of {songs}"),
        };
        let stopped = if mended.stopped.is_some() { "stopped before it was done; " } else { "" };
        let fewest = if mended.exact && mended.stopped.is_none() { ", and no fewer will do" } else { "" };
        let turns = match mended.turns {
            _ if served == 0 => String::new(),
            0 => " Between songs nothing is turned.".to_owned(),
            1 => format!(" Between songs 1 dial is turned{fewest}."),
            n => format!(" Between songs {n} dials are turned{fewest}."),
        };
        let told = |what: &str, names: &[String]| match names {
            [] => String::new(),
            all => format!(" {what}: {}.", and(&all.iter().map(String::as_str).collect::<Vec<_>>())),
        };
        let (way, open) = (told("In the way", &left), told("Not searched", &open));
        format!("{stopped}{said}.{turns}{way}{open}")
    }

    /// What is put in and plugged once, each thing as said to a colleague.
    pub(super) fn plugged(&self) -> Vec<String> {
        let Evening { patch, catalogue, .. } = self.evening;
        let of = |n: &usize| change_of(&patch.original.rig, catalogue, &catalogue.offers[*n].change, None);
        self.mended.wiring.iter().map(of).collect()
    }

    /// What is done once, before the evening: what is put in, with the values that it has, what is plugged, and the dials that stand the
    /// same in all songs.
    #[must_use]
    pub fn wiring(&self) -> Vec<String> {
        let catalogue = self.evening.catalogue;
        let values = |n: &usize| match &catalogue.offers[*n].change {
            Change::Put { part, .. } => catalogue.parts[*part].written.as_deref().and_then(values),
            _ => None,
        };
        let with = |(said, n): (String, &usize)| values(n).map_or_else(|| said.clone(), |of| format!("{said} ({of})"));
        let plugged = self.plugged().into_iter().zip(&self.mended.wiring).map(with);
        plugged.chain(self.once().into_iter().map(|turned| self.turned(turned))).collect()
    }

    /// What is turned before the first song that is served, and not again.
    fn once(&self) -> Vec<&Turned> {
        let mut songs = self.mended.songs.iter().flat_map(|song| &song.dialled);
        let Some(first) = songs.next() else { return Vec::new() };
        let later: Vec<&Turned> = songs.flat_map(|song| &song.turns).collect();
        first.turns.iter().filter(|turned| !later.iter().any(|other| other.is_of_one_dial(turned))).collect()
    }

    /// A dial that is turned, as said to a colleague.
    #[must_use]
    pub fn turned(&self, turned: &Turned) -> String {
        let Evening { patch, catalogue, .. } = self.evening;
        let said = change_of(&patch.original.rig, catalogue, &turned.change, turned.offset);
        match turned.back {
            false => said,
            true if said.starts_with("set sequencer.") || said.starts_with("set stage.") => {
                format!("{} back as the patch has it", said.split(" to ").next().unwrap_or(&said))
            }
            true => said.replacen(" to ", " back to ", 1),
        }
    }

    fn fault(&self, fault: &Fault) -> String {
        fault_of(&self.evening.patch.original.rig, self.evening.aim.max_gap, fault)
    }

    /// What is heard of a song.
    fn heard(&self, song: &SongMended) -> String {
        let Some(dialled) = &song.dialled else {
            if !song.searched {
                return "not searched".to_owned();
            }
            let why = song.nearest.as_ref().and_then(|(_, faults)| faults.first()).map(|fault| self.fault(fault));
            let way =
                if song.alone { "left out: what it needs does not serve the others" } else { "left out: nothing does" };
            return why.map_or_else(|| way.to_owned(), |why| format!("{way}; {why}"));
        };
        let rig = &self.evening.patch.original.rig;
        let widest = dialled.proposal.at.iter().filter_map(|at| at.widest).max_by_key(|(_, gap)| *gap);
        match widest {
            None => "plays alone".to_owned(),
            Some((_, Span::ZERO)) => "one hit, all together".to_owned(),
            Some(([a, b], gap)) => {
                let band = Band::of(gap).key().replace('-', " ");
                let size = gap_ms(gap, self.evening.aim.max_gap);
                format!("{band}: usually up to {size} ms, {} and {}", rig.player_name(a), rig.player_name(b))
            }
        }
    }

    /// Whether the songs differ in who plays or what is dialled by the list, so that each says it.
    fn is_told(&self) -> bool {
        let plain = |song: &ListedSong| song.boxes.is_empty() && song.fixes.is_none() && song.tempo_map.is_none();
        !self.listed.iter().all(plain)
    }

    /// A line a song.
    #[must_use]
    pub fn lines(&self) -> Vec<SongLine> {
        self.rows(&self.once())
    }

    /// The same with all that is turned, `once` left out.
    pub(super) fn rows(&self, once: &[&Turned]) -> Vec<SongLine> {
        let songs = self.listed.iter().zip(&self.mended.songs).enumerate();
        let line = |(n, (listed, song)): (usize, (&ListedSong, &SongMended))| {
            let names: Vec<&str> = listed.boxes.iter().map(String::as_str).collect();
            let mut who = match &names[..] {
                [] if !self.is_told() => String::new(),
                [] => "all".to_owned(),
                [one] => format!("{one} alone"),
                some => and(some),
            };
            let dialled = [
                listed.fixes.as_ref().map(|fix| format!("with {fix}")),
                listed.tempo_map.as_ref().map(|_| "with a tempo map of its own".to_owned()),
            ];
            for one in dialled.into_iter().flatten() {
                who = if who.is_empty() { one } else { format!("{who}, {one}") };
            }
            let turns = song.dialled.iter().flat_map(|dialled| &dialled.turns);
            let turns = turns.filter(|turned| !once.contains(turned)).map(|turned| self.turned(turned));
            SongLine {
                place: n + 1,
                song: words::plain(&listed.title),
                tempo: words::plain(&listed.tempo),
                who: words::plain(&who),
                turns: turns.collect(),
                heard: self.heard(song),
                now: song.now.first().map_or_else(String::new, |fault| self.fault(fault)),
            }
        };
        songs.map(line).collect()
    }

    /// What is to be known besides.
    #[must_use]
    pub fn notes(&self) -> Vec<String> {
        let mended = self.mended;
        let mut all = Vec::new();
        let prices = prices(self.evening.catalogue, &mended.wiring);
        if !prices.is_empty() {
            all.push(format!("Prices: {}.", prices.join(", ")));
        }
        let rig = &self.evening.patch.original.rig;
        all.extend(mended.hints.iter().map(|one| format!("{}.", hint(rig, one))));
        if !mended.exact && mended.stopped.is_none() {
            all.push("Not every setting was tried: fewer turns may do.".to_owned());
        }
        match mended.stopped {
            Some(Stopped::Cancelled | Stopped::Limit) => {
                all.push("Stopped before it was done: of what is set there may be less to do.".to_owned());
            }
            Some(Stopped::TooMany) => {
                all.push("There are more sets than can be kept in mind: --keep some paths.".to_owned());
            }
            None => {}
        }
        let slack = mended.songs.iter().flat_map(|song| &song.dialled).filter_map(|song| song.proposal.slack).min();
        if let Some(slack) = slack {
            all.push(format!("At the tightest there are {} ms to spare, whatever the tolerances do.", ms(slack)));
        }
        all.extend(self.max_gap_from.clone());
        all
    }
}

/// The values of a part as its list has them, as said to a colleague: `delay 40 us`; those that come first, where there are many.
fn values(written: &str) -> Option<String> {
    const MOST: usize = 3;
    let table: toml::Table = format!("part = {written}").parse().ok()?;
    let all = table.get("part")?.as_table()?;
    let usual = |value: &toml::Value| match value {
        toml::Value::Table(sheet) => {
            ["typ", "value"].iter().find_map(|key| sheet.get(*key)?.as_str().map(str::to_owned))
        }
        toml::Value::String(text) => Some(text.clone()),
        _ => None,
    };
    let has_figure = |text: &String| text.starts_with(|c: char| c.is_ascii_digit());
    let of = |(key, value): (&String, &toml::Value)| Some(format!("{key} {}", usual(value).filter(has_figure)?));
    let told: Vec<String> = all.iter().filter_map(of).take(MOST).map(|one| words::plain(&one)).collect();
    (!told.is_empty()).then(|| told.join(", "))
}

/// An evening as people read it, in a table of so many columns of a terminal.
#[must_use]
pub fn evening_table(of: &EveningReport<'_>, width: usize) -> String {
    let mut out = format!("{}: {}\n", of.heading(), of.answer());
    let wiring = of.wiring();
    if !wiring.is_empty() {
        out.push_str("\nOnce, before the evening:\n");
        for (n, done) in wiring.iter().enumerate() {
            let _ = writeln!(out, "  {}. {done}", n + 1);
        }
    }
    let lines = of.lines();
    let mut columns = vec![("", Align::Right), ("song", Align::Left), ("tempo", Align::Right)];
    let told = lines.iter().any(|line| !line.who.is_empty());
    if told {
        columns.push(("who", Align::Left));
    }
    columns.extend([("before it", Align::Left), ("what is heard", Align::Left), ("as it is", Align::Left)]);
    let mut table = Table::new(&columns);
    for line in &lines {
        let turns = if line.turns.is_empty() { "—".to_owned() } else { line.turns.join("; ") };
        let now = if line.now.is_empty() { "good".to_owned() } else { line.now.clone() };
        let first = [line.place.to_string(), line.song.clone(), line.tempo.clone()];
        let who = told.then(|| line.who.clone());
        table.row(first.into_iter().chain(who).chain([turns, line.heard.clone(), now]));
    }
    let _ = write!(out, "\n{}", table.render_within(width));
    let notes = of.notes();
    if !notes.is_empty() {
        let _ = writeln!(out, "\n{}", notes.join("\n"));
    }
    if !of.mended.wiring.is_empty() {
        let _ = writeln!(out, "{WIRING}");
    }
    out
}
