use super::args::{Format, JudgeArgs, PatchArgs, SoundArgs};
use super::check::judged;
use super::levels::{Matched, matched};
use super::load::{Loaded, load};
use super::press::{Press, Sheet, bank, fits};
use super::sweep_page::{LEAVE_OUT, MOST_SETTINGS, Row, few_enough, sweep_page};
use super::work::{CUE_BYTES, HIT_BYTES, Work, hits};
use super::{CARE_SHORT, Failure, Outcome, talk};
use crate::hits::{Hit, list};
use crate::judge::Bodies;
use crate::judge::Judged;
use crate::judge::sweep::{ANNOUNCER, Knob, LOW_TONE, Value, announce, values};
use crate::patch::{Asked, Meter, ORIGINAL, Patch, Rig, Variant};
use crate::rig::{Run, play};
use crate::show::page::{listening_page, over_budget};
use crate::show::report::{SweepCell, plain, sweep_csv, sweep_table};
use crate::sound::render::{Bank, Channels, Cue, Gain, Program};
use crate::sound::score::{self, Bars, Ensemble, Seating, Version, excerpt};
use crate::store::{Kind, sha256_hex};
use crate::time::{Beat, Instant, Span, Tempo};
use clap::Args;
use rayon::prelude::*;

#[derive(Args, Debug)]
#[command(group(clap::ArgGroup::new("settings").required(true).args(["delay", "phase"])))]
pub(super) struct SweepArgs {
    #[command(flatten)]
    patch: PatchArgs,
    #[command(flatten)]
    judge: JudgeArgs,
    /// What is turned: sequencer.NAME.clock or sequencer.NAME.reset for what comes to an input, clock.NAME for an output
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
    sound: SoundArgs,
}

/// One cell: a setting at a tempo.
struct Cell {
    value: Value,
    tempo: Tempo,
    variant: Variant,
}

/// What a cell plays.
struct Scored {
    name: String,
    cues: Vec<Cue>,
    end: Instant,
}

