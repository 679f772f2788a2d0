use super::args::{Format, JudgeArgs, OpenArgs, PatchArgs, SoundArgs, TidyArgs};
use super::check::judged;
use super::compare::source;
use super::load::{Loaded, load};
use super::opener::Made;
use super::output_folder::{FileSpec, OutputFolder, bank, fits, origin};
use super::stale::is_of;
use super::work::{CUE_BYTES, HIT_BYTES, Work, hits};
use super::{CARE_SHORT, Failure, Outcome, terminal};
use crate::judge::Gap;
use crate::judge::sweep::{ANNOUNCER, Knob, Value, values};
use crate::judge::{Bodies, Judged, which};
use crate::patch::{Asked, Meter, ORIGINAL, Patch, Variant};
use crate::rig::{RigError, Run};
use crate::show::page::{listening_page, over_budget};
use crate::show::report::{SweepCell, plain, sweep_csv, sweep_json, sweep_table};
use crate::show::scene::{GridRow, grid_page};
use crate::sound::comparison::{LoudnessMatch, MatchedGain};
use crate::sound::grid::{Grid, GridCell, excerpt_of, parade};
use crate::sound::render::{Bank, Channels, Gain, Program};
use crate::sound::score::{Ensemble, Passage, Seating, excerpt};
use crate::store::{Kind, sha256_hex};
use crate::time::Beat;
use clap::Args;
use rayon::prelude::*;

/// The most settings of one page: a browser mixes all of a tempo before it plays, and holds them: 50 loops of 20 s are 400 MB.
const MOST_SETTINGS: usize = 50;

#[derive(Args, Debug)]
#[command(group(clap::ArgGroup::new("settings").required(true).args(["delay", "phase"])))]
pub(super) struct SweepArgs {
    #[command(flatten)]
    patch: PatchArgs,
    #[command(flatten)]
    judge: JudgeArgs,
    /// What is turned: sequencer.NAME.clock or sequencer.NAME.reset for what comes to an input, clock.NAME for an output; parts may be
    /// left out where only one can be meant
    #[arg(long, value_name = "PATH")]
    on: String,
    /// Delays: 0ms..30ms:1ms, or a list with commas
    #[arg(long, value_name = "TIMES", allow_hyphen_values = true)]
    delay: Option<String>,
    /// Shares of the period: 0%..5%:0.5%, or a list with commas
    #[arg(long, value_name = "SHARES", allow_hyphen_values = true)]
    phase: Option<String>,
    /// The variant that is turned: a fix, or several joined by +
    #[arg(long, value_name = "NAME", default_value = ORIGINAL)]
    fix: String,
    /// At each tempo, stop after the first cell that has everybody on the one and a gap over the max gap
    #[arg(long)]
    until_over: bool,
    /// Write a listening page too: up to 50 settings side by side in a browser, at every tempo, in one file
    #[arg(long)]
    page: bool,
    /// Go on with a grid that was interrupted: cells that are there, whole and made of the same, are not made again
    #[arg(long)]
    resume: bool,
    /// How to print the result
    #[arg(long, value_enum, default_value = "table")]
    format: Format,
    #[command(flatten)]
    open: OpenArgs,
    #[command(flatten)]
    tidy: TidyArgs,
    #[command(flatten)]
    sound: SoundArgs,
}

/// A grid, judged, and the numbers of the cells that are played.
struct ChosenCells<'a> {
    grid: &'a Grid,
    verdicts: &'a [Judged<'a>],
    kept: Vec<usize>,
}

