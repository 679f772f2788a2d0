use super::album::{beside, hang, tell};
use super::args::{EarArgs, Format, JudgeArgs, OpenArgs, PatchArgs, Tempos, time_from_zero};
use super::load::{Loaded, load};
use super::opener::Made;
use super::survey::survey;
use super::terminal::Bar;
use super::work::{MOST_TRIED, few_enough, few_enough_tries};
use super::{CARE_SHORT, Failure, Outcome, terminal};
use crate::export::{AdvicePage, Destination, SoundSettings};
use crate::judge::advise::{
    AdviseError, CARD_STEPS, DialSetting, Outlook, Question, Song, Watch, advise_watched, alternative, apart, blamed,
    card, outlook, tempos_of, usual_range,
};
use crate::judge::which;
use crate::patch::ORIGINAL;
use crate::show::album::advise_picture;
use crate::show::report::{Advised, advise_card, advise_csv, advise_json, advise_table};
use crate::source::songs;
use crate::store::interrupt;
use crate::time::{self, Tempo};
use clap::Args;
use std::path::PathBuf;
use std::sync::Arc;

/// The most steps of a dial.
const MOST_STEPS: i64 = 10_000;
/// From so many pulses on it is said how much there is to try where no bar shows it: some seconds.
pub(super) const LONG: u128 = 20_000_000;

#[derive(Args, Debug)]
#[command(group(clap::ArgGroup::new("files").args(["plot", "page"]).multiple(true)))]
pub(super) struct AdviseArgs {
    #[command(flatten)]
    patch: PatchArgs,
    #[command(flatten)]
    judge: JudgeArgs,
    #[command(flatten)]
    ear: EarArgs,
    /// Where the delay goes: sequencer.NAME.clock or sequencer.NAME.reset; parts may be left out where only one can be meant
    /// (default: a table of every input)
    #[arg(long, value_name = "PATH")]
    on: Option<String>,
    /// The variant to put it into: a fix, or several joined by +
    #[arg(long, value_name = "NAME", default_value = ORIGINAL)]
    fix: String,
    /// A file with [component.NAME] tables to try, beside those of the patch; may be given again
    #[arg(long, value_name = "FILE")]
    components: Vec<PathBuf>,
    /// Steps of a dial for one period: which of them fit
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=MOST_STEPS), allow_negative_numbers = true)]
    dial_steps: Option<u32>,
    /// A delay such as 40us, or a share of the period such as 1% or 1pct: over which tempos it passes; may be given again
    #[arg(long, value_name = "SETTING", value_parser = setting, allow_hyphen_values = true)]
    setting: Vec<DialSetting>,
    /// Between which tempos settings are followed, such as 20..300 (default: that, and wider if the tempos are)
    #[arg(long, value_name = "FROM..TO", value_parser = between)]
    between: Option<(Tempo, Tempo)>,
    /// Print a card instead: what to set for each tempo, and the one setting that serves all
    #[arg(long)]
    card: bool,
    /// The songs of the card and their tempos: a CSV file with the columns `song` and `tempo`
    #[arg(long, value_name = "FILE", requires = "card", conflicts_with = "tempo")]
    songs: Option<PathBuf>,
    /// Draw a picture: which delays will do at which tempo, and the components across them
    #[arg(long, conflicts_with = "card")]
    plot: bool,
    /// Write a listening page: the picture, and every component put into the path and heard beside the original, in one file
    #[arg(long, conflicts_with = "card")]
    page: bool,
    #[command(flatten)]
    open: OpenArgs,
    /// The folder that the picture or the page goes to; it is made if need be
    #[arg(long, value_name = "DIR", default_value = "out", requires = "files")]
    out: PathBuf,
    /// Write over files that are not this program's, or were changed since it made them
    #[arg(long, requires = "files")]
    overwrite: bool,
    /// How to print the result
    #[arg(long, value_enum, default_value = "table", conflicts_with = "card")]
    format: Format,
}

impl AdviseArgs {
    /// An option that was given and speaks of one input.
    fn of_one_input(&self) -> Option<&'static str> {
        let given = [
            (self.card, "--card"),
            (self.plot, "--plot"),
            (self.page, "--page"),
            (self.dial_steps.is_some(), "--dial-steps"),
            (!self.setting.is_empty(), "--setting"),
            (self.between.is_some(), "--between"),
        ];
        given.into_iter().find(|(given, _)| *given).map(|(_, option)| option)
    }
}

