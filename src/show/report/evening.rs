//! An evening of songs, as people read it: what is put in once, and a line a song.

use super::mend::{and, change_of, fault_of, plural};
use super::{Align, Table, WIRING, gap_ms, ms, words};
use crate::judge::Band;
use crate::judge::mend::{Evening, EveningMended, Fault, ListedSong, SongMended, Stopped, Turned};
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
        let left: Vec<&str> = self
            .listed
            .iter()
            .zip(&mended.songs)
            .filter(|(_, song)| song.dialled.is_none())
            .map(|(song, _)| song.title.as_str())
            .collect();
        let songs = plural(count, "song");
        let served = match (left.len(), mended.wiring.is_empty()) {
            (0, true) => format!("the wiring as it is serves all of {songs}"),
            (0, false) => format!("one wiring serves all of {songs}"),
            (n, _) if n == count => "no wiring serves any song".to_owned(),
            (n, _) => format!("no one wiring serves all; this one serves {} of {songs}", count - n),
        };
        let fewest = if mended.exact && mended.stopped.is_none() { ", and no fewer will do" } else { "" };
        let turns = match mended.turns {
            0 => "Between songs nothing is turned".to_owned(),
            1 => format!("Between songs 1 dial is turned{fewest}"),
            n => format!("Between songs {n} dials are turned{fewest}"),
        };
        let turns = if left.len() == count { String::new() } else { format!(" {turns}.") };
        let names: Vec<String> = left.iter().map(|name| words::plain(name)).collect();
        let names: Vec<&str> = names.iter().map(String::as_str).collect();
        let way = if left.is_empty() { String::new() } else { format!(" In the way: {}.", and(&names)) };
        format!("{served}.{turns}{way}")
    }

    /// What is put in and plugged once, each thing as said to a colleague.
    #[must_use]
    pub fn wiring(&self) -> Vec<String> {
        let Evening { patch, catalogue, .. } = self.evening;
        let of = |n: &usize| change_of(&patch.original.rig, catalogue, &catalogue.offers[*n].change, None);
        self.mended.wiring.iter().map(of).collect()
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
                format!("{band}: at most {size} ms, {} and {}", rig.player_name(a), rig.player_name(b))
            }
        }
    }

    /// A line a song.
    #[must_use]
    pub fn lines(&self) -> Vec<SongLine> {
        let songs = self.listed.iter().zip(&self.mended.songs).enumerate();
        let line = |(n, (listed, song)): (usize, (&ListedSong, &SongMended))| {
            let names: Vec<&str> = listed.boxes.iter().map(String::as_str).collect();
            let mut who = if names.is_empty() { String::new() } else { format!("{} alone", and(&names)) };
            let dialled = [
                listed.fixes.as_ref().map(|fix| format!("with {fix}")),
                listed.tempo_map.as_ref().map(|_| "with a tempo map of its own".to_owned()),
            ];
            for one in dialled.into_iter().flatten() {
                who = if who.is_empty() { one } else { format!("{who}, {one}") };
            }
            let turns = song.dialled.iter().flat_map(|dialled| &dialled.turns).map(|turned| self.turned(turned));
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
        if mended.alike > 1 {
            all.push(format!(
                "{} wirings do with as little; this one has the fewest turns, or the most to spare.",
                mended.alike
            ));
        }
        if !mended.exact {
            all.push("There are more settings than are tried: fewer turns may do.".to_owned());
        }
        match mended.stopped {
            Some(Stopped::Cancelled | Stopped::Limit) => {
                all.push("Stopped before it was done: there may be less to do.".to_owned());
            }
            Some(Stopped::TooMany) => {
                all.push("There are more sets than can be kept in mind: --keep some paths.".to_owned())
            }
            None => {}
        }
        let slack = mended.songs.iter().flat_map(|song| &song.dialled).filter_map(|song| song.proposal.slack).min();
        if let Some(slack) = slack {
            all.push(format!(
                "The tightest decision of the evening may still move by {} ms, over all tolerances and with the skew kept.",
                ms(slack)
            ));
        }
        all.extend(self.max_gap_from.clone());
        all
    }
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
    if !wiring.is_empty() {
        let _ = writeln!(out, "{WIRING}");
    }
    out
}