pub(super) fn run(args: &SweepArgs) -> Result<Outcome, Failure> {
    let loaded = load(&args.patch, args.judge.max_gap)?;
    let variant = loaded.variant(&args.fix)?;
    let knob = Knob::parse(&variant.rig, &args.on).map_err(|e| Failure::input(&e, e.help()))?;
    let (text, phase) = match (&args.delay, &args.phase) {
        (Some(delay), _) => (delay, false),
        (None, Some(phase)) => (phase, true),
        (None, None) => return Err(Failure::input("there are no settings", "give --delay or --phase")),
    };
    let settings = values(text, phase).map_err(|e| Failure::input(&e, e.help()))?;
    let count = settings.len() * loaded.patch.tempos.len();
    let mut work = Work::default();
    work.files(count);
    work.judged(&variant.rig, count);
    if args.page {
        work.versions(loaded.patch.tempos.len() * (1 + settings.len().min(MOST_SETTINGS)));
    }
    work.fits("`sweep`")?;
    super::work::few_enough(&variant.rig, &loaded.patch.tempos, "each cell of `sweep`")?;
    for &tempo in &loaded.patch.tempos {
        let found = hits(&variant.rig, tempo)?;
        let (heard, whole) = (excerpt(loaded.patch.meter, tempo) + loaded.patch.meter.bar(), variant.rig.end);
        // Of each cell a few bars: its own cues, those that are mixed, and its place among all cells.
        let few = (heard < whole).then(|| (Beat::from_integer(found as i128) * heard / whole).ceil().to_integer());
        work.kept(few.map_or(found, |n| n.unsigned_abs()) * settings.len() as u128, 3 * CUE_BYTES);
        if args.page {
            work.kept(found * settings.len().min(MOST_SETTINGS) as u128, HIT_BYTES);
        }
        work.played(found * settings.len() as u128);
    }
    work.fits("`sweep`")?;
    let cells = cells(&loaded, &variant, knob, &settings)?;
    let verdicts = verdicts(&loaded, &cells)?;
    // All that is played: at each tempo all settings, or all up to the first with a gap that is too wide. A box that is off
    // the one is apart by beats, which is no flam that grows: that does not end a row.
    let over = |j: &Judged<'_>| {
        let worst = j.verdict.worst_gap().and_then(crate::judge::Gap::worst);
        worst.is_some_and(|worst| worst > loaded.patch.max_gap) && j.verdict.standings.iter().all(|s| s.right)
    };
    let (mut kept, mut longest): (Vec<usize>, usize) = (Vec::new(), 0);
    for (t, of_tempo) in verdicts.chunks(settings.len()).enumerate() {
        let stop = of_tempo.iter().position(over).filter(|_| args.until_over).map_or(of_tempo.len(), |n| n + 1);
        kept.extend((0..stop).map(|n| t * settings.len() + n));
        longest = longest.max(stop);
    }
    if args.page {
        few_enough(longest)?;
    }
    let what = format!("{} of {}", if phase { "share of the period" } else { "delay" }, args.on.trim());
    let names = write(args, &loaded, &variant, (knob, &what), (&cells, &verdicts, &kept))?;
    let rows = rows(&cells, &verdicts, &kept, Some(&names.cells));
    let title = loaded.patch.title.clone().unwrap_or_else(|| loaded.name.clone());
    talk::result(|out| match args.format {
        Format::Table => {
            let what = format!("{}{what}, {}", if phase { "a " } else { "" }, variant.name);
            out.write_all(sweep_table(&title, &what, &rows, loaded.patch.max_gap).as_bytes())?;
            let dir = plain(&args.sound.out.display().to_string());
            if let Some(page) = &names.page {
                writeln!(out, "\nOpen first {page}, in any browser: all settings side by side.")?;
            }
            writeln!(out, "\nListen to {}: every cell in order, each after its number in tones.", names.parade)?;
            writeln!(out, "The figures are in {}, the {} cells in {dir}.", names.figures, rows.len())?;
            writeln!(out, "{CARE_SHORT}")
        }
        Format::Json => {
            let report: Vec<_> = rows.iter().map(json).collect();
            let mut report = serde_json::json!({ "format": 1, "patch": loaded.name, "variant": variant.name, "on": args.on.trim(), "cells": report });
            if let Some(page) = &names.page {
                report["page"] = page.clone().into();
            }
            talk::json(out, &report)
        }
        Format::Csv => sweep_csv(&rows, out),
    })?;
    Ok(Outcome::Done)
}

fn json(row: &SweepCell<'_>) -> serde_json::Value {
    let worst = row.judged.verdict.worst_gap();
    serde_json::json!({
        "cell": row.number, "tempo_bpm": row.judged.tempo.bpm(), "setting": row.value.name(), "passes": row.judged.passes(),
        "worst_gap_ms": worst.and_then(crate::judge::Gap::worst_signed).map(Span::ms),
        "band": worst.and_then(crate::judge::Gap::band).map(crate::judge::Band::key), "file": row.file,
    })
}

/// Every cell, tempo by tempo.
fn cells(loaded: &Loaded, variant: &Variant, knob: Knob, settings: &[Value]) -> Result<Vec<Cell>, Failure> {
    let mut all = Vec::new();
    for &tempo in &loaded.patch.tempos {
        for &value in settings {
            let rig = knob.at(&variant.rig, value, tempo).map_err(|e| Failure::input(&e, e.help()))?;
            let name = format!("{}.{}+{}", variant.name, knob.name(&variant.rig), value.name());
            all.push(Cell { value, tempo, variant: Variant { name, about: None, rig } });
        }
    }
    Ok(all)
}