pub(super) fn run(args: &SweepArgs) -> Result<Outcome, Failure> {
    let loaded = load(&args.patch, args.judge.max_gap)?;
    let variant = loaded.variant(&args.fix)?;
    let knob = which::knob(&variant.rig, &args.on)?;
    let (text, phase) = match (&args.delay, &args.phase) {
        (Some(delay), _) => (delay, false),
        (None, Some(phase)) => (phase, true),
        (None, None) => return Err(Failure::input("there are no settings", "give --delay or --phase")),
    };
    let settings = values(text, phase).map_err(|e| Failure::input(&e, e.help()))?;
    work(args, &loaded, &variant, &settings)?;
    let tempos = &loaded.patch.tempos;
    let grid = Grid::new(&variant, knob, &settings, tempos).map_err(|e| Failure::input(&e, e.help()))?;
    let verdicts = verdicts(&loaded, &grid)?;
    // All that is played: at each tempo all settings, or all up to the first with a gap that is too wide. A box that is off
    // the one is apart by beats, which is no flam that grows: that does not end a row.
    let over = |j: &Judged<'_>| {
        let worst = j.verdict.worst_gap().and_then(Gap::worst);
        worst.is_some_and(|worst| worst > loaded.patch.max_gap) && j.verdict.standings.iter().all(|s| s.right)
    };
    let kept = grid.played(|n| args.until_over && over(&verdicts[n]));
    if args.page {
        few_enough(grid.rows(&kept).map(<[usize]>::len).max().unwrap_or(0))?;
    }
    let on = knob.path(&variant.rig);
    let what = format!("{} of {on}", if phase { "share of the period" } else { "delay" });
    let played = ChosenCells { grid: &grid, verdicts: &verdicts, kept };
    let names = write(args, &loaded, &variant, (knob, &what), &played)?;
    let rows = played.rows(&names.cells);
    let title = loaded.patch.title.clone().unwrap_or_else(|| loaded.name.clone());
    terminal::result(|out| match args.format {
        Format::Table => {
            let what = format!("{}{what}, {}", if phase { "a " } else { "" }, variant.name);
            out.write_all(sweep_table(&title, &what, &rows, loaded.patch.max_gap, terminal::width()).as_bytes())?;
            let dir = plain(&args.sound.out.display().to_string());
            if let Some(page) = &names.page {
                writeln!(out, "\nOpen first {page}, in any browser: all settings side by side.")?;
            }
            writeln!(out, "\nListen to {}: every cell in order, each after its number in tones.", names.parade)?;
            writeln!(out, "The figures are in {}, the {} cells in {dir}.", names.figures, rows.len())?;
            writeln!(out, "{CARE_SHORT}")
        }
        Format::Json => {
            let of = (loaded.name.as_str(), variant.name.as_str(), on.as_str());
            terminal::json(out, &sweep_json(of, &rows, names.page.as_deref()))
        }
        Format::Csv => sweep_csv(&rows, out),
    })?;
    names.made.open(&args.open);
    Ok(Outcome::Done)
}

/// Refuses a grid that is too much for the disk or the memory.
///
/// # Errors
/// Exit status 2, with the figure and the bound.
fn work(args: &SweepArgs, loaded: &Loaded, variant: &Variant, settings: &[Value]) -> Result<(), Failure> {
    let (rig, meter, tempos) = (&variant.rig, loaded.patch.meter, &loaded.patch.tempos);
    let (settings, count) = (settings.len(), settings.len() * tempos.len());
    let mut work = Work::default();
    work.files(count);
    work.judged(rig, count);
    if args.page {
        work.versions(tempos.len() * (1 + settings.min(MOST_SETTINGS)));
    }
    work.fits("`sweep`")?;
    super::work::few_enough(rig, tempos, "each cell of `sweep`")?;
    for &tempo in tempos {
        let found = hits(rig, tempo)?;
        let (heard, whole) = (excerpt(meter, tempo) + meter.bar(), rig.end);
        // Of each cell a few bars: its own cues, those that are mixed, and its place among all cells.
        let few = (heard < whole).then(|| (Beat::from_integer(found as i128) * heard / whole).ceil().to_integer());
        work.kept(few.map_or(found, |n| n.unsigned_abs()) * settings as u128, 3 * CUE_BYTES);
        if args.page {
            work.kept(found * settings.min(MOST_SETTINGS) as u128, HIT_BYTES);
        }
        work.played(found * settings as u128);
    }
    Ok(work.fits("`sweep`")?)
}

/// Refuses a page of more settings than a browser takes well.
///
/// # Errors
/// Exit status 2, with the number and the bound.
pub(super) fn few_enough(settings: usize) -> Result<(), Failure> {
    if settings <= MOST_SETTINGS {
        return Ok(());
    }
    let found = format!("a page of {settings} settings is more than a browser takes well: at most {MOST_SETTINGS}");
    Err(Failure::input(found, "a larger step, or the files alone: leave --page out"))
}

