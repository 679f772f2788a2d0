//! How much there is to be judged, heard and shown, added up and bounded before any of it is begun: so that nobody waits for days
//! or runs out of memory without a word.

use super::scene::TEMPOS_BESIDE;
use crate::judge::Verdict;
use crate::judge::advise::Outlook;
use crate::judge::runs::to_play;
use crate::patch::{Patch, Rig, Variant};
use crate::rig::{MOST_PULSES, RigError, pulses};
use crate::sound::render::Spec;
use crate::time::{Instant, PS_PER_SECOND, Span, Tempo};
use std::ops::Range;

/// Why something is not begun: there is more of it than a bound allows.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{found}")]
pub struct TooMuch {
    found: String,
    help: &'static str,
}

impl TooMuch {
    fn new(found: String, help: &'static str) -> Self {
        Self { found, help }
    }

    /// What to do, for after `help: `.
    #[must_use]
    pub const fn help(&self) -> &'static str {
        self.help
    }
}

impl From<RigError> for TooMuch {
    fn from(error: RigError) -> Self {
        Self::new(error.to_string(), error.help())
    }
}

/// The most pulses of a piece that is looked at from many sides, such as for advice or a picture: each side plays it anew or
/// keeps what it saw. Twelve hours of two sequencers in sixteenths at 120 are 700,000.
const MOST_LOOKED_AT: u128 = 1_000_000;
/// The most pulses of all runs together: at ten million a second, more than a day on one core.
const MOST_DRAWN: u128 = 1_000_000_000_000;

/// The most pulses that are played for one advice, all delays, components and tempos that have to be tried together: minutes on two cores.
pub const MOST_TRIED: u128 = 2_000_000_000;

/// Refuses advice that would take too long.
///
/// # Errors
/// [`TooMuch`], with the figure and the bound.
pub fn few_enough_tries(outlook: Outlook) -> Result<(), TooMuch> {
    let Outlook { tries, pulses } = outlook;
    if pulses > MOST_TRIED {
        let found = format!(
            "`advise` would try {tries} delays, components and tempos, {pulses} pulses in all, and at most {MOST_TRIED} are played"
        );
        return Err(TooMuch::new(found, "ask for fewer bars, tempos or settings, or a narrower --between"));
    }
    Ok(())
}

/// Refuses a piece that is too long for `what`, a command or an option.
///
/// # Errors
/// [`TooMuch`], with the figure and the bound.
pub fn few_enough(rig: &Rig, tempos: &[Tempo], what: &str) -> Result<(), TooMuch> {
    for &tempo in tempos {
        let found = pulses(rig, tempo)?;
        if found > MOST_LOOKED_AT {
            let found =
                format!("{what} would look at {found} pulses at {tempo}, and at most {MOST_LOOKED_AT} are looked at");
            return Err(TooMuch::new(found, "ask for fewer bars: what repeats says no more the second time"));
        }
    }
    Ok(())
}

/// Refuses runs that would take days; runs that are all alike are played once.
///
/// # Errors
/// [`TooMuch`], with the figure and the bound.
pub fn few_enough_runs<'r>(cells: impl Iterator<Item = (&'r Rig, Tempo)>, runs: u64) -> Result<(), TooMuch> {
    let mut all: u128 = 0;
    for (rig, tempo) in cells {
        let found = pulses(rig, tempo)?;
        all = all.saturating_add(found.saturating_mul(u128::from(to_play(rig, runs))));
    }
    if all > MOST_DRAWN {
        let found = format!("{runs} runs of all variants and tempos are {all} pulses, and at most {MOST_DRAWN}");
        return Err(TooMuch::new(found, "ask for fewer runs, bars, variants or tempos"));
    }
    Ok(())
}

/// The most files of one command.
const MOST_FILES: u128 = 10_000;
/// The most bytes of sound of one command: more than a disk of a terabyte holds.
const MOST_WRITTEN: u128 = 1_000_000_000_000;
/// The most megabytes that the results of one command may take in memory.
const MOST_MEGABYTES: u128 = 1_500;

