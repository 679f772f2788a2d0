//! A grid: the cells of a sweep in their order, the bars that each plays, and all of them one after the other.

use super::render::Cue;
use super::score::{Bars, CueList, Ensemble, Passage, Signpost, Version, excerpt};
use crate::hits::{Hit, list};
use crate::judge::sweep::{Knob, KnobError, LOW_TONE, Value, announce};
use crate::patch::{Meter, Rig, Variant};
use crate::rig::{RigError, play};
use crate::time::{Beat, Instant, Span, Tempo};

/// From the end of a cell to the number of the next, in a file that plays all.
const PAUSE: Span = Span::from_ms(700);
/// How strong the tones of a number are.
const TONE_VELOCITY: u8 = 90;

/// One cell: a setting at a tempo.
#[derive(Clone, Debug)]
pub struct GridCell {
    /// The setting.
    pub value: Value,
    /// At which it is heard.
    pub tempo: Tempo,
    /// What the setting makes of the variant that is turned, by a name for files.
    pub variant: Variant,
}

/// The cells of a sweep, tempo by tempo, each with all settings.
#[derive(Clone, Debug)]
pub struct Grid {
    /// All cells.
    pub cells: Vec<GridCell>,
    /// How many there are of a tempo.
    pub settings: usize,
}

impl GridCell {
    /// What it is called in a file: the setting and the tempo.
    #[must_use]
    pub fn label(&self) -> String {
        format!("{} at {}", self.value.words(), self.tempo)
    }
}

impl Grid {
    /// Turns a knob of a variant to every setting at every tempo.
    ///
    /// # Errors
    /// As [`Knob::at`].
    pub fn new(variant: &Variant, knob: Knob, settings: &[Value], tempos: &[Tempo]) -> Result<Self, KnobError> {
        let mut cells = Vec::new();
        for &tempo in tempos {
            for &value in settings {
                let rig = knob.at(&variant.rig, value, tempo)?;
                let name = format!("{}.{}+{}", variant.name, knob.name(&variant.rig), value.name());
                cells.push(GridCell { value, tempo, variant: Variant { name, about: None, rig } });
            }
        }
        Ok(Self { cells, settings: settings.len() })
    }

    /// The numbers of the cells that are played: all, or at each tempo those up to the first of which `last` says that it is the
    /// last.
    #[must_use]
    pub fn played(&self, last: impl Fn(usize) -> bool) -> Vec<usize> {
        let mut ended = false;
        let plays = |n: &usize| {
            ended &= !n.is_multiple_of(self.settings);
            let plays = !ended;
            ended |= last(*n);
            plays
        };
        (0..self.cells.len()).filter(plays).collect()
    }

    /// Some cells by their numbers, tempo by tempo.
    pub fn rows<'k>(&self, cells: &'k [usize]) -> impl Iterator<Item = &'k [usize]> {
        cells.chunk_by(|a, b| a / self.settings == b / self.settings)
    }
}

/// A few bars of a rig at a tempo, as an ensemble plays them: what is due in them. Where a hit comes before the first bar line,
/// all comes so much later: the earliest has the lead-in before it. The rig has the voices of the ensemble's first.
///
/// # Errors
/// As [`play`].
pub fn excerpt_of(rig: &Rig, tempo: Tempo, meter: Meter, ensemble: &Ensemble) -> Result<Passage, RigError> {
    let performance = play(rig, tempo)?;
    let clockwork = rig.clockwork(tempo);
    let bars = Bars::new(meter, &clockwork);
    let hits = list(rig, &performance);
    let from = bars.begin(&[Version { rig, performance: &performance, hits: &hits }]);
    let to = (from + excerpt(meter, tempo)).min(rig.end);
    let heard = || hits.iter().filter(|h| (from..to).contains(&bars.home(h)));
    let zero = heard().map(|h| h.at).min().map_or(clockwork.instant(from), |at| at.min(clockwork.instant(from)));
    let mut sheet = CueList::new(ensemble);
    heard().for_each(|hit| sheet.add(0, rig, hit, Instant((hit.at - zero).0), 1.0));
    let lines = Signpost::bars(meter, &clockwork, (from, to));
    let signposts = lines.iter().map(|line| line.later(Instant::START - zero)).collect();
    Ok(Passage { cues: sheet.finish(), end: Instant((clockwork.instant(to) - zero).0), signposts })
}

/// Passages one after the other, each with its name and its factor, and after its number in tones; where its first bar begins,
/// its name is marked. The tones are those of the announcer, the
/// second rig of the ensemble.
#[must_use]
pub fn parade(ensemble: &Ensemble, announcer: &Rig, cells: &[(&Passage, f64, String)]) -> Passage {
    let mut sheet = CueList::new(ensemble);
    let mut cues: Vec<Cue> = Vec::new();
    let mut signposts = Vec::new();
    let mut now = Instant::START;
    for (n, (cell, gain, label)) in cells.iter().enumerate() {
        let (tones, begins) = announce(n + 1, now);
        for (at, low) in tones {
            let voice = announcer.sequencers[if low { LOW_TONE } else { 1 - LOW_TONE }].voice;
            let beat = Beat::from_integer(0);
            let velocity = TONE_VELOCITY;
            let hit = Hit { at, beat, due: beat, sequencer: 0, step: 1, velocity, level_mdb: 0, voice };
            sheet.add(1, announcer, &hit, at, 1.0);
        }
        let later = Span(begins.0);
        cues.extend(cell.cues.iter().map(|c| Cue { at: c.at + later, ..c.scaled(*gain as f32) }));
        let first = cell.signposts.first().map_or(Instant::START, |bar| bar.at);
        signposts.push(Signpost { at: first + later, label: label.clone() });
        now = cell.end + later + PAUSE;
    }
    cues.extend(sheet.finish());
    Passage { cues, end: now, signposts: Signpost::few(signposts, 1) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::patch::{Asked, Patch};

    fn grid(settings: &str, tempos: &str) -> Grid {
        let text = format!(
            "tempos = [{tempos}]\nbars = 1\n[clock.beats]\nrate = \"1 per beat\"\n\
             [sequencer.ox]\nclock = \"beats\"\nsteps = \"x\"\nvoice = \"kick\"\n"
        );
        let patch = Patch::parse(&text, &Asked::default()).unwrap_or_else(|f| panic!("{}", f.render("", &text, false)));
        let knob = Knob::parse(&patch.original.rig, "sequencer.ox.clock").expect("a path");
        let values = crate::judge::sweep::values(settings, false).expect("times");
        Grid::new(&patch.original, knob, &values, &patch.tempos).expect("delays")
    }

    /// Three settings at two tempos: each row ends after the first cell that is said to be the last of it, the rows go on apart.
    #[test]
    fn a_row_ends_with_its_first_last_cell() {
        let grid = grid("0ms,1ms,2ms", "60, 120");
        let names: Vec<String> = grid.cells.iter().map(|c| format!("{}@{}", c.variant.name, c.tempo)).collect();
        assert_eq!(names[1], "original.ox-clock+1ms@60");
        assert_eq!(names[3], "original.ox-clock+0ms@120");
        assert_eq!(grid.played(|_| false), [0, 1, 2, 3, 4, 5]);
        assert_eq!(grid.played(|n| n != 3), [0, 3, 4]);
        assert_eq!(grid.played(|n| n == 1 || n == 2), [0, 1, 3, 4, 5]);
        let played = grid.played(|n| n == 1);
        assert_eq!(grid.rows(&played).collect::<Vec<_>>(), [&[0, 1][..], &[3, 4, 5]]);
    }
}
