use super::album::tell;
use super::args::{EarArgs, Format, JudgeArgs, PatchArgs};
use super::load::{Loaded, load, read_text};
use super::resume::Resumed;
use super::work::few_enough;
use super::{Failure, Outcome, file, terminal};
use crate::judge::advise::{Aim, holds, usual_range};
use crate::judge::mend::{
    Catalogue, Extent, MOST_CHANGES, MOST_GROUPS, Mended, Progress, Question, USUAL_GROUPS, Watch, Wishes, mend,
};
use crate::patch::{NewFix, with_fix};
use crate::show::report::{Mending, mend_change, mend_csv, mend_json, mend_table, plain};
use crate::store::{FileLock, StoreError, WriteError, interrupt, resolved};
use clap::Args;
use indicatif::ProgressBar;
use std::path::{Path, PathBuf};

/// From so many sets on it is said how much there is to search where no bar shows it.
const MANY: u128 = 1_000_000;
/// How many sets are shown unless somebody asks for more.
const SHOWN: usize = 5;

#[derive(Args, Debug)]
pub(super) struct MendArgs {
    #[command(flatten)]
    pub(super) patch: PatchArgs,
    #[command(flatten)]
    pub(super) judge: JudgeArgs,
    #[command(flatten)]
    pub(super) ear: EarArgs,
    /// Mend a whole evening: one wiring, and what is dialled for each song. A CSV file with the columns `song` and `tempo`, and where
    /// they are there `boxes`, `fixes` and `tempo-map`
    #[arg(long, value_name = "FILE", conflicts_with = "tempo")]
    pub(super) songs: Option<PathBuf>,
    /// A file with [component.NAME] tables that may be put in, beside those of the patch and its idle stages (default: generic
    /// ones, where there is nothing else); may be given again
    #[arg(long, value_name = "FILE")]
    components: Vec<PathBuf>,
    /// The most changes at once, 1 to 4
    #[arg(long, value_name = "N", default_value_t = 3, value_parser = clap::value_parser!(u8).range(1..=MOST_CHANGES as i64))]
    pub(super) budget: u8,
    /// What stays as it is: a path such as sequencer.wren.clock or clock.home, component.NAME, or a kind of changes (nudge, dial,
    /// setting, cable, part); may be given again
    #[arg(long, value_name = "PATH")]
    keep: Vec<String>,
    /// What changes cost: NAME=N, with a name as for --keep (default: nudge, dial and setting 0, cable 1, part 10)
    #[arg(long, value_name = "NAME=N", value_parser = price)]
    price: Vec<(String, u64)>,
    /// A key that may be set, and its values: sequencer.wren.reset-mode=this-clock,next-clock; may be given again
    #[arg(long, value_name = "PATH=VALUES", value_parser = may)]
    may: Vec<(String, Vec<String>)>,
    /// A box that can be nudged, besides those that have an offset in the patch or in a fix; may be given again
    #[arg(long, value_name = "NAME")]
    nudge: Vec<String>,
    /// Steps of every phase dial for one period (default: only dials that the patch or a fix uses, in 100 steps)
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=1000))]
    dial_steps: Option<u32>,
    /// Where up to so many boxes share an output, one part may stand before any two or more of them; where more do, before all
    #[arg(long, value_name = "N", default_value_t = USUAL_GROUPS as u8, value_parser = clap::value_parser!(u8).range(2..=MOST_GROUPS as i64))]
    groups: u8,
    /// How many of the sets that do are shown
    #[arg(long, value_name = "N", default_value_t = SHOWN)]
    show: usize,
    /// Add the best so many to the patch file, each as a fix; everything else in it stays
    #[arg(long, value_name = "N", num_args = 0..=1, require_equals = true, default_missing_value = "1")]
    pub(super) write: Option<usize>,
    /// With --songs: write the card to this file, a page to print if it ends in .html, else as text
    #[arg(long, value_name = "FILE", requires = "songs")]
    pub(super) card: Option<PathBuf>,
    /// Write over a file that has the name of the card
    #[arg(long, requires = "card")]
    pub(super) overwrite: bool,
    /// Keep what is judged in this file, and go on where an earlier search for the same was stopped
    #[arg(long, value_name = "FILE", conflicts_with = "songs")]
    resume: Option<PathBuf>,
    /// Judge at most so many sets, and say what was found so far
    #[arg(long, value_name = "N", conflicts_with = "songs", value_parser = clap::value_parser!(u64).range(1..))]
    limit: Option<u64>,
    /// How to print the result
    #[arg(long, value_enum, default_value = "table")]
    pub(super) format: Format,
}