/// What a sequencer, a pair or a stage takes in a judged cell, as a row of JSON or of a table in the making. Measured, rounded up.
const FIGURE_BYTES: u128 = 500;
/// What a version at a tempo takes on a listening page: its pictures for wide and narrow screens, as they are drawn and on their
/// way into the page, which stands in memory thrice. Measured, rounded up.
const PAGE_CELL_BYTES: u128 = 60_000;
/// What a hit takes that was played: see [`Sound`](crate::rig::Sound).
pub const PLAYED_BYTES: u128 = 32;
/// What a hit takes in a list: see [`Hit`](crate::hits::Hit).
const LISTED_BYTES: u128 = 112;
/// What a hit takes that is to be heard: see [`Cue`](crate::sound::render::Cue).
pub const CUE_BYTES: u128 = 24;
/// What a place takes that is marked in a file, with its label; as it is found and as it is written.
const MARK_BYTES: u128 = 100;
/// What a hit takes that was played and listed.
pub const HIT_BYTES: u128 = PLAYED_BYTES + LISTED_BYTES;

/// What a hit takes of a fix that is held against the original: played and listed, as a cue in its own file, as one of two in the
/// alternation (the original's is the other), each as they are kept and as they are mixed; and in the page. Counted from their sizes.
const COMPARED_BYTES: u128 = HIT_BYTES + 7 * CUE_BYTES + 100;

/// The most settings of one page: a browser mixes all of a tempo before it plays, and holds them: 50 loops of 20 s are 400 MB.
pub const MOST_SETTINGS: usize = 50;

/// Refuses a page of more settings than a browser takes well.
///
/// # Errors
/// [`TooMuch`], with the number and the bound.
pub fn few_enough_settings(settings: usize) -> Result<(), TooMuch> {
    if settings <= MOST_SETTINGS {
        return Ok(());
    }
    let found = format!("a page of {settings} settings is more than a browser takes well: at most {MOST_SETTINGS}");
    Err(TooMuch::new(found, "a larger step, or the files alone: leave --page out"))
}

/// What a stretch takes in which a box is off: see [`Off`](crate::judge::Off).
const OFF_BYTES: u128 = 112;

/// What a command is about to make, added up before any of it is begun. Whatever is a product of what may be asked for (variants
/// by tempos by pairs, settings by tempos, fixes by hits) comes through here.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Workload {
    files: u128,
    written: u128,
    /// Cells in which something is judged, and what is said of them.
    cells: u128,
    figures: u128,
    hits: u128,
    /// Versions on a listening page, at each tempo.
    versions: u128,
    marks: u128,
    memory: u128,
    played: u128,
}

impl Workload {
    /// So many files.
    pub fn files(&mut self, count: usize) {
        self.files = self.files.saturating_add(count as u128);
    }

    /// Files of sound, each so many times as long as a piece.
    pub fn sound(&mut self, lead_in: Span, end: Instant, times: usize, (sample_rate, spec): (u32, &Spec)) {
        let ps = u128::from((lead_in.0.saturating_add(end.0)).max(0).unsigned_abs());
        let frames = ps * u128::from(sample_rate) / u128::from(PS_PER_SECOND.unsigned_abs());
        let bytes = frames * u128::from(spec.frame_bytes());
        self.written = self.written.saturating_add(bytes.saturating_mul(times as u128));
    }

    /// A rig that is judged in so many cells, all of them kept: a figure for each who plays, each two of them, and each stage.
    pub fn judged(&mut self, rig: &Rig, cells: usize) {
        let (players, cells) = (rig.players() as u128, cells as u128);
        let figures = (players + players * players.saturating_sub(1) / 2 + rig.stages.len() as u128) * cells;
        self.cells = self.cells.saturating_add(cells);
        self.figures = self.figures.saturating_add(figures);
        self.memory = self.memory.saturating_add(figures.saturating_mul(FIGURE_BYTES));
    }

    /// So many hits that are kept, each taking so many bytes.
    pub fn kept(&mut self, hits: u128, bytes: u128) {
        self.hits = self.hits.saturating_add(hits);
        self.memory = self.memory.saturating_add(hits.saturating_mul(bytes));
    }

