use super::album::beside;
use super::args::{DrawArgs, Format, JudgeArgs, OpenArgs, PatchArgs, SoundArgs, TidyArgs};
use super::load::{Loaded, load};
use super::opener::Made;
use super::work::{few_enough, few_enough_tries};
use super::{CARE_SHORT, Failure, Outcome, advise, terminal};
use crate::export::{ComparisonAsked, ComparisonFiles, Draw, comparison};
use crate::judge::Judged;
use crate::judge::advise::{Basket, Question, Watch, basket, basket_outlook};
use crate::judge::which;
use crate::patch::{ORIGINAL, Variant};
use crate::show::report::{Shop, compare_csv, compare_json, compare_table, plain, shop_csv, shop_json, shop_table};
use crate::show::scene::{MOST_HEARD, basket_variants};
use crate::store::interrupt;
use clap::Args;
use std::path::{Path, PathBuf};

#[derive(Args, Debug)]
pub(super) struct CompareArgs {
    #[command(flatten)]
    patch: PatchArgs,
    #[command(flatten)]
    judge: JudgeArgs,
    /// A fix to hold against the original, or several joined by +; may be given again (default: every fix)
    #[arg(long, value_name = "NAME")]
    fix: Vec<String>,
    /// Where components go instead, each as it usually is and at its worst: sequencer.NAME.clock or sequencer.NAME.reset; parts may be
    /// left out where only one can be meant
    #[arg(long, value_name = "PATH")]
    on: Option<String>,
    /// A file with [component.NAME] tables to hear, beside those of the patch; may be given again
    #[arg(long, value_name = "FILE")]
    components: Vec<PathBuf>,
    #[command(flatten)]
    draw: DrawArgs,
    /// Write the listening page: the versions side by side in a browser, in one file (compare does so anyhow)
    #[arg(long, conflicts_with = "no_page")]
    page: bool,
    /// Write no listening page
    #[arg(long)]
    no_page: bool,
    #[command(flatten)]
    open: OpenArgs,
    #[command(flatten)]
    tidy: TidyArgs,
    /// How to print the result
    #[arg(long, value_enum, default_value = "table")]
    format: Format,
    #[command(flatten)]
    sound: SoundArgs,
}

pub(super) fn run(args: &CompareArgs) -> Result<Outcome, Failure> {
    let loaded = load(&args.patch, args.judge.max_gap)?;
    let parts = (args.on.is_some() || !args.components.is_empty()).then(|| filled(args, &loaded)).transpose()?;
    let mut fixes = if parts.is_some() && args.fix.is_empty() { Vec::new() } else { fixes(args, &loaded)? };
    let taken: Vec<String> =
        std::iter::once(ORIGINAL).chain(fixes.iter().map(|fix| fix.name.as_str())).map(str::to_owned).collect();
    let (title, rig) = (loaded.patch.title.as_deref(), &loaded.patch.original.rig);
    let shop = parts.as_ref().map(|parts| Shop::new((&loaded.name, title), rig, parts, &taken));
    let with = |shop: &Shop<'_>| basket_variants(shop, shop.basket.advice.target);
    fixes.extend(shop.iter().flat_map(with).collect::<Vec<_>>());
    let asked = ComparisonAsked {
        loaded: &loaded,
        fixes: &fixes,
        draw: Draw(args.draw.run),
        page: !args.no_page,
        tidy: args.tidy.tidy,
        shop: shop.as_ref(),
    };
    let files = comparison(&asked, &args.sound.destination())?;
    let judged: Vec<&Judged<'_>> = files.compared.iter().map(|pair| &pair.after).collect();
    match (args.format, &shop) {
        (Format::Table, None) => {
            let table = compare_table(&loaded.patch, &loaded.name, &files.compared, terminal::width());
            tell(args, &table, &files)?;
        }
        (Format::Table, Some(shop)) => tell(args, &shop_table(shop, &judged, terminal::width()), &files)?,
        (Format::Json, None) => {
            terminal::result(|out| terminal::json(out, &compare_json(&loaded.name, &loaded.patch, &files.compared)))?;
        }
        (Format::Json, Some(shop)) => terminal::result(|out| terminal::json(out, &shop_json(shop, &judged)))?,
        (Format::Csv, None) => terminal::result(|out| compare_csv(&files.compared, out))?,
        (Format::Csv, Some(shop)) => terminal::result(|out| shop_csv(shop, &judged, out))?,
    }
    if args.format != Format::Table {
        beside(&files.page.iter().chain(&files.first).map(|path| shown(path)).collect::<Vec<_>>());
    }
    let (for_a_page, for_a_sound) = ("leave --no-page out", "the patch has no fix");
    Made { page: files.page, sound: files.first, for_a_page, for_a_sound }.open(&args.open);
    Ok(Outcome::Done)
}

