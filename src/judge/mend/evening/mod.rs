//! An evening of songs: one wiring for all of them, and for each song what is dialled.
//!
//! Parts and cables stay as they are between songs; nudges, dials and settings may be set anew. What is asked: the wiring of the
//! fewest changes with which every song has some setting that does, and settings of which the fewest are turned from song to song.

mod list;
mod settings;
mod turns;
mod wiring;

pub use list::{ListedSong, listed_songs};

use super::bench::Bench;
use super::catalogue::Catalogue;
use super::change::{Change, Dial};
use super::examine::{Examined, Scope};
use super::fault::Fault;
use super::hint::{Hint, hints};
use super::proposal::{Asked, Proposal, propose};
use super::search::Stopped;
use super::set::Set;
use super::watch::Watch;
use crate::judge::advise::Aim;
use crate::patch::{Patch, Rig, Timing, Width};
use crate::time::{Span, Tempo};
use num_rational::Ratio;
use settings::{Offsets, Places, Setting, choices, offset, offsets, settings};
use std::collections::BTreeSet;
use turns::{Choice, fewest_turns};
use wiring::{Searches, is_wiring, wirings};

/// A song as it is to be played.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SongAsked {
    /// At which tempos.
    pub tempos: Vec<Tempo>,
    /// Which players are to be heard.
    pub plays: Vec<bool>,
    /// Which of the patches stands for it, with its fixes dialled and its tempo map.
    pub standing: usize,
}

/// What is asked.
#[derive(Clone, Copy, Debug)]
pub struct Evening<'a> {
    /// The patch as it is written.
    pub patch: &'a Patch,
    /// The patch as it stands for songs; they differ in no way and no part.
    pub standing: &'a [Patch],
    /// What could be done to it.
    pub catalogue: &'a Catalogue,
    /// What is good enough.
    pub aim: Aim,
    /// In their order.
    pub songs: &'a [SongAsked],
    /// The most changes at once, the wiring's among them.
    pub budget: usize,
}

/// What is dialled for a song.
#[derive(Clone, Debug, PartialEq)]
pub struct ForSong {
    /// What stands otherwise than in the patch, as offers of the catalogue; the wiring left out.
    pub dials: Vec<usize>,
    /// What has to be turned before it, after the song before.
    pub turns: Vec<Turned>,
    /// All of it as a fix, with what is left at each tempo.
    pub proposal: Proposal,
}

/// A dial that is turned between two songs.
#[derive(Clone, Debug, PartialEq)]
pub struct Turned {
    /// To where.
    pub change: Change,
    /// Where it is a nudge, the offset that is set.
    pub offset: Option<Span>,
    /// Whether that is where it stands without any mending.
    pub back: bool,
}

impl Turned {
    /// Whether both turn one dial, wherever to.
    #[must_use]
    pub fn is_of_one_dial(&self, other: &Self) -> bool {
        match (&self.change, &other.change) {
            (Change::Turn { output: a, to: to_a }, Change::Turn { output: b, to: to_b }) => {
                a == b && std::mem::discriminant(to_a) == std::mem::discriminant(to_b)
            }
            (Change::Set { path: a, .. }, Change::Set { path: b, .. }) => a == b,
            (Change::Nudge { player: a }, Change::Nudge { player: b }) => a == b,
            _ => false,
        }
    }
}

/// What becomes of a song.
#[derive(Clone, Debug)]
pub struct SongMended {
    /// What stands in its way with the patch as it is; empty where nothing need be done for it.
    pub now: Vec<Fault>,
    /// What is dialled; `None` where the song is left out.
    pub dialled: Option<ForSong>,
    /// Of a song that is left out: what comes nearest with the wiring, and what still stands in its way.
    pub nearest: Option<(Vec<usize>, Vec<Fault>)>,
    /// Whether some wiring would serve it, if not this one.
    pub alone: bool,
    /// Whether it was searched to an end; else of one that is left out nobody knows what would serve it.
    pub searched: bool,
}