    /// So many places that are marked in files.
    pub fn marks(&mut self, count: usize) {
        self.marks = self.marks.saturating_add(count as u128);
        self.memory = self.memory.saturating_add((count as u128).saturating_mul(MARK_BYTES));
    }

    /// So many versions on a listening page, each at each tempo.
    pub fn versions(&mut self, count: usize) {
        self.versions = self.versions.saturating_add(count as u128);
        self.memory = self.memory.saturating_add((count as u128).saturating_mul(PAGE_CELL_BYTES));
    }

    /// So many pulses that are played.
    pub fn played(&mut self, pulses: u128) {
        self.played = self.played.saturating_add(pulses);
    }

    /// Fixes that are held against the original at every tempo, with or without a page; refuses what is too much of it.
    ///
    /// # Errors
    /// As [`Workload::fits`].
    pub fn compared(&mut self, patch: &Patch, fixes: &[Variant], page: bool, what: &str) -> Result<(), TooMuch> {
        let tempos = &patch.tempos;
        let all = || std::iter::once(&patch.original).chain(fixes);
        let drawn_at = if page { tempos.len() + TEMPOS_BESIDE } else { 0 };
        all().for_each(|v| self.judged(&v.rig, tempos.len() + drawn_at));
        if page {
            self.versions(tempos.len() * all().count());
        }
        // What is many by its number alone is not looked at one by one.
        self.fits(what)?;
        for &tempo in tempos {
            for variant in all() {
                let found = hits(&variant.rig, tempo)?;
                self.played(found);
                self.kept(found, COMPARED_BYTES);
            }
        }
        self.fits(what)
    }

    /// Variants that are judged at every tempo, with or without pictures; says how many hits each cell may have, variant by
    /// variant and tempo by tempo, and refuses what is too much of it.
    ///
    /// # Errors
    /// As [`Workload::fits`].
    pub fn checked(&mut self, variants: &[Variant], tempos: &[Tempo], drawn: bool) -> Result<Vec<u128>, TooMuch> {
        let drawn_at = if drawn { tempos.len() + TEMPOS_BESIDE } else { 0 };
        variants.iter().for_each(|v| self.judged(&v.rig, tempos.len() + drawn_at));
        // What is many by its number alone is not looked at one by one.
        self.fits("`check`")?;
        let mut all = Vec::new();
        for variant in variants {
            for &tempo in tempos {
                let found = hits(&variant.rig, tempo)?;
                self.played(found);
                if !variant.rig.course.is_steady() {
                    // Where it is off, pulse by pulse.
                    self.kept(found, OFF_BYTES);
                }
                all.push(found);
            }
        }
        self.fits("`check`")?;
        Ok(all)
    }

    /// Refuses what is more than one command makes.
    ///
    /// # Errors
    /// [`TooMuch`], with the figure and the bound.
    pub fn fits(&self, what: &str) -> Result<(), TooMuch> {
        let refuse = |found: String, help: &'static str| Err(TooMuch::new(found, help));
        if self.files > MOST_FILES {
            let found =
                format!("{what} would write {} files, and at most {MOST_FILES} are written at once", self.files);
            return refuse(found, "ask for fewer tempos, settings, fixes or stems at once");
        }
        if self.written > MOST_WRITTEN {
            let found =
                format!("{what} would write {} bytes of sound, and at most {MOST_WRITTEN} at once", self.written);
            return refuse(found, "ask for fewer bars, tempos, settings or fixes, or a lower sample rate");
        }
        if self.played > MOST_DRAWN {
            let found = format!("{what} would play {} pulses, and at most {MOST_DRAWN} at once", self.played);
            return refuse(found, "ask for fewer bars, variants or tempos");
        }
        // Rounded up, so that what is refused is seen to be over.
        let megabytes = self.memory.div_ceil(1_000_000);
        if megabytes > MOST_MEGABYTES {
            let things = [
                (self.figures, format!("{} figures of {} variants at a tempo", self.figures, self.cells)),
                (self.hits, format!("{} hits", self.hits)),
                (self.versions, format!("{} versions at a tempo on the page", self.versions)),
                (self.marks, format!("{} marks in files", self.marks)),
            ];
            let things: Vec<String> = things.into_iter().filter(|(n, _)| *n > 0).map(|(_, said)| said).collect();
            let found = format!(
                "{what} would keep {}, some {megabytes} MB, and at most {MOST_MEGABYTES} MB are kept in memory",
                things.join(", ")
            );
            return refuse(found, "ask for fewer bars, tempos, settings or variants at once");
        }
        Ok(())
    }
}

