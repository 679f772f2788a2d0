use super::album::tell;
use super::args::{EarArgs, Format, JudgeArgs, MOST_RUNS, PatchArgs, time_from_zero};
use super::load::{Loaded, load};
use super::paste::quoted;
use super::plot::{PlotArgs, plot};
use super::work::{Work, few_enough, few_enough_gaps, few_enough_runs, side_by_side};
use super::{Failure, Outcome, terminal};
use crate::judge::runs::{Trials, chances, to_play};
use crate::judge::{Bodies, Judged, breakdown};
use crate::patch::{Patch, Variant};
use crate::rig::Run;
use crate::show::report::{Checked, Detail, check_csv, check_json, check_table};
use crate::time::{Span, Tempo};
use clap::Args;
use indicatif::ProgressBar;
use rayon::prelude::*;

#[derive(Args, Debug)]
pub(super) struct CheckArgs {
    #[command(flatten)]
    patch: PatchArgs,
    #[command(flatten)]
    judge: JudgeArgs,
    #[command(flatten)]
    ear: EarArgs,
    /// A variant to look at: a fix, several joined by +, or original; may be given again (default: all)
    #[arg(long, value_name = "NAME")]
    fix: Vec<String>,
    /// Look at chance: play so many runs, each with draws of its own; all of them must pass too
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=MOST_RUNS), allow_negative_numbers = true)]
    runs: Option<u64>,
    /// What the runs draw from: another number, other runs
    #[arg(long, value_name = "N", default_value_t = 1, requires = "runs", allow_negative_numbers = true)]
    seed: u64,
    /// The largest acceptable standard deviation of a pair's gap over all runs, such as 1ms (default: that of the patch)
    #[arg(long, value_name = "TIME", value_parser = time_from_zero, requires = "runs", allow_hyphen_values = true)]
    max_wobble: Option<Span>,
    /// Take every lateness apart: what each setting, stage and box on the way adds, from the beat to the sound
    #[arg(long)]
    breakdown: bool,
    #[command(flatten)]
    detail: DetailArgs,
    /// How to print the result
    #[arg(long, value_enum, default_value = "table")]
    format: Format,
    #[command(flatten)]
    plot: PlotArgs,
    /// The patch stood alone on the command line, without a command.
    #[arg(skip)]
    pub(super) alone: bool,
}

#[derive(Args, Clone, Copy, Debug)]
struct DetailArgs {
    /// Print every figure, version by version
    #[arg(short, long, conflicts_with = "quiet")]
    verbose: bool,
    /// Print the verdict alone, in one line
    #[arg(short, long)]
    quiet: bool,
}

impl DetailArgs {
    const fn of(self) -> Detail {
        match (self.quiet, self.verbose) {
            (true, _) => Detail::Quiet,
            (false, true) => Detail::Full,
            (false, false) => Detail::Usual,
        }
    }
}

/// Drawn runs that a breakdown looks at.
const DRAWN: u64 = 100;