fn verdicts<'a>(loaded: &Loaded, grid: &'a Grid) -> Result<Vec<Judged<'a>>, Failure> {
    let mut bodies = Bodies::default();
    let all = grid.cells.par_iter().map(|c| judged(&c.variant, c.tempo, &loaded.patch, Run::Typical));
    let all: Vec<Judged<'_>> = all.collect::<Result<_, _>>()?;
    all.into_iter().map(|j| Ok(bodies.add(j)?)).collect()
}

impl<'a> ChosenCells<'a> {
    /// The cells that are played, in their order.
    fn cells(&self) -> impl Iterator<Item = &'a GridCell> {
        self.kept.iter().map(|&at| &self.grid.cells[at])
    }

    /// What is to be said of them, by the names of their files.
    fn rows(&self, names: &[String]) -> Vec<SweepCell<'a>> {
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
struct Names {
    cells: Vec<String>,
    parade: String,
    figures: String,
    page: Option<String>,
    made: Made,
}

fn write(
    args: &SweepArgs,
    loaded: &Loaded,
    variant: &Variant,
    (knob, what): (Knob, &str),
    played: &ChosenCells<'_>,
) -> Result<Names, Failure> {
    let announcer = Patch::parse(ANNOUNCER, &Asked::default()).map_err(|e| Failure::Input(format!("error: {e}")))?;
    let announcer = &announcer.original.rig;
    let meter = loaded.patch.meter;
    // All cells have the voices of the patch; the tones come after them.
    let ensemble = Ensemble::new(&[&variant.rig, announcer], Seating::Centre, args.sound.seed)?;
    let bank = bank(&args.sound, &ensemble)?;
    let stem = format!("{}.{}.{}", loaded.stem()?, variant.name, knob.name(&variant.rig));
    let cells: Vec<&GridCell> = played.cells().collect();
    let refused = |e: RigError| Failure::input(&e, e.help());
    let heard = |c: &&GridCell| excerpt_of(&c.variant.rig, c.tempo, meter, &ensemble).map_err(refused);
    let passages: Vec<Passage> = cells.par_iter().map(heard).collect::<Result<_, _>>()?;
    let own = loaded.stem()?;
    let names: Vec<String> = cells.iter().map(|c| format!("{own}.{}.{}bpm.wav", c.variant.name, c.tempo)).collect();
    let (all_cells, figures) = (format!("{stem}.parade.wav"), format!("{stem}.sweep.csv"));
    let page = args.page.then(|| format!("{stem}.html"));
    let all = names.iter().chain([&all_cells, &figures]).chain(&page);
    let folder = OutputFolder::open(&args.sound, &all.cloned().collect::<Vec<_>>())?;
    // Each cell is as loud as the variant itself at its tempo, with nothing turned: so that nothing but time tells cells
    // apart, and a cell's file does not depend on which others are made.
    let mut programs: Vec<Program<'_>> = Vec::new();
    let mut levels: Vec<LoudnessMatch> = Vec::new();
    for row in played.grid.rows(&played.kept) {
        let tempo = played.grid.cells[row[0]].tempo;
        let unturned = excerpt_of(&variant.rig, tempo, meter, &ensemble).map_err(refused)?;
        let of_tempo = passages[programs.len()..][..row.len()].iter().map(|p| sized(p, &bank, &args.sound));
        let of_tempo: Vec<Program<'_>> = of_tempo.collect::<Result<_, _>>()?;
        let unturned = sized(&unturned, &bank, &args.sound)?;
        levels.push(folder.counted(|watch| LoudnessMatch::measure(&unturned, &of_tempo, watch))?);
        programs.extend(of_tempo);
    }
    let gains: Vec<MatchedGain> = levels.iter().flat_map(|l| l.fixes.iter().copied()).collect();
    for (name, gain) in names.iter().zip(&gains) {
        if let Some(db) = gain.short_db() {
            terminal::say(&format!("note: {name} is {db:.1} dB quieter than the other cells, or it would clip"));
        }
    }
    let even: Vec<(&Passage, f64)> = passages.iter().zip(&gains).map(|(p, gain)| (p, gain.matched)).collect();
    let whole = sized(&parade(&ensemble, announcer, &even), &bank, &args.sound)?;
    folder.expect(programs.iter().map(|p| 4 * p.frames()).sum::<u64>() + 2 * whole.frames());
    let patch = origin(loaded);
    let job = |n: usize| {
        let (name, of) = (names[n].clone(), (&patch, cells[n].variant.name.as_str()));
        let file = FileSpec::of_variant(name, Kind::Cell, "sweep", of, Some(cells[n].tempo));
        (file, &programs[n], Gain::Fixed(gains[n].alone))
    };
    let jobs: Vec<_> = (0..cells.len()).map(job).collect();
    let recipes: Vec<String> = cells.par_iter().map(|cell| recipe(cell, variant, meter, &args.sound)).collect();
    // The last core to be done with the cells goes on with the file that holds them all.
    let all = FileSpec::of_variant(all_cells.clone(), Kind::Parade, "sweep", (&patch, &variant.name), None);
    let (made, all_of_them) = rayon::join(
        || folder.render_all(&jobs, &recipes, args.resume),
        || folder.finish(&all, &whole, Gain::Auto, None),
    );
    let made = made.inspect_err(|failure| {
        if matches!(failure, Failure::Interrupted) {
            terminal::say("Cells that are done are kept: the same command with --resume goes on from there.");
        }
    })?;
    if made.len() < cells.len() {
        terminal::say(&format!("{} of {} cells were there already, whole", cells.len() - made.len(), cells.len()));
    }
    made.iter().for_each(|&n| folder.wrote(&names[n]));
    folder.place(all_of_them?.0, &all_cells)?;
    let mut table = Vec::new();
    sweep_csv(&played.rows(&names), &mut table)?;
    folder.write_bytes(Kind::Figures, &figures, &table, "sweep", Some(patch.clone()), None)?;
    if let Some(page) = &page {
        let text = page_of(args, loaded, (variant, what), played, &levels)?;
        folder.write_bytes(Kind::Page, page, text.as_bytes(), "sweep", Some(patch.clone()), None)?;
    }
    let made = Made {
        page: page.as_ref().map(|name| folder.path(name)),
        sound: Some(folder.path(&all_cells)),
        for_a_page: "--page makes one",
        for_a_sound: "there is no cell",
    };
    let all: Vec<String> = names.iter().chain([&all_cells, &figures]).chain(&page).cloned().collect();
    // Another knob, or another variant, is another grid.
    let same = |name: &str| name.strip_prefix(&stem).is_some_and(|rest| rest.starts_with(['+', '.']));
    folder.tidy(args.tidy, &all, |entry| is_of(entry, "sweep", &loaded.name, None) && same(&entry.file))?;
    let page = page.map(|page| folder.shown(&page));
    let shown = Names { parade: folder.shown(&all_cells), figures: folder.shown(&figures), page, made, cells: names };
    folder.done();
    Ok(shown)
}