pub(super) fn run(args: &MendArgs) -> Result<Outcome, Failure> {
    if let Some(songs) = &args.songs {
        return super::evening::run(args, songs);
    }
    let mut loaded = load(&args.patch, args.judge.max_gap)?;
    let max_gap_from = super::ear::listen(&args.ear, &mut loaded)?;
    let patch = &loaded.patch;
    few_enough(&patch.original.rig, &patch.tempos, "`mend`")?;
    let catalogue = catalogue(args, &loaded)?;
    let question = Question {
        patch,
        catalogue: &catalogue,
        aim: Aim { max_gap: patch.max_gap, skew: patch.skew },
        tempos: &patch.tempos,
        extent: Extent { budget: usize::from(args.budget), beyond: false },
    };
    let nothing = Mended::nothing();
    let mending = |mended| Mending {
        name: loaded.name.clone(),
        max_gap_from: max_gap_from.clone(),
        title: patch.title.as_deref(),
        rig: &patch.original.rig,
        max_gap: patch.max_gap,
        catalogue: &catalogue,
        budget: usize::from(args.budget),
        mended,
        show: args.show.max(1),
        holds: None,
    };
    let kept = args.resume.as_ref().map(|file| Resumed::open(file, &question.print(&loaded.source))).transpose()?;
    let bar = bar();
    let sets: u128 = catalogue.sets(question.extent.budget).iter().sum();
    if bar.is_hidden() && sets >= MANY {
        terminal::say(&format!("searching {sets} sets of up to {} changes", args.budget));
    }
    let so_far = mending(&nothing);
    let found = |set: &[u16]| {
        let all = set.iter().map(|&n| mend_change(&so_far, &catalogue.offers[usize::from(n)].change, None));
        bar.println(format!("does: {}", all.collect::<Vec<_>>().join(", then ")));
    };
    let watch = Watch {
        progress: &|at| {
            show_progress(&bar, at);
        },
        found: &found,
        judged: &|count, bytes| kept.iter().for_each(|kept| kept.add(count, bytes)),
        known: kept.as_ref().map_or(&[], Resumed::known),
        limit: args.limit,
        cancel: interrupt::flag(),
    };
    // Who is asked to end says what was found so far, if that is a matter of moments.
    let _at_work = interrupt::at_work();
    let mended = mend(&question, &watch);
    bar.finish_and_clear();
    kept.iter().for_each(Resumed::told);
    let best = mended.proposals.first().filter(|_| mended.stopped.is_none());
    let between = usual_range(&patch.tempos);
    let holds = best.and_then(|best| holds(&best.rig, &question.aim, between, &patch.tempos, super::advise::LONG));
    let said = Mending { holds, ..mending(&mended) };
    tell(
        (args.format, &[]),
        || mend_table(&said, terminal::width()),
        |out| terminal::json(out, &mend_json(&said)),
        |out| mend_csv(&said, out),
    )?;
    if let Some(count) = args.write {
        let fixes: Vec<NewFix> = mended
            .proposals
            .iter()
            .take(count)
            .map(|p| {
                let about: Vec<String> = p.changes.iter().map(|&n| said.done(p, n)).collect();
                NewFix { about: Some(about.join(", then ")), ..p.fix.clone() }
            })
            .collect();
        write(&args.patch.patch, &fixes)?;
    }
    if mended.stopped == Some(crate::judge::mend::Stopped::Cancelled) {
        return Err(Failure::Interrupted);
    }
    Ok(Outcome::Done)
}

/// A bar for a search, on a terminal.
pub(super) fn bar() -> ProgressBar {
    terminal::bar(None, "{msg} {pos} of at most {len} {wide_bar} {elapsed}")
}

/// How far a search is, and how much it has found.
pub(super) fn show_progress(bar: &ProgressBar, at: Progress) {
    bar.set_message(format!("sets of {}, {} found:", at.changes, at.found));
    bar.set_length(at.of);
    bar.set_position(at.done);
}

/// All that could be done: with the generic components where nothing else could be put in.
pub(super) fn catalogue(args: &MendArgs, loaded: &Loaded) -> Result<Catalogue, Failure> {
    let wishes = Wishes {
        dial_steps: args.dial_steps,
        groups: Some(usize::from(args.groups)),
        may: args.may.clone(),
        nudges: args.nudge.clone(),
        keep: args.keep.clone(),
        prices: args.price.clone(),
    };
    let components = loaded.components(&args.components)?;
    loaded.catalogue(&components, &wishes).map_err(|e| Failure::input(&e, e.help()))
}

/// Adds fixes to a patch file, which is replaced whole; everything else in it stays.
pub(super) fn write(patch: &Path, fixes: &[NewFix]) -> Result<(), Failure> {
    let name = plain(&patch.display().to_string());
    if fixes.is_empty() {
        terminal::say(&format!("no fix to write: `{name}` is as it was"));
        return Ok(());
    }
    // Behind a link is the file that is meant, and beside that is the lock, whatever name led there.
    let patch = &resolved(patch);
    let _at_work = interrupt::at_work();
    let _lock = FileLock::take(patch).map_err(|e| match e {
        StoreError::Io { cause, .. } => WriteError::Io { path: patch.clone(), cause }.into(),
        other => Failure::from(other),
    })?;
    let mut text = read_text(patch, "a patch")?;
    let mut names = Vec::new();
    for fix in fixes {
        let kept = with_fix(&text, fix).map_err(|e| Failure::input(&e.says, &e.help))?;
        text = kept.text;
        names.push(format!("[fix.{}]", kept.name));
    }
    file::write(patch, text.as_bytes(), true)?;
    terminal::say(&format!("wrote {} to {name}: `hitgap compare {name}` makes it heard", names.join(", ")));
    Ok(())
}

/// Reads `part=3`.
///
/// # Errors
/// A sentence.
fn price(text: &str) -> Result<(String, u64), String> {
    let example = "write a name and a whole number, such as part=10 or component.gate=3";
    let (name, cost) = text.split_once('=').ok_or_else(|| example.to_owned())?;
    let cost = cost.trim().parse::<u32>().map_err(|_| example.to_owned())?;
    Ok((name.trim().to_owned(), u64::from(cost)))
}

/// Reads `sequencer.wren.reset-mode=this-clock,next-clock`.
///
/// # Errors
/// A sentence.
fn may(text: &str) -> Result<(String, Vec<String>), String> {
    let (path, values) = text
        .split_once('=')
        .ok_or_else(|| "write a path and its values, such as sequencer.wren.reset-mode=this-clock".to_owned())?;
    let of = |value: &str| {
        let value = value.trim();
        // What is no value of TOML as it stands is a text.
        value
            .parse::<toml_edit::Value>()
            .map_or_else(|_| toml_edit::Value::from(value).to_string(), |_| value.to_owned())
    };
    Ok((path.trim().to_owned(), values.split(',').map(of).collect()))
}