fn shown(path: &Path) -> String {
    plain(&path.display().to_string())
}

/// Prints the table, and what to listen to first.
fn tell(args: &CompareArgs, table: &str, files: &ComparisonFiles<'_>) -> Result<(), Failure> {
    terminal::result(|out| {
        out.write_all(table.as_bytes())?;
        match (files.page.as_deref().map(shown), files.first.as_deref().map(shown)) {
            (Some(page), _) => writeln!(out, "\nOpen first {page}, in any browser: all versions side by side.")?,
            (None, Some(first)) => writeln!(
                out,
                "\nListen first to {first}: a few bars of the original, a rest, the same bars with the fix."
            )?,
            (None, None) => {}
        }
        let (count, dir) = (files.count, shown(&args.sound.out));
        writeln!(out, "All {count} files are in {dir}, listed in manifest.json{}", loudness(files.quiet))?;
        writeln!(out, "{CARE_SHORT}")
    })
}

/// All components that were named, in the path that was: how each does, and the rigs in which each is heard.
fn filled(args: &CompareArgs, loaded: &Loaded) -> Result<Basket, Failure> {
    let (patch, rig) = (&loaded.patch, &loaded.patch.original.rig);
    let target = match &args.on {
        Some(on) => which::target(rig, on)?,
        None => which::only(rig, "--components")?,
    };
    let components = loaded.components(&args.components)?;
    if components.is_empty() {
        return Err(Failure::input(
            "there is no component to be heard",
            "name a list with --components, or write [component.NAME] tables into the patch",
        ));
    }
    few_enough(rig, &patch.tempos, "`compare`")?;
    let question = Question { components: &components, ..Question::plain(patch, target) };
    let ahead = basket_outlook(rig, &question).map_err(advise::refused)?;
    few_enough_tries(ahead)?;
    let bar = terminal::bar(u64::try_from(ahead.pulses).ok(), "{pos} of some {len} pulses {wide_bar} {elapsed}");
    let watch = Watch { progress: &|pulses| bar.inc(pulses), cancel: interrupt::flag() };
    let basket = basket(rig, &question, MOST_HEARD, &watch).map_err(advise::refused)?;
    bar.finish_and_clear();
    Ok(basket)
}

/// How the two of a pair stand to each other, with so many fixes that are too quiet in a file of their own.
fn loudness(quiet: usize) -> String {
    let but = match quiet {
        0 => return "; the two of a pair are matched in loudness.".to_owned(),
        1 => "the file that the note above names: it would clip".to_owned(),
        n => format!("the {n} files that the notes above name: they would clip"),
    };
    format!(".\nThe two of a pair are matched in loudness, but for {but}.")
}

fn fixes(args: &CompareArgs, loaded: &Loaded) -> Result<Vec<Variant>, Failure> {
    if loaded.patch.fixes.is_empty() {
        return Err(Failure::input(
            format!("`{}` has no fix to hold against the original", loaded.name),
            "write one at the end of the patch, such as\n\n    [fix.later]\n    about = \"one step on a phase dial\"\n    \
             set.\"clock.OUTPUT.phase\" = \"1 %\"\n",
        ));
    }
    if args.fix.is_empty() {
        return Ok(loaded.patch.fixes.clone());
    }
    if args.fix.iter().any(|f| f == "original") {
        return Err(Failure::input("`original` is what every fix is held against", "name fixes only"));
    }
    Ok(loaded.variants(&args.fix)?)
}
