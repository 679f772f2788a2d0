//! A grid of settings by tempos: a file for each cell, one that plays all, their figures, and a page.

use super::comparison::page_source;
use super::{Destination, ExportError, FileSpec, OutputFolder, SoundSettings, is_of};
use crate::judge::sweep::{ANNOUNCER, Knob, Value};
use crate::judge::{Bodies, Gap, Judged};
use crate::patch::{Asked, Meter, Patch, Variant};
use crate::rig::Run;
use crate::show::page::{listening_page, over_budget};
use crate::show::report::{SweepCell, sweep_csv};
use crate::show::scene::{GridRow, grid_page, page_voices};
use crate::show::workload::{
    CUE_BYTES, HIT_BYTES, MOST_SETTINGS, TooMuch, Workload, few_enough, few_enough_settings, hits,
};
use crate::sound::comparison::{LoudnessMatch, MatchedGain};
use crate::sound::grid::{Grid, GridCell, excerpt_of, parade};
use crate::sound::render::{Bank, Channels, Gain, Info, Program};
use crate::sound::score::{Ensemble, Passage, Seating, excerpt};
use crate::source::Loaded;
use crate::store::{Kind, sha256_hex};
use crate::time::Beat;
use rayon::prelude::*;
use std::path::PathBuf;

/// What is asked for of a grid.
#[derive(Clone, Copy, Debug)]
pub struct GridAsked<'a> {
    /// The patch, at whose tempos.
    pub loaded: &'a Loaded,
    /// The variant that is turned.
    pub variant: &'a Variant,
    /// What of it is turned.
    pub knob: Knob,
    /// To which settings.
    pub settings: &'a [Value],
    /// Whether a tempo's row ends with the first gap that is too wide.
    pub until_over: bool,
    /// Whether a page is written too.
    pub page: bool,
    /// Whether cells that are there, whole and made of the same, are kept.
    pub resume: bool,
    /// Whether what earlier runs left is removed.
    pub tidy: bool,
}

/// A grid, judged, and the numbers of the cells that are played.
#[derive(Debug)]
pub struct ChosenCells<'a> {
    grid: &'a Grid,
    verdicts: &'a [Judged<'a>],
    kept: Vec<usize>,
}

impl GridAsked<'_> {
    /// Refuses a grid that is too much for the disk or the memory.
    ///
    /// # Errors
    /// [`TooMuch`], with the figure and the bound.
    pub fn work(&self) -> Result<(), TooMuch> {
        let (rig, meter, tempos) = (&self.variant.rig, self.loaded.patch.meter, &self.loaded.patch.tempos);
        let (settings, count) = (self.settings.len(), self.settings.len() * tempos.len());
        let mut work = Workload::default();
        work.files(count);
        work.judged(rig, count);
        if self.page {
            work.versions(tempos.len() * (1 + settings.min(MOST_SETTINGS)));
        }
        work.fits("`sweep`")?;
        few_enough(rig, tempos, "each cell of `sweep`")?;
        for &tempo in tempos {
            let found = hits(rig, tempo)?;
            let (heard, whole) = (excerpt(meter, tempo) + meter.bar(), rig.end);
            // Of each cell a few bars: its own cues, those that are mixed, and its place among all cells.
            let few = (heard < whole).then(|| (Beat::from_integer(found as i128) * heard / whole).ceil().to_integer());
            work.kept(few.map_or(found, |n| n.unsigned_abs()) * settings as u128, 3 * CUE_BYTES);
            if self.page {
                work.kept(found * settings.min(MOST_SETTINGS) as u128, HIT_BYTES);
            }
            work.played(found * settings as u128);
        }
        work.fits("`sweep`")
    }

    /// The verdict of each cell.
    ///
    /// # Errors
    /// [`ExportError`], if an instant does not fit.
    pub fn verdicts<'g>(&self, grid: &'g Grid) -> Result<Vec<Judged<'g>>, ExportError> {
        let mut bodies = Bodies::default();
        let patch = &self.loaded.patch;
        let all = grid.cells.par_iter().map(|c| Judged::new(&c.variant, c.tempo, patch, Run::Typical));
        let all: Vec<Judged<'_>> = all.collect::<Result<_, _>>()?;
        all.into_iter().map(|j| Ok(bodies.add(j)?)).collect()
    }

    /// The cells that are played: at each tempo all settings, or all up to the first with a gap that is too wide.
    ///
    /// # Errors
    /// [`TooMuch`], if they are too many for the page that is asked for.
    pub fn chosen<'g>(&self, grid: &'g Grid, verdicts: &'g [Judged<'g>]) -> Result<ChosenCells<'g>, TooMuch> {
        // A box that is off the one is apart by beats, which is no flam that grows: that does not end a row.
        let over = |j: &Judged<'_>| {
            let worst = j.verdict.worst_gap().and_then(Gap::worst);
            worst.is_some_and(|worst| worst > self.loaded.patch.max_gap) && j.verdict.standings.iter().all(|s| s.right)
        };
        let kept = grid.played(|n| self.until_over && over(&verdicts[n]));
        if self.page {
            few_enough_settings(grid.rows(&kept).map(<[usize]>::len).max().unwrap_or(0))?;
        }
        Ok(ChosenCells { grid, verdicts, kept })
    }
}