/// What was found.
#[derive(Clone, Debug)]
pub struct EveningMended {
    /// What is put in and plugged once, as offers of the catalogue.
    pub wiring: Vec<usize>,
    /// Each song.
    pub songs: Vec<SongMended>,
    /// How many dials are turned between songs.
    pub turns: usize,
    /// How many wirings do as well.
    pub alike: usize,
    /// What would help songs that are left out, if its user allowed it.
    pub hints: Vec<Hint>,
    /// How many wirings were tried.
    pub tried: usize,
    /// Whether every setting was tried that is put together from what the songs need.
    pub exact: bool,
    /// Why it ended early, if it did.
    pub stopped: Option<Stopped>,
}

/// Songs that ask the same.
#[derive(Clone, Debug)]
struct Kind {
    standing: usize,
    scope: Scope,
    songs: Vec<usize>,
}

fn kinds(evening: &Evening<'_>, tempos: &[Tempo]) -> Vec<Kind> {
    let mut all: Vec<Kind> = Vec::new();
    for (n, song) in evening.songs.iter().enumerate() {
        let mut places: Vec<usize> =
            song.tempos.iter().filter_map(|tempo| tempos.iter().position(|own| own == tempo)).collect();
        // Where anything fails it mostly does so at an end: the last one is looked at second.
        if places.len() > 2
            && let Some(last) = places.pop()
        {
            places.insert(1, last);
        }
        let scope = Scope { tempos: places, plays: song.plays.clone() };
        match all.iter_mut().find(|kind| kind.standing == song.standing && kind.scope == scope) {
            Some(kind) => kind.songs.push(n),
            None => all.push(Kind { standing: song.standing, scope, songs: vec![n] }),
        }
    }
    all
}

/// Finds one wiring for all songs, and what is dialled for each.
#[must_use]
pub fn mend_evening(evening: &Evening<'_>, watch: &Watch<'_>) -> EveningMended {
    let mut tempos: Vec<Tempo> = Vec::new();
    for tempo in evening.songs.iter().flat_map(|song| &song.tempos) {
        if !tempos.contains(tempo) {
            tempos.push(*tempo);
        }
    }
    let benches: Vec<Bench<'_>> =
        evening.standing.iter().map(|patch| Bench::new(patch, evening.catalogue, evening.aim, &tempos)).collect();
    let kinds = kinds(evening, &tempos);
    let mut searches = Searches::new(&benches, &kinds, evening.budget, watch);
    let found = wirings(&mut searches);
    let mut best: Option<Plan> = None;
    for served in &found.best {
        let plan = Plan::new(evening, (&benches, &kinds), &mut searches, (&served.wiring, &served.left_out));
        let better = best.as_ref().is_none_or(|best| plan.worth() < best.worth());
        if better {
            best = Some(plan);
        }
    }
    let stopped = found.stopped.or(searches.stopped);
    let now: Vec<Vec<Fault>> = kinds
        .iter()
        .map(|kind| {
            let examined = benches[kind.standing].examine(&[], &kind.scope);
            examined.faults.into_iter().map(|(fault, _)| fault).collect()
        })
        .collect();
    // Where nothing was found before it was stopped, the wiring as it is does for those songs that need nothing.
    let best = best.unwrap_or_else(|| {
        let needy: Vec<usize> = (0..kinds.len()).filter(|kind| !now[*kind].is_empty()).collect();
        Plan::new(evening, (&benches, &kinds), &mut searches, (&Set::new(), &needy))
    });
    let whole = |set: &Set| set.iter().map(|n| usize::from(*n)).collect::<Vec<_>>();
    let mut songs: Vec<SongMended> = evening.songs.iter().map(|_| SongMended::unknown()).collect();
    let mut told: Vec<Hint> = Vec::new();
    for (n, (kind, now)) in kinds.iter().zip(&now).enumerate() {
        let is_left = kind.songs.iter().all(|song| best.songs[*song].is_none());
        let nearest = is_left.then(|| searches.nearest(n, &best.wiring));
        let alone = !is_left || searches.can(n);
        let searched = !is_left || searches.is_done(n, &best.wiring);
        let nearest = nearest.filter(|_| searched);
        if is_left && searched {
            let tempos: Vec<Tempo> = kind.scope.tempos.iter().map(|n| tempos[*n]).collect();
            let patch = &evening.standing[kind.standing];
            for hint in hints(patch, evening.catalogue, &evening.aim, (&tempos, &kind.scope.plays)) {
                if !told.iter().any(|own| own.is_of_one(&hint)) {
                    told.push(hint);
                }
            }
        }
        for &song in &kind.songs {
            songs[song].now.clone_from(now);
            songs[song].nearest = nearest.as_ref().map(|(set, faults)| (whole(set), faults.clone()));
            (songs[song].alone, songs[song].searched) = (alone, searched);
        }
    }
    let Plan { wiring, turns, exact, songs: dialled, .. } = best;
    for (song, dialled) in songs.iter_mut().zip(dialled) {
        song.dialled = dialled;
    }
    let (alike, wiring) = (found.best.len().max(1), whole(&wiring));
    let exact = exact && !found.best.is_empty() && stopped.is_none();
    EveningMended { wiring, songs, turns, alike, hints: told, tried: found.tried, exact, stopped }
}

