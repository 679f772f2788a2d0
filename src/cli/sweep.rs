use super::args::{Format, JudgeArgs, OpenArgs, PatchArgs, SoundArgs, TidyArgs};
use super::load::load;
use super::opener::Made;
use super::{CARE_SHORT, Failure, Outcome, terminal};
use crate::export::{GridAsked, grid_files};
use crate::judge::sweep::values;
use crate::judge::which;
use crate::patch::ORIGINAL;
use crate::show::report::{plain, sweep_csv, sweep_json, sweep_table};
use crate::sound::grid::Grid;
use clap::Args;

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
    let asked = GridAsked {
        loaded: &loaded,
        variant: &variant,
        knob,
        settings: &settings,
        until_over: args.until_over,
        page: args.page,
        resume: args.resume,
        tidy: args.tidy.tidy,
    };
    let on = knob.path(&variant.rig);
    let what = format!("{} of {on}", if phase { "share of the period" } else { "delay" });
    let to = args.sound.destination();
    asked.work()?;
    let grid = Grid::new(&variant, knob, &settings, &loaded.patch.tempos).map_err(|e| Failure::input(&e, e.help()))?;
    let verdicts = asked.verdicts(&grid)?;
    let played = asked.chosen(&grid, &verdicts)?;
    let names = grid_files(&asked, &played, &what, &to)?;
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
    let (for_a_page, for_a_sound) = ("--page makes one", "there is no cell");
    Made { page: names.page_path, sound: Some(names.parade_path), for_a_page, for_a_sound }.open(&args.open);
    Ok(Outcome::Done)
}
