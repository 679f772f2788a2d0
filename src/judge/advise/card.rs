use super::{Advice, AtTempo, Window, dialled};
use crate::time::{Span, Tempo};

/// One song of a set: a title and a tempo.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Song {
    /// As the user wrote it; empty for a tempo alone.
    pub title: String,
    /// The tempo at which it is played throughout.
    pub tempo: Tempo,
}

impl Song {
    /// A song without a title at each tempo.
    #[must_use]
    pub fn untitled(tempos: &[Tempo]) -> Vec<Self> {
        tempos.iter().map(|&tempo| Self { title: String::new(), tempo }).collect()
    }
}

/// How many steps a dial has on a card, unless something else is said.
pub const CARD_STEPS: u32 = 100;

/// The tempos of songs, no two equal, in their order.
#[must_use]
pub fn tempos_of(songs: &[Song]) -> Vec<Tempo> {
    let mut tempos: Vec<Tempo> = Vec::new();
    for song in songs {
        if !tempos.contains(&song.tempo) {
            tempos.push(song.tempo);
        }
    }
    tempos
}

/// A card for the stage: what to dial for each song.
#[derive(Clone, Debug, PartialEq)]
pub struct Card {
    /// A row a song, in their order.
    pub rows: Vec<CardRow>,
    /// The one setting that serves all.
    pub all: Option<Pick>,
}

/// What to do for one song.
#[derive(Clone, Debug, PartialEq)]
pub struct CardRow {
    /// Which song it is.
    pub song: Song,
    /// What to set; `None` if nothing does it for sure.
    pub pick: Option<Pick>,
    /// The delays that would do.
    pub windows: Vec<Window>,
}

/// What somebody sets: steps of a dial, or a delay.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pick {
    /// A step of the dial, the first and the last step beside it that do too, and the delay that it gives.
    Step {
        /// The step to dial, from 0: the middle of those that do.
        step: u32,
        /// The first of the steps in a row that do.
        from: u32,
        /// The last of the steps in a row that do.
        to: u32,
        /// What it amounts to; nothing where tempos differ.
        delay: Option<Span>,
    },
    /// A delay, where there is no dial.
    Delay(Span),
}

/// The card for some songs, whose tempos the advice knows.
#[must_use]
pub fn card(advice: &Advice, songs: &[Song]) -> Card {
    let steps = advice.dial.as_ref().map(|(steps, _)| *steps);
    let at = |song: &Song| advice.tempos.iter().find(|t| t.tempo == song.tempo);
    let row = |song: &Song| {
        let known = at(song);
        let windows = known.map(|t| t.sure.clone()).unwrap_or_default();
        CardRow { song: song.clone(), pick: known.and_then(|t| pick(t, &windows, steps)), windows }
    };
    let all = match &advice.dial {
        // The step that is nearest the middle at the tempo with the least choice.
        Some((steps, fits)) => {
            let narrowest = advice.tempos.iter().min_by_key(|t| t.settings(*steps).0.len());
            let middle = narrowest.and_then(|t| Some((t.period?, widest(&t.sure)?.middle())));
            middle.and_then(|(period, middle)| step_near(fits, |s| dialled(period, s, *steps), middle, false))
        }
        None => widest(&advice.sure).map(|w| Pick::Delay(w.middle())),
    };
    Card { rows: songs.iter().map(row).collect(), all }
}

fn pick(at: &AtTempo, windows: &[Window], steps: Option<u32>) -> Option<Pick> {
    let middle = widest(windows)?.middle();
    match (steps, at.period) {
        (Some(steps), Some(period)) => {
            let fits = at.settings(steps).0;
            step_near(&fits, |s| dialled(period, s, steps), middle, true)
        }
        _ => Some(Pick::Delay(middle)),
    }
}

fn widest(windows: &[Window]) -> Option<Window> {
    windows.iter().copied().max_by_key(|w| w.most.0 - w.least.0)
}

/// Of the steps that fit the one whose delay is nearest to `middle` by ratio; `tell` says whether the delay is told.
fn step_near(fits: &[u32], delay: impl Fn(u32) -> Option<Span>, middle: Span, tell: bool) -> Option<Pick> {
    let off = |step: u32| {
        let delay = delay(step).map_or(f64::INFINITY, |d| d.0.max(1) as f64);
        libm::fabs(libm::log(delay / middle.0.max(1) as f64))
    };
    let step = fits.iter().copied().min_by(|a, b| off(*a).total_cmp(&off(*b)))?;
    let run = |up: bool| {
        let mut at = step;
        while let Some(next) = (if up { at.checked_add(1) } else { at.checked_sub(1) }).filter(|n| fits.contains(n)) {
            at = next;
        }
        at
    };
    Some(Pick::Step { step, from: run(false), to: run(true), delay: if tell { delay(step) } else { None } })
}