pub(super) fn run(args: &AdviseArgs) -> Result<Outcome, Failure> {
    let of_file = args.songs.as_ref().map(|file| songs(file)).transpose()?;
    let asked = match &of_file {
        Some(songs) => PatchArgs { tempo: Some(Tempos(tempos_of(songs))), ..args.patch.clone() },
        None => args.patch.clone(),
    };
    let mut loaded = load(&asked, args.judge.max_gap)?;
    let max_gap_from = super::ear::listen(&args.ear, &mut loaded)?;
    let variant = loaded.variant(&args.fix)?;
    let target = match (&args.on, args.of_one_input()) {
        (Some(on), _) => which::target(&variant.rig, on)?,
        (None, Some(option)) => which::only(&variant.rig, option)?,
        (None, None) => {
            let components = loaded.components(&args.components)?;
            return survey(&loaded, &variant, components, (max_gap_from, args.format));
        }
    };
    let components = loaded.components(&args.components)?;
    let patch = &loaded.patch;
    let page = args.page.then(|| AdvicePage::new(&loaded, &variant, target, &components)).transpose()?;
    let steps = args.dial_steps.or(args.card.then_some(CARD_STEPS));
    few_enough(&variant.rig, &patch.tempos, "`advise`")?;
    let question = Question {
        components: if args.card { &[] } else { &components },
        dial_steps: steps,
        settings: &args.setting,
        between: args.between.unwrap_or_else(|| usual_range(&patch.tempos)),
        rc: !args.card,
        ..Question::plain(patch, target)
    };
    let cancel = interrupt::flag();
    let ahead = outlook(&variant.rig, &question).map_err(refused)?;
    few_enough_tries(ahead)?;
    // What the search comes upon on its way is not known ahead.
    let bar = terminal::bar(u64::try_from(ahead.pulses).ok(), "{pos} of some {len} pulses {wide_bar} {elapsed}");
    if bar.is_hidden() && ahead.pulses > LONG {
        let Outlook { tries, pulses } = ahead;
        terminal::say(&format!("trying {tries} delays, components and tempos, {pulses} pulses in all"));
    }
    let watch = Watch { progress: &|pulses| bar.inc(pulses), cancel };
    let advice = advise_watched(&variant.rig, &question, &watch).map_err(refused)?;
    let none = !args.card && advice.tempos.iter().any(|at| at.passes.is_empty());
    let instead =
        none.then(|| alternative(&variant.rig, &question, MOST_TRIED, &watch)).transpose().map_err(refused)?;
    let aside = if args.card { None } else { apart(&variant.rig, &question, &advice, &watch).map_err(refused)? };
    let aside = aside.as_ref().map(|(aside, advice)| (aside, advice));
    let blamed = blamed(&variant.rig, &question, &advice).map_err(refused)?;
    bar.finish_and_clear();
    let advised = Advised {
        blamed,
        aside,
        instead,
        name: loaded.name.clone(),
        max_gap_from,
        title: patch.title.as_deref(),
        variant: &variant.name,
        rig: &variant.rig,
        advice: &advice,
    };
    if args.card {
        let card = card(&advice, &of_file.unwrap_or_else(|| Song::untitled(&patch.tempos)));
        terminal::result(|out| out.write_all(advise_card(&advised, &card).as_bytes()))?;
        return Ok(Outcome::Done);
    }
    let pictures = if args.plot { plot(args, &loaded, &advised)? } else { Vec::new() };
    tell(
        (args.format, &pictures),
        || advise_table(&advised, terminal::width()),
        |out| terminal::json(out, &advise_json(&advised)),
        |out| advise_csv(&advised, out),
    )?;
    let to = || {
        let (dir, overwrite, progress) = (args.out.clone(), args.overwrite, Arc::new(Bar::new()));
        Destination { dir, overwrite, sound: SoundSettings::of_page(1), progress }
    };
    let page = page.map(|page| page.write(&loaded, &advised, &to())).transpose()?;
    if let Some((_, shown)) = &page {
        match args.format {
            Format::Table => terminal::result(|out| {
                writeln!(out, "\nOpen {shown}, in any browser: hear every component beside the original.\n{CARE_SHORT}")
            })?,
            Format::Json | Format::Csv => beside(std::slice::from_ref(shown)),
        }
    }
    let for_a_sound = "compare makes them, of the fixes of a patch";
    Made { page: page.map(|p| p.0), for_a_page: "--page makes one", for_a_sound, ..Made::default() }.open(&args.open);
    Ok(Outcome::Done)
}

pub(super) fn refused(error: AdviseError) -> Failure {
    match error {
        AdviseError::Cancelled => Failure::Interrupted,
        other => Failure::input(other, "fewer bars, or a faster tempo"),
    }
}

/// Draws and writes the picture; gives back where it lies.
fn plot(args: &AdviseArgs, loaded: &Loaded, advised: &Advised<'_>) -> Result<Vec<String>, Failure> {
    let stem = loaded.stem()?;
    let title = loaded.patch.title.as_deref().unwrap_or(&stem);
    let picture = advise_picture(&stem, title, advised);
    Ok(hang((&args.out, args.overwrite), "advise", Some(&loaded.origin()), &[picture])?)
}

/// Reads `40us`, `1%` or `1pct`.
///
/// # Errors
/// A sentence.
fn setting(text: &str) -> Result<DialSetting, String> {
    DialSetting::share(text).unwrap_or_else(|| time_from_zero(text).map(DialSetting::Time))
}

/// Reads `20..300`.
///
/// # Errors
/// A sentence.
fn between(text: &str) -> Result<(Tempo, Tempo), String> {
    time::tempo_range(text).map_err(|e| e.to_string())
}