impl<'a> ChosenCells<'a> {
    /// The cells that are played, in their order.
    fn cells(&self) -> impl Iterator<Item = &'a GridCell> {
        self.kept.iter().map(|&at| &self.grid.cells[at])
    }

    /// What is to be said of them, by the names of their files.
    #[must_use]
    pub fn rows(&self, names: &[String]) -> Vec<SweepCell<'a>> {
        let row = |(n, &at): (usize, &usize)| SweepCell {
            number: n + 1,
            value: self.grid.cells[at].value,
            judged: &self.verdicts[at],
            file: Some(names[n].clone()),
        };
        self.kept.iter().enumerate().map(row).collect()
    }
}

/// What was written, as it may be shown; cells by their bare names.
#[derive(Debug)]
pub struct GridFiles {
    /// A file a cell, in their order.
    pub cells: Vec<String>,
    /// All of them in order.
    pub parade: String,
    /// The figures of all.
    pub figures: String,
    /// The page, if one was asked for.
    pub page: Option<String>,
    /// Where the page lies.
    pub page_path: Option<PathBuf>,
    /// Where the file of all cells lies.
    pub parade_path: PathBuf,
}

/// Writes a file for each cell, one that plays them in order, their figures, and a page if that is asked for. `what` says what
/// is turned.
///
/// # Errors
/// [`ExportError`] for what cannot be rendered, and for the folder and its files.
pub fn grid_files(
    asked: &GridAsked<'_>,
    played: &ChosenCells<'_>,
    what: &str,
    to: &Destination,
) -> Result<GridFiles, ExportError> {
    let (&GridAsked { loaded, variant, knob, .. }, sound) = (asked, &to.sound);
    let announcer = Patch::parse(ANNOUNCER, &Asked::default()).map_err(|e| ExportError::Refused(e.to_string()))?;
    let announcer = &announcer.original.rig;
    let meter = loaded.patch.meter;
    // All cells have the voices of the patch; the tones come after them.
    let ensemble = Ensemble::new(&[&variant.rig, announcer], Seating::Centre, sound.seed)?;
    let bank = sound.bank(&ensemble)?;
    let stem = format!("{}.{}.{}", loaded.stem()?, variant.name, knob.name(&variant.rig));
    let cells: Vec<&GridCell> = played.cells().collect();
    let heard = |c: &&GridCell| excerpt_of(&c.variant.rig, c.tempo, meter, &ensemble);
    let passages: Vec<Passage> = cells.par_iter().map(heard).collect::<Result<_, _>>()?;
    let own = loaded.stem()?;
    let names: Vec<String> = cells.iter().map(|c| format!("{own}.{}.{}bpm.wav", c.variant.name, c.tempo)).collect();
    let (all_cells, figures) = (format!("{stem}.parade.wav"), format!("{stem}.sweep.csv"));
    let page = asked.page.then(|| format!("{stem}.html"));
    let all = names.iter().chain([&all_cells, &figures]).chain(&page);
    let folder = OutputFolder::open(to, &all.cloned().collect::<Vec<_>>())?;
    // Each cell is as loud as the variant itself at its tempo, with nothing turned: so that nothing but time tells cells
    // apart, and a cell's file does not depend on which others are made.
    let mut programs: Vec<Program<'_>> = Vec::new();
    let mut levels: Vec<LoudnessMatch> = Vec::new();
    for row in played.grid.rows(&played.kept) {
        let tempo = played.grid.cells[row[0]].tempo;
        let unturned = excerpt_of(&variant.rig, tempo, meter, &ensemble)?;
        let of_tempo = passages[programs.len()..][..row.len()].iter().map(|p| sized(p, &bank, sound));
        let of_tempo: Vec<Program<'_>> = of_tempo.collect::<Result<_, _>>()?;
        let unturned = sized(&unturned, &bank, sound)?;
        levels.push(folder.counted(|watch| LoudnessMatch::measure(&unturned, &of_tempo, watch))?);
        programs.extend(of_tempo);
    }
    let gains: Vec<MatchedGain> = levels.iter().flat_map(|l| l.fixes.iter().copied()).collect();
    for (name, gain) in names.iter().zip(&gains) {
        if let Some(db) = gain.short_db() {
            folder.say(&format!("note: {name} is {db:.1} dB quieter than the other cells, or it would clip"));
        }
    }
    let even = passages.iter().zip(&gains).zip(&cells).map(|((p, gain), cell)| (p, gain.matched, cell.label()));
    let even: Vec<(&Passage, f64, String)> = even.collect();
    let whole = sized(&parade(&ensemble, announcer, &even), &bank, sound)?;
    folder.expect(programs.iter().map(|p| 4 * p.frames()).sum::<u64>() + 2 * whole.frames());
    let patch = loaded.origin();
    let job = |n: usize| {
        let (name, of) = (names[n].clone(), (&patch, cells[n].variant.name.as_str()));
        let file = FileSpec::of_variant(name, Kind::Cell, "sweep", of, Some(cells[n].tempo));
        let file = FileSpec { title: loaded.patch.title.clone(), ..file };
        (file, &programs[n], Gain::Fixed(gains[n].alone))
    };
    let jobs: Vec<_> = (0..cells.len()).map(job).collect();
    let recipe = |n: usize| {
        let file: &FileSpec = &jobs[n].0;
        recipe(cells[n], variant, meter, (sound, &file.info(sound.seed)))
    };
    let recipes: Vec<String> = (0..cells.len()).into_par_iter().map(recipe).collect();
    // The last core to be done with the cells goes on with the file that holds them all.
    let all = FileSpec::of_variant(all_cells.clone(), Kind::Parade, "sweep", (&patch, &variant.name), None);
    let all = FileSpec { title: loaded.patch.title.clone(), ..all };
    let (made, all_of_them) = rayon::join(
        || folder.render_all(&jobs, &recipes, asked.resume),
        || folder.finish(&all, &whole, Gain::Auto, None),
    );
    let made = made.inspect_err(|failure| {
        if matches!(failure, ExportError::Interrupted(_)) {
            folder.say("Cells that are done are kept: the same command with --resume goes on from there.");
        }
    })?;
    if made.len() < cells.len() {
        folder.say(&format!("{} of {} cells were there already, whole", cells.len() - made.len(), cells.len()));
    }
    made.iter().for_each(|&n| folder.wrote(&names[n]));
    folder.place(all_of_them?.0, &all_cells)?;
    let mut table = Vec::new();
    sweep_csv(&played.rows(&names), &mut table).map_err(ExportError::Sink)?;
    folder.write_bytes(Kind::Figures, &figures, &table, "sweep", Some(patch.clone()), None)?;
    if let Some(page) = &page {
        let text = page_of(asked, what, played, (sound, &folder), &levels)?;
        folder.write_bytes(Kind::Page, page, text.as_bytes(), "sweep", Some(patch.clone()), None)?;
    }
    let all: Vec<String> = names.iter().chain([&all_cells, &figures]).chain(&page).cloned().collect();
    // Another knob, or another variant, is another grid.
    let same = |name: &str| name.strip_prefix(&stem).is_some_and(|rest| rest.starts_with(['+', '.']));
    folder.tidy(asked.tidy, &all, |entry| is_of(entry, "sweep", &loaded.name, None) && same(&entry.file))?;
    let files = GridFiles {
        parade: folder.shown(&all_cells),
        figures: folder.shown(&figures),
        page_path: page.as_ref().map(|page| folder.path(page)),
        page: page.map(|page| folder.shown(&page)),
        parade_path: folder.path(&all_cells),
        cells: names,
    };
    folder.done();
    Ok(files)
}