/// How many hits a rig may play at a tempo: a pulse that comes to an input plays one at most.
///
/// # Errors
/// [`TooMuch`], if an instant does not fit.
pub fn hits(rig: &Rig, tempo: Tempo) -> Result<u128, TooMuch> {
    let found = pulses(rig, tempo)?;
    let taken: usize = rig.takes.iter().map(|take| take.recording.hits.len()).sum();
    Ok(found.saturating_add(taken as u128))
}

/// Refuses runs whose gaps would take days to count: where many hits share a due beat, they are a product of hits.
///
/// # Errors
/// [`TooMuch`], with the figure and the bound.
pub fn few_enough_gaps<'v>(verdicts: impl Iterator<Item = &'v Verdict>, runs: u64) -> Result<(), TooMuch> {
    let gaps = verdicts.flat_map(|v| &v.gaps).fold(0_u128, |all, gap| all.saturating_add(gap.paired as u128));
    let all = gaps.saturating_mul(u128::from(runs));
    if all > MOST_DRAWN {
        let found = format!("{runs} runs have {all} gaps between hits, and at most {MOST_DRAWN} are counted");
        return Err(TooMuch::new(found, "ask for fewer runs, bars, variants or tempos"));
    }
    Ok(())
}

/// Cells in groups that are played side by side: so many that the hits of a group fit into memory together.
pub fn side_by_side(hits: &[u128]) -> Vec<Range<usize>> {
    let mut groups: Vec<Range<usize>> = Vec::new();
    let mut room = 0;
    for (n, &found) in hits.iter().enumerate() {
        match groups.last_mut().filter(|_| found <= room) {
            Some(group) => group.end = n + 1,
            None => {
                groups.push(n..n + 1);
                room = MOST_PULSES;
            }
        }
        room = room.saturating_sub(found);
    }
    groups
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn told(work: &Workload) -> String {
        work.fits("`it`").map_or_else(|refused| refused.to_string(), |()| "fits".to_owned())
    }

    #[test]
    fn a_bound_itself_is_within() {
        let mut work = Workload::default();
        work.files(10_000);
        work.played(MOST_DRAWN);
        work.kept(1_500, 1_000_000);
        assert_eq!(told(&work), "fits");
        let more = |add: fn(&mut Workload)| {
            let mut more = work;
            add(&mut more);
            told(&more)
        };
        assert!(more(|w| w.files(1)).contains("`it` would write 10001 files, and at most 10000"));
        assert!(more(|w| w.played(1)).contains("would play 1000000000001 pulses, and at most 1000000000000"));
        assert!(more(|w| w.kept(1, 1)).contains("1501 hits, some 1501 MB, and at most 1500 MB"));
        // What no number holds is over every bound.
        assert!(more(|w| w.kept(u128::MAX, u128::MAX)).contains("at most 1500 MB"));
    }

    proptest! {
        /// Every cell has its turn, in order, and no group is over what is played at once but for a single cell.
        #[test]
        fn groups_are_all_cells_in_order(hits in proptest::collection::vec(0_u128..60_000_000, 0..40)) {
            let groups = side_by_side(&hits);
            let all: Vec<usize> = groups.iter().cloned().flatten().collect();
            prop_assert_eq!(all, (0..hits.len()).collect::<Vec<_>>());
            for group in &groups {
                prop_assert!(group.len() == 1 || hits[group.clone()].iter().sum::<u128>() <= MOST_PULSES);
            }
            // And none could have been put to the one before.
            for pair in groups.windows(2) {
                prop_assert!(hits[pair[0].start..=pair[1].start].iter().sum::<u128>() > MOST_PULSES);
            }
        }
    }
}