fn sized<'a>(passage: &Passage, bank: &'a Bank, sound: &SoundArgs) -> Result<Program<'a>, Failure> {
    let program = passage.program(bank, sound.lead_in)?;
    fits(&program, sound, Channels::Mono)?;
    Ok(program)
}

/// The text of the listening page: the cells that were made, row by row.
fn page_of(
    args: &SweepArgs,
    loaded: &Loaded,
    of: (&Variant, &str),
    played: &ChosenCells<'_>,
    levels: &[LoudnessMatch],
) -> Result<String, Failure> {
    let unturned = loaded.patch.tempos.iter().map(|&t| judged(of.0, t, &loaded.patch, Run::Typical));
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
    let ensemble = Ensemble::new(&[&of.0.rig], Seating::Centre, args.sound.seed)?;
    let page = grid_page(&source(loaded, &loaded.stem()?), &ensemble, of, &rows);
    let text = listening_page(&page.map_err(|e| Failure::input(&e, e.help()))?);
    let leave_out = "tempos with `--tempo`, settings with a larger step, length with `--bars`";
    if let Some(words) = over_budget(text.len(), leave_out) {
        terminal::say(&format!("note: {words}"));
    }
    Ok(text)
}

/// A checksum of everything that a cell's bytes depend on: what it plays, what it is as loud as, how it is written, and
/// the program. Rigs are told by their `Debug`, which leaves nothing out and is the same everywhere.
fn recipe(cell: &GridCell, unturned: &Variant, meter: Meter, sound: &SoundArgs) -> String {
    let written = (sound.sample_rate, sound.bits(), sound.seed, sound.lead_in);
    let all = (env!("CARGO_PKG_VERSION"), &cell.variant.rig, cell.tempo, &unturned.rig, meter, written);
    sha256_hex(format!("{all:?}").as_bytes())
}
