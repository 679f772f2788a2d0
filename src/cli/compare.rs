use super::args::{DrawArgs, JudgeArgs, OpenArgs, PatchArgs, SoundArgs, TidyArgs};
use super::load::{Loaded, load};
use super::opener::Made;
use super::{CARE_SHORT, Failure, Outcome, terminal};
use crate::export::{ComparisonAsked, Draw, comparison};
use crate::patch::Variant;
use crate::show::report::{compare_table, plain};
use clap::Args;

#[derive(Args, Debug)]
pub(super) struct CompareArgs {
    #[command(flatten)]
    patch: PatchArgs,
    #[command(flatten)]
    judge: JudgeArgs,
    /// A fix to hold against the original, or several joined by +; may be given again (default: every fix)
    #[arg(long, value_name = "NAME")]
    fix: Vec<String>,
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
    #[command(flatten)]
    sound: SoundArgs,
}

pub(super) fn run(args: &CompareArgs) -> Result<Outcome, Failure> {
    let loaded = load(&args.patch, args.judge.max_gap)?;
    let fixes = fixes(args, &loaded)?;
    let asked = ComparisonAsked {
        loaded: &loaded,
        fixes: &fixes,
        draw: Draw(args.draw.run),
        page: !args.no_page,
        tidy: args.tidy.tidy,
    };
    let files = comparison(&asked, &args.sound.destination())?;
    let table = compare_table(&loaded.patch, &loaded.name, &files.compared, terminal::width());
    let shown = |path: &std::path::PathBuf| plain(&path.display().to_string());
    terminal::result(|out| {
        out.write_all(table.as_bytes())?;
        match (files.page.as_ref().map(shown), files.first.as_ref().map(shown)) {
            (Some(page), _) => writeln!(out, "\nOpen first {page}, in any browser: all versions side by side.")?,
            (None, Some(first)) => writeln!(
                out,
                "\nListen first to {first}: a few bars of the original, a rest, the same bars with the fix."
            )?,
            (None, None) => {}
        }
        let (count, dir) = (files.count, plain(&args.sound.out.display().to_string()));
        writeln!(out, "All {count} files are in {dir}, listed in manifest.json{}", loudness(files.quiet))?;
        writeln!(out, "{CARE_SHORT}")
    })?;
    let (for_a_page, for_a_sound) = ("leave --no-page out", "the patch has no fix");
    Made { page: files.page, sound: files.first, for_a_page, for_a_sound }.open(&args.open);
    Ok(Outcome::Done)
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