pub(super) fn run(args: &CheckArgs) -> Result<Outcome, Failure> {
    let mut loaded = load(&args.patch, args.judge.max_gap)?;
    let max_gap_from = super::ear::listen(&args.ear, &mut loaded)?;
    loaded.patch.max_wobble = args.max_wobble.or(loaded.patch.max_wobble);
    let variants = loaded.variants(&args.fix)?;
    let cells: Vec<(&Variant, Tempo)> =
        variants.iter().flat_map(|v| loaded.patch.tempos.iter().map(move |&t| (v, t))).collect();
    let mut bodies = Bodies::default();
    let (max_gap, max_wobble) = (loaded.patch.max_gap, loaded.patch.max_wobble);
    for variant in &variants {
        let looks = [(args.breakdown, "`--breakdown`"), (args.plot.plot, "`--plot`")];
        looks
            .iter()
            .filter(|(asked, _)| *asked)
            .try_for_each(|(_, what)| few_enough(&variant.rig, &loaded.patch.tempos, what))?;
    }
    let found = Work::default().checked(&variants, &loaded.patch.tempos, args.plot.plot)?;
    few_enough_runs(cells.iter().map(|(v, tempo)| (&v.rig, *tempo)), args.runs.unwrap_or(0))?;
    let trials = args.runs.map(|runs| Trials { runs, seed: args.seed, max_gap, max_wobble });
    let mut results: Vec<Judged<'_>> = Vec::new();
    for group in side_by_side(&found) {
        let typical = cells[group].par_iter().map(|&(variant, tempo)| {
            let mut judged = judged(variant, tempo, &loaded.patch, Run::Typical)?;
            if args.breakdown {
                // What is drawn is looked at in a few runs: for least and most, not for odds.
                let runs = if judged.drawn.is_empty() { 0 } else { args.runs.unwrap_or(DRAWN).min(DRAWN) };
                let taken = breakdown(&variant.rig, tempo, args.seed, runs);
                judged.breakdown = taken.map_err(|e| Failure::input(&e, e.help()))?;
            }
            Ok(judged)
        });
        results.extend(typical.collect::<Result<Vec<_>, Failure>>()?);
    }
    few_enough_gaps(results.iter().filter(|j| !j.drawn.is_empty()).map(|j| &j.verdict), args.runs.unwrap_or(0))?;
    // Once more each, where all runs are alike.
    few_enough_gaps(results.iter().filter(|j| j.drawn.is_empty()).map(|j| &j.verdict), args.runs.map_or(0, |_| 1))?;
    let bar = trials.map(|t| {
        let played = cells.iter().map(|(variant, _)| to_play(&variant.rig, t.runs)).sum();
        terminal::bar(Some(played), "{pos} of {len} runs {wide_bar} {eta} left")
    });
    let results = results
        .into_par_iter()
        .map(|judged| {
            let Some(trials) = trials else { return Ok(judged) };
            let each = || bar.iter().for_each(|b| b.inc(1));
            let mut runs = chances(&judged.variant.rig, judged.tempo, trials, &each).map_err(|e| out_of_time(&e))?;
            if !args.plot.plot {
                // Pairs by cells by thousands of bins, which only a picture shows.
                runs.histograms = Vec::new();
            }
            Ok(Judged { runs: Some(runs), ..judged })
        })
        .collect::<Result<Vec<_>, Failure>>()?;
    let results = results.into_iter().map(|j| bodies.add(j)).collect::<Result<Vec<_>, _>>()?;
    bar.iter().for_each(ProgressBar::finish_and_clear);
    let checked =
        Checked { name: loaded.name.clone(), patch: &loaded.patch, bars: args.patch.bars, max_gap_from, results };
    let pictures = match args.plot.plot {
        true => plot(&args.plot, &loaded, &variants, &checked, args.seed)?,
        false => Vec::new(),
    };
    tell(
        (args.format, &pictures),
        || check_table(&checked, args.detail.of(), terminal::layout()) + &hear(args, &loaded),
        |out| terminal::json(out, &check_json(&checked)),
        |out| check_csv(&checked, out),
    )?;
    Ok(if checked.passes() { Outcome::Done } else { Outcome::Fails })
}

/// How to hear the fixes of a patch that stood alone; the one line of `--quiet` stays alone too.
fn hear(args: &CheckArgs, loaded: &Loaded) -> String {
    if !args.alone || args.detail.quiet || loaded.patch.fixes.is_empty() {
        return String::new();
    }
    format!("\nHear it: hitgap compare {}\n", quoted(&loaded.name))
}

/// One run of one variant at one tempo, played and judged.
///
/// # Errors
/// Exit status 2, if an instant does not fit; a checked patch never does that.
pub(super) fn judged<'a>(variant: &'a Variant, tempo: Tempo, patch: &Patch, run: Run) -> Result<Judged<'a>, Failure> {
    Judged::new(variant, tempo, patch, run).map_err(|e| Failure::input(&e, e.help()))
}

fn out_of_time(error: &dyn std::fmt::Display) -> Failure {
    Failure::input(error, "fewer bars, or a faster tempo")
}