impl SongMended {
    const fn unknown() -> Self {
        Self { now: Vec::new(), dialled: None, nearest: None, alone: false, searched: false }
    }
}

/// The songs with one wiring.
struct Plan {
    wiring: Set,
    songs: Vec<Option<ForSong>>,
    turns: usize,
    exact: bool,
}

impl Plan {
    /// What comes first: fewer turns, then less to set before the first song, then more to spare.
    fn worth(&self) -> (usize, usize, usize, i64) {
        let told = self.songs.iter().flatten();
        let before = told.clone().next().map_or(0, |first| first.turns.len());
        let slack = told.filter_map(|song| song.proposal.slack).min().map_or(i64::MAX, |slack| slack.0);
        (self.songs.iter().filter(|song| song.is_none()).count(), self.turns, before, -slack)
    }

    fn new(
        evening: &Evening<'_>,
        (benches, kinds): (&[Bench<'_>], &[Kind]),
        searches: &mut Searches<'_, '_>,
        (wiring, left_out): (&Set, &[usize]),
    ) -> Self {
        let least: Vec<Vec<Set>> = (0..kinds.len())
            .map(|kind| if left_out.contains(&kind) { Vec::new() } else { searches.least(kind, wiring) })
            .collect();
        let is_dial = |n: &u16| !is_wiring(evening.catalogue.offers[usize::from(*n)].change.kind());
        let needed: BTreeSet<u16> = least.iter().flatten().flatten().copied().filter(is_dial).collect();
        let (mut places, mut exact) = (Places::default(), true);
        let (mut passing, mut needed_offsets) = (Vec::new(), Offsets::new());
        for (kind, least) in kinds.iter().zip(&least) {
            let bench = &benches[kind.standing];
            let (own, is_whole) = settings(bench, (wiring, &kind.scope), (least, &needed), evening.budget);
            exact &= is_whole;
            offsets(bench, &own, &mut needed_offsets);
            passing.push(own);
        }
        let rig = &evening.patch.original.rig;
        let of = |(kind, passing): (&Kind, &Vec<(Set, Examined)>)| {
            choices(&benches[kind.standing], (rig, &needed), (passing, &needed_offsets), &mut places)
        };
        let mut all: Vec<Vec<Setting>> = kinds.iter().zip(&passing).map(of).collect();
        // A setting that passes here and of which no patch can be written is none.
        loop {
            let of: Vec<Vec<Choice>> =
                all.iter().map(|all| all.iter().map(|setting| setting.choice.clone()).collect()).collect();
            let mut songs: Vec<(usize, &[Choice])> = vec![(0, &[]); evening.songs.len()];
            for (n, kind) in kinds.iter().enumerate() {
                kind.songs.iter().for_each(|song| songs[*song] = (n, &of[n]));
            }
            let slices: Vec<&[Choice]> = songs.iter().map(|(_, choices)| *choices).collect();
            let (turns, chosen) = fewest_turns(&slices);
            match written(evening, wiring, &songs.iter().map(|(n, _)| *n).collect::<Vec<_>>(), (&all, &chosen)) {
                Ok(songs) => return Self { wiring: wiring.clone(), songs, turns, exact },
                Err((kind, n)) => {
                    all[kind].remove(n);
                }
            }
        }
    }
}

/// Writes and judges what is chosen for each song.
///
/// # Errors
/// The kind of song and its setting that is no patch or does not pass after all.
fn written(
    evening: &Evening<'_>,
    wiring: &Set,
    kinds: &[usize],
    (all, chosen): (&[Vec<Setting>], &[Option<usize>]),
) -> Result<Vec<Option<ForSong>>, (usize, usize)> {
    let mut songs: Vec<Option<ForSong>> = Vec::new();
    let mut before: Option<(&Setting, &Rig)> = None;
    for ((song, &kind), chosen) in evening.songs.iter().zip(kinds).zip(chosen) {
        let Some(n) = *chosen else {
            songs.push(None);
            continue;
        };
        let setting = &all[kind][n];
        let patch = &evening.standing[song.standing];
        let asked =
            Asked { patch, catalogue: evening.catalogue, aim: evening.aim, tempos: &song.tempos, plays: &song.plays };
        let proposal = propose(&asked, &setting.set, &setting.nudges).map_err(|_| (kind, n))?;
        let rig = &patch.original.rig;
        let turns = turned(evening, before, (setting, rig));
        before = Some((setting, rig));
        let dials = setting.set.iter().filter(|n| !wiring.contains(n)).map(|n| usize::from(*n)).collect();
        songs.push(Some(ForSong { dials, turns, proposal }));
    }
    Ok(songs)
}

/// What is turned from one setting to the next: to where the next has it, or back to where it stands for that song without one.
fn turned(evening: &Evening<'_>, before: Option<(&Setting, &Rig)>, (now, rig): (&Setting, &Rig)) -> Vec<Turned> {
    let offers = &evening.catalogue.offers;
    let nothing = Vec::new();
    let stood = before.map_or(&nothing, |(setting, _)| &setting.choice.dials);
    let at = |all: &[(u32, u32)], dial: u32| all.iter().find(|(own, _)| *own == dial).map(|(_, at)| *at);
    let mut dials: Vec<u32> = stood.iter().chain(&now.choice.dials).map(|(dial, _)| *dial).collect();
    dials.sort_unstable();
    dials.dedup();
    let mut all = Vec::new();
    for dial in dials.into_iter().filter(|dial| at(stood, *dial) != at(&now.choice.dials, *dial)) {
        let of = |n: &&u16| offers[usize::from(**n)].slot == dial as usize;
        let own = now.set.iter().find(of);
        let change = match own {
            Some(n) => offers[usize::from(*n)].change.clone(),
            None => {
                let Some(any) = offers.iter().find(|offer| offer.slot == dial as usize) else { continue };
                stands(rig, &any.change)
            }
        };
        let offset = match &change {
            Change::Nudge { player } => {
                let set = now.nudges.iter().find(|(own, _)| own == player).map(|(_, by)| *by);
                Some(set.unwrap_or_else(|| offset(rig, *player)))
            }
            _ => None,
        };
        all.push(Turned { change, offset, back: own.is_none() });
    }
    all
}

/// A dial as a rig has it, as a change to that.
fn stands(rig: &Rig, change: &Change) -> Change {
    let whole = |exact: &Ratio<i128>| i64::try_from(exact.round().to_integer()).map_or(Span::ZERO, Span);
    match change {
        Change::Turn { output, to } => {
            let own = &rig.outputs[*output];
            let to = match (to, &own.timing, &own.width) {
                (Dial::Phase(_), Timing::Rate { phase, .. }, _) => Dial::Phase(*phase),
                (Dial::Width(_), _, Width::Time(time)) => Dial::Width(whole(time)),
                (Dial::Shift(_), ..) => Dial::Shift(whole(&own.shift)),
                (other, ..) => *other,
            };
            Change::Turn { output: *output, to }
        }
        other => other.clone(),
    }
}