fn sized<'a>(passage: &Passage, bank: &'a Bank, sound: &SoundSettings) -> Result<Program<'a>, ExportError> {
    let program = passage.program(bank, sound.lead_in)?;
    sound.fits(&program, Channels::Mono)?;
    Ok(program)
}

/// The text of the listening page: the cells that were made, row by row.
fn page_of(
    asked: &GridAsked<'_>,
    what: &str,
    played: &ChosenCells<'_>,
    (sound, folder): (&SoundSettings, &OutputFolder),
    levels: &[LoudnessMatch],
) -> Result<String, ExportError> {
    let &GridAsked { loaded, variant, .. } = asked;
    let unturned = loaded.patch.tempos.iter().map(|&t| Judged::new(variant, t, &loaded.patch, Run::Typical));
    let unturned: Vec<Judged<'_>> = unturned.collect::<Result<_, _>>()?;
    let (grid, verdicts) = (played.grid, played.verdicts);
    let row = |((kept, levels), unturned): ((&[usize], &LoudnessMatch), _)| GridRow {
        tempo: grid.cells[kept[0]].tempo,
        cells: kept.iter().map(|&at| (grid.cells[at].value, &grid.cells[at].variant.rig, &verdicts[at])).collect(),
        ended: kept.len() < grid.settings,
        unturned,
        gains: levels.together(),
    };
    let rows: Vec<GridRow<'_>> = grid.rows(&played.kept).zip(levels).zip(&unturned).map(row).collect();
    let ensemble = Ensemble::new(&[&variant.rig], Seating::Centre, sound.seed)?;
    let page =
        grid_page(&page_source(loaded, &loaded.stem()?, &page_voices(&ensemble)), &ensemble, (variant, what), &rows)?;
    let text = listening_page(&page);
    let leave_out = "tempos with `--tempo`, settings with a larger step, length with `--bars`";
    if let Some(words) = over_budget(text.len(), leave_out) {
        folder.say(&format!("note: {words}"));
    }
    Ok(text)
}

/// A checksum of everything that a cell's bytes depend on: what it plays, what it is as loud as, how it is written, what it says of itself, and
/// the program. Rigs are told by their `Debug`, which leaves nothing out and is the same everywhere.
fn recipe(cell: &GridCell, unturned: &Variant, meter: Meter, (sound, info): (&SoundSettings, &Info)) -> String {
    let written = (sound.sample_rate, sound.bits, sound.seed, sound.lead_in);
    let all = (env!("CARGO_PKG_VERSION"), &cell.variant.rig, cell.tempo, &unturned.rig, meter, written, info);
    sha256_hex(format!("{all:?}").as_bytes())
}