fn verdicts<'a>(loaded: &Loaded, cells: &'a [Cell]) -> Result<Vec<Judged<'a>>, Failure> {
    let mut bodies = Bodies::default();
    let all = cells.par_iter().map(|c| judged(&c.variant, c.tempo, &loaded.patch, Run::Typical));
    let all: Vec<Judged<'_>> = all.collect::<Result<_, _>>()?;
    all.into_iter().map(|j| Ok(bodies.add(j)?)).collect()
}

fn rows<'a>(
    cells: &[Cell],
    verdicts: &'a [Judged<'a>],
    kept: &[usize],
    names: Option<&[String]>,
) -> Vec<SweepCell<'a>> {
    let row = |(n, &at): (usize, &usize)| SweepCell {
        number: n + 1,
        value: cells[at].value,
        judged: &verdicts[at],
        file: names.map(|names| names[n].clone()),
    };
    kept.iter().enumerate().map(row).collect()
}

/// What was written, as it may be shown; cells by their bare names.
struct Names {
    cells: Vec<String>,
    parade: String,
    figures: String,
    page: Option<String>,
}

fn write(
    args: &SweepArgs,
    loaded: &Loaded,
    variant: &Variant,
    (knob, what): (Knob, &str),
    (cells, verdicts, kept): (&[Cell], &[Judged<'_>], &[usize]),
) -> Result<Names, Failure> {
    let announcer = Patch::parse(ANNOUNCER, &Asked::default()).map_err(|e| Failure::Input(format!("error: {e}")))?;
    // All cells have the voices of the patch; the tones come after them.
    let ensemble = Ensemble::new(&[&variant.rig, &announcer.original.rig], Seating::Centre, args.sound.seed)?;
    let bank = bank(&args.sound, &ensemble)?;
    let stem = format!("{}.{}.{}", loaded.stem()?, variant.name, knob.name(&variant.rig));
    let score = |cell: &Cell| score(loaded, &ensemble, cell, &variant.rig);
    let scored: Vec<Scored> = kept.par_iter().map(|&at| score(&cells[at])).collect::<Result<_, _>>()?;
    let own = loaded.stem()?;
    let names: Vec<String> = scored.iter().map(|s| format!("{own}.{}", s.name)).collect();
    let (parade, figures) = (format!("{stem}.parade.wav"), format!("{stem}.sweep.csv"));
    let page = args.page.then(|| format!("{stem}.html"));
    let all = names.iter().chain([&parade, &figures]).chain(&page);
    let press = Press::open(&args.sound, &all.cloned().collect::<Vec<_>>())?;
    // Each cell is as loud as the variant itself at its tempo, with nothing turned: so that nothing but time tells cells
    // apart, and a cell's file does not depend on which others are made.
    let mut programs: Vec<Program<'_>> = Vec::new();
    let mut levels: Vec<Matched> = Vec::new();
    for same in kept.chunk_by(|a, b| cells[*a].tempo == cells[*b].tempo) {
        let unturned = Cell { value: cells[same[0]].value, tempo: cells[same[0]].tempo, variant: variant.clone() };
        let unturned = score(&unturned)?;
        let from = programs.len();
        let of_tempo: Vec<Program<'_>> =
            scored[from..from + same.len()].iter().map(|s| s.program(&bank, &args.sound)).collect::<Result<_, _>>()?;
        levels.push(matched(&press, &unturned.program(&bank, &args.sound)?, &of_tempo)?);
        programs.extend(of_tempo);
    }
    let gains: Vec<[f64; 2]> = levels.iter().flat_map(|l| l.fixes.iter().copied()).collect();
    for (name, [wanted, alone]) in names.iter().zip(&gains).filter(|(_, [wanted, alone])| alone < wanted) {
        let db = 20.0 * libm::log10(wanted / alone);
        talk::say(&format!("note: {name} is {db:.1} dB quieter than the other cells, or it would clip"));
    }
    let even: Vec<f64> = gains.iter().map(|[matched, _]| *matched).collect();
    let (order, end) = parade_of(&ensemble, &announcer.original.rig, &scored, &even);
    let whole = Program::new(&bank, order, args.sound.lead_in, end)?;
    fits(&whole, &args.sound, Channels::Mono)?;
    press.expect(programs.iter().map(|p| 4 * p.frames()).sum::<u64>() + 2 * whole.frames());
    let patch = Some((loaded.name.clone(), sha256_hex(loaded.source.as_bytes())));
    let sheet = |name: &str, kind: Kind, variant: &str, tempo: Option<Tempo>| Sheet {
        name: name.to_owned(),
        kind,
        command: "sweep",
        patch: patch.clone(),
        variant: Some(variant.to_owned()),
        sequencer: None,
        tempo_bpm: tempo.map(Tempo::bpm),
        run: None,
        channels: Channels::Mono,
    };
    let job = |n: usize| {
        let cell = &cells[kept[n]];
        let sheet = sheet(&names[n], Kind::Cell, &cell.variant.name, Some(cell.tempo));
        (sheet, &programs[n], Gain::Fixed(gains[n][1]))
    };
    let jobs: Vec<_> = (0..kept.len()).map(job).collect();
    let recipes: Vec<String> =
        kept.par_iter().map(|&at| recipe(&cells[at], variant, loaded.patch.meter, &args.sound)).collect();
    // The last core to be done with the cells goes on with the file that holds them all.
    let all = sheet(&parade, Kind::Parade, &variant.name, None);
    let (made, all_of_them) =
        rayon::join(|| press.print_all(&jobs, &recipes, args.resume), || press.finish(&all, &whole, Gain::Auto, None));
    let made = made.inspect_err(|failure| {
        if matches!(failure, Failure::Interrupted) {
            talk::say("Cells that are done are kept: the same command with --resume goes on from there.");
        }
    })?;
    if made.len() < kept.len() {
        talk::say(&format!("{} of {} cells were there already, whole", kept.len() - made.len(), kept.len()));
    }
    made.iter().for_each(|&n| press.wrote(&names[n]));
    press.place(all_of_them?.0, &parade)?;
    let mut table = Vec::new();
    sweep_csv(&rows(cells, verdicts, kept, Some(&names)), &mut table)?;
    press.paste(Kind::Figures, &figures, &table, "sweep", patch.clone(), None)?;
    if let Some(page) = &page {
        let text = page_of(args, loaded, variant, what, (cells, verdicts, kept), &levels)?;
        press.paste(Kind::Page, page, text.as_bytes(), "sweep", patch.clone(), None)?;
    }
    let page = page.map(|page| press.shown(&page));
    let shown = Names { parade: press.shown(&parade), figures: press.shown(&figures), page, cells: names };
    press.done();
    Ok(shown)
}

/// The text of the listening page: the cells that were made, row by row.
fn page_of(
    args: &SweepArgs,
    loaded: &Loaded,
    variant: &Variant,
    what: &str,
    (cells, verdicts, kept): (&[Cell], &[Judged<'_>], &[usize]),
    levels: &[Matched],
) -> Result<String, Failure> {
    let tempos = &loaded.patch.tempos;
    let unturned = tempos.iter().map(|&t| judged(variant, t, &loaded.patch, Run::Typical));
    let unturned: Vec<Judged<'_>> = unturned.collect::<Result<_, _>>()?;
    let settings = cells.len() / tempos.len();
    let rows = kept.chunk_by(|a, b| cells[*a].tempo == cells[*b].tempo);
    let row = |((kept, levels), unturned): ((&[usize], &Matched), _)| Row {
        tempo: cells[kept[0]].tempo,
        cells: kept.iter().map(|&at| (cells[at].value, &cells[at].variant.rig, &verdicts[at])).collect(),
        ended: kept.len() < settings,
        unturned,
        gains: levels.all(),
    };
    let rows: Vec<Row<'_>> = rows.zip(levels).zip(&unturned).map(row).collect();
    let text = listening_page(&sweep_page(loaded, variant, what, &rows, args.sound.seed)?);
    if let Some(words) = over_budget(text.len(), LEAVE_OUT) {
        talk::say(&format!("note: {words}"));
    }
    Ok(text)
}

/// A checksum of everything that a cell's bytes depend on: what it plays, what it is as loud as, how it is written, and
/// the program. Rigs are told by their `Debug`, which leaves nothing out and is the same everywhere.
fn recipe(cell: &Cell, unturned: &Variant, meter: Meter, sound: &SoundArgs) -> String {
    let written = (sound.sample_rate, sound.bits(), sound.seed, sound.lead_in);
    let all = (env!("CARGO_PKG_VERSION"), &cell.variant.rig, cell.tempo, &unturned.rig, meter, written);
    sha256_hex(format!("{all:?}").as_bytes())
}

/// A few bars of a cell: what is due in them. Where a hit comes before the first bar line, all comes so much later: the earliest
/// has the lead-in before it.
fn score(loaded: &Loaded, ensemble: &Ensemble, cell: &Cell, voices: &Rig) -> Result<Scored, Failure> {
    let rig = &cell.variant.rig;
    let performance = play(rig, cell.tempo).map_err(|e| Failure::input(&e, e.help()))?;
    let clockwork = rig.clockwork(cell.tempo);
    let bars = Bars::new(loaded.patch.meter, &clockwork);
    let hits = list(rig, &performance);
    let from = bars.begin(&[Version { rig, performance: &performance, hits: &hits }]);
    let to = (from + excerpt(loaded.patch.meter, cell.tempo)).min(rig.end);
    let heard = || hits.iter().filter(|h| (from..to).contains(&bars.home(h)));
    let zero = heard().map(|h| h.at).min().map_or(clockwork.instant(from), |at| at.min(clockwork.instant(from)));
    let mut sheet = score::Sheet::new(ensemble);
    heard().for_each(|hit| sheet.add(0, voices, hit, Instant((hit.at - zero).0), 1.0));
    let cues = sheet.finish();
    let name = format!("{}.{}bpm.wav", cell.variant.name, cell.tempo);
    Ok(Scored { name, cues, end: Instant((clockwork.instant(to) - zero).0) })
}

impl Scored {
    fn program<'a>(&'a self, bank: &'a Bank, sound: &SoundArgs) -> Result<Program<'a>, Failure> {
        let program = Program::new(bank, self.cues.clone(), sound.lead_in, self.end)?;
        fits(&program, sound, Channels::Mono)?;
        Ok(program)
    }
}

/// All cells one after the other, each after its number in tones.
fn parade_of(ensemble: &Ensemble, announcer: &Rig, scored: &[Scored], gains: &[f64]) -> (Vec<Cue>, Instant) {
    let mut sheet = score::Sheet::new(ensemble);
    let mut cues: Vec<Cue> = Vec::new();
    let mut now = Instant::START;
    for (n, (cell, gain)) in scored.iter().zip(gains).enumerate() {
        let (tones, begins) = announce(n + 1, now);
        for (at, low) in tones {
            let voice = announcer.sequencers[if low { LOW_TONE } else { 1 - LOW_TONE }].voice;
            let beat = Beat::from_integer(0);
            let hit = Hit { at, beat, due: beat, sequencer: 0, step: 1, velocity: 90, level_mdb: 0, voice };
            sheet.add(1, announcer, &hit, at, 1.0);
        }
        let gain = *gain as f32;
        cues.extend(cell.cues.iter().map(|c| Cue {
            at: Instant(begins.0 + c.at.0),
            left: c.left * gain,
            right: c.right * gain,
            ..*c
        }));
        now = Instant(begins.0 + cell.end.0 + Span::from_ms(700).0);
    }
    cues.extend(sheet.finish());
    (cues, now)
}
