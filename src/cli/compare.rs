use super::args::{DrawArgs, JudgeArgs, OpenArgs, PatchArgs, SoundArgs, TidyArgs};
use super::check::judged;
use super::load::{Loaded, load};
use super::opener::Made;
use super::output_folder::{FileSpec, OutputFolder, bank, lasts, origin, spec};
use super::stale::is_of;
use super::takes::say_left_out;
use super::work::Work;
use super::{CARE, CARE_SHORT, Failure, Outcome, terminal};
use crate::judge::Bodies;
use crate::patch::{Rig, Variant};
use crate::rig::RigError;
use crate::show::page::{ListeningPage, listening_page, over_budget};
use crate::show::report::{Compared, compare_table, plain};
use crate::show::scene::{PageSource, Versions, comparison_page};
use crate::sound::comparison::{Comparison, ComparisonPrograms, LoudnessMatch};
use crate::sound::render::{Bank, Channels, Gain};
use crate::sound::score::{Ensemble, Seating};
use crate::store::Kind;
use crate::time::{Instant, Tempo};
use clap::Args;
use rayon::prelude::*;

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
    work(&loaded, &fixes, &args.sound, !args.no_page)?;
    let variants = variants(&loaded, &fixes);
    say_left_out(variants.iter().flat_map(|v| loaded.patch.tempos.iter().map(|tempo| (&v.rig, *tempo))));
    let ensemble = ensemble(&variants, &args.sound)?;
    let bank = bank(&args.sound, &ensemble)?;
    let (compared, all) = compared(&loaded, &variants, &ensemble, (&args.sound, &args.draw))?;
    let programs = all.iter().map(|c| programs(c, &bank, &args.sound)).collect::<Result<Vec<_>, Failure>>()?;
    let files = loaded.patch.tempos.iter().map(|t| Files::new(&loaded, &fixes, *t, &args.draw));
    let files = files.collect::<Result<Vec<Files>, Failure>>()?;
    let page_name = (!args.no_page).then(|| Ok::<_, Failure>(format!("{}{}.html", loaded.stem()?, args.draw.tail())));
    let page_name = page_name.transpose()?;
    let names: Vec<String> = files.iter().flat_map(Files::names).chain(page_name.clone()).collect();
    let folder = OutputFolder::open(&args.sound, &names)?;
    folder.expect(programs.iter().flat_map(ComparisonPrograms::frames).map(|frames| 4 * frames).sum());
    let mut levels = Vec::new();
    for ((comparison, programs), files) in all.iter().zip(&programs).zip(&files) {
        levels.push(files.render(&folder, (&bank, &args.sound), comparison, programs)?);
    }
    let first = files.first().and_then(|f| f.fixes.first()).map(|[_, turns]| turns.name.clone());
    let made = Made {
        page: page_name.as_ref().map(|name| folder.path(name)),
        sound: first.as_ref().map(|name| folder.path(name)),
        for_a_page: "leave --no-page out",
        for_a_sound: "the patch has no fix",
    };
    let first = first.map(|name| folder.shown(&name));
    if let Some(name) = &page_name {
        let text = listening_page(&page(&loaded, &ensemble, &all, &levels, &compared)?);
        if let Some(words) = over_budget(text.len(), "tempos with `--tempo`, fixes with `--fix`, length with `--bars`")
        {
            terminal::say(&format!("note: {words}"));
        }
        folder.write_bytes(Kind::Page, name, text.as_bytes(), "compare", Some(origin(&loaded)), args.draw.run)?;
    }
    let page_name = page_name.map(|name| folder.shown(&name));
    folder.tidy(args.tidy, &names, |entry| is_of(entry, "compare", &loaded.name, args.draw.run))?;
    folder.done();
    let quiet = levels.iter().flat_map(|l| &l.fixes).filter(|fix| fix.short_db().is_some()).count();
    let table = compare_table(&loaded.patch, &loaded.name, &compared, terminal::width());
    terminal::result(|out| {
        out.write_all(table.as_bytes())?;
        match (&page_name, &first) {
            (Some(page), _) => writeln!(out, "\nOpen first {page}, in any browser: all versions side by side.")?,
            (None, Some(first)) => writeln!(
                out,
                "\nListen first to {first}: a few bars of the original, a rest, the same bars with the fix."
            )?,
            (None, None) => {}
        }
        let (files, dir) = (names.len(), plain(&args.sound.out.display().to_string()));
        writeln!(out, "All {files} files are in {dir}, listed in manifest.json{}", loudness(quiet))?;
        writeln!(out, "{CARE_SHORT}")
    })?;
    made.open(&args.open);
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
    loaded.variants(&args.fix)
}

/// Refuses a comparison that is too much for a WAV file, the disk or the memory.
///
/// # Errors
/// Exit status 2, with the figure and the bound.
fn work(loaded: &Loaded, fixes: &[Variant], sound: &SoundArgs, page: bool) -> Result<(), Failure> {
    let (original, tempos) = (&loaded.patch.original.rig, &loaded.patch.tempos);
    let mut work = Work::default();
    work.files(tempos.len() * (1 + 2 * fixes.len()) + usize::from(page));
    for &tempo in tempos {
        let end = original.clockwork(tempo).instant(original.end);
        // An alternation plays every bar twice.
        lasts(Instant(end.0.saturating_mul(2)), sound, Channels::Mono)?;
        let written = (sound.sample_rate, &spec(sound, Channels::Mono));
        work.sound(sound.lead_in, end, 1 + 3 * fixes.len(), written);
    }
    Ok(work.compared(&loaded.patch, fixes, page, "`compare`")?)
}

/// The original, then each fix.
fn variants<'a>(loaded: &'a Loaded, fixes: &'a [Variant]) -> Vec<&'a Variant> {
    std::iter::once(&loaded.patch.original).chain(fixes).collect()
}

fn ensemble(variants: &[&Variant], sound: &SoundArgs) -> Result<Ensemble, Failure> {
    let rigs: Vec<&Rig> = variants.iter().map(|v| &v.rig).collect();
    Ok(Ensemble::new(&rigs, Seating::Centre, sound.seed)?)
}

/// Judges and plays the original and each fix at every tempo.
fn compared<'v>(
    loaded: &Loaded,
    variants: &[&'v Variant],
    ensemble: &Ensemble,
    (sound, draw): (&SoundArgs, &DrawArgs),
) -> Result<(Vec<Compared<'v>>, Vec<Comparison<'v>>), Failure> {
    let (patch, run) = (&loaded.patch, draw.of(sound.seed));
    let mut bodies = Bodies::default();
    let (mut all, mut played) = (Vec::new(), Vec::new());
    for &tempo in &patch.tempos {
        let before = bodies.add(judged(variants[0], tempo, patch, run)?)?;
        for fix in &variants[1..] {
            let after = bodies.add(judged(fix, tempo, patch, run)?)?;
            all.push(Compared { before: before.clone(), after });
        }
        let refused = |e: RigError| Failure::input(&e, e.help());
        played.push(Comparison::new(variants, ensemble, patch.meter, (tempo, run)).map_err(refused)?);
    }
    Ok((all, played))
}

fn programs<'a>(
    comparison: &Comparison<'_>,
    bank: &'a Bank,
    sound: &SoundArgs,
) -> Result<ComparisonPrograms<'a>, Failure> {
    Ok(comparison.programs(bank, sound.lead_in, &spec(sound, Channels::Mono))?)
}

/// The files of one tempo.
struct Files {
    original: FileSpec,
    /// Of each fix, the one alone and the one by turns with the original.
    fixes: Vec<[FileSpec; 2]>,
}

impl Files {
    fn new(loaded: &Loaded, fixes: &[Variant], tempo: Tempo, draw: &DrawArgs) -> Result<Self, Failure> {
        let (stem, drawn, patch) = (loaded.stem()?, draw.tail(), origin(loaded));
        let file = |kind: Kind, variant: &str, tail: &str| {
            let name = format!("{stem}.{variant}.{tempo}bpm{drawn}{tail}.wav");
            let file = FileSpec::of_variant(name, kind, "compare", (&patch, variant), Some(tempo));
            FileSpec { run: draw.run, title: loaded.patch.title.clone(), ..file }
        };
        let of_fix = |fix: &Variant| {
            let both = format!("original+{}", fix.name);
            [file(Kind::Matched, &fix.name, ".matched"), file(Kind::Alternation, &both, "")]
        };
        Ok(Self { original: file(Kind::Matched, "original", ".matched"), fixes: fixes.iter().map(of_fix).collect() })
    }

    fn names(&self) -> Vec<String> {
        let all = std::iter::once(&self.original).chain(self.fixes.iter().flatten());
        all.map(|file| file.name.clone()).collect()
    }

    /// Matches each fix to the original in loudness and writes the files.
    fn render(
        &self,
        folder: &OutputFolder,
        (bank, sound): (&Bank, &SoundArgs),
        comparison: &Comparison<'_>,
        programs: &ComparisonPrograms<'_>,
    ) -> Result<LoudnessMatch, Failure> {
        let levels = folder.counted(|watch| programs.loudness_match(watch))?;
        for ([alone, turns], gain) in self.fixes.iter().zip(&levels.fixes) {
            if let Some(short) = gain.short_db() {
                let (name, turns) = (&alone.name, &turns.name);
                terminal::say(&format!(
                    "note: {name} is {short:.1} dB too quiet, or it would clip; {turns} is matched"
                ));
            }
        }
        // The original; then of each fix what it is alone, and what it is by turns.
        let finish = |n: usize| {
            let Some(of) = n.checked_sub(1) else {
                return folder.finish(&self.original, &programs.original, Gain::Fixed(levels.stand), None);
            };
            let (fix, [alone, turns]) = (of / 2, &self.fixes[of / 2]);
            if of % 2 == 0 {
                return folder.finish(alone, &programs.fixes[fix], Gain::Fixed(levels.fixes[fix].alone), None);
            }
            let of = (bank, sound.lead_in);
            let matched = folder.counted(|watch| comparison.turns(fix, levels.stand, of, watch))?;
            folder.finish(turns, &matched, Gain::Auto, None)
        };
        let names = self.names();
        let done = (0..names.len()).into_par_iter().map(|n| Ok(finish(n)?.0)).collect();
        folder.place_all(done, &names)?;
        Ok(levels)
    }
}

fn page(
    loaded: &Loaded,
    ensemble: &Ensemble,
    all: &[Comparison<'_>],
    levels: &[LoudnessMatch],
    compared: &[Compared<'_>],
) -> Result<ListeningPage, Failure> {
    let gains: Vec<Vec<f64>> = levels.iter().map(LoudnessMatch::together).collect();
    let tempos = all.iter().zip(&gains).map(|(comparison, gains)| Versions { played: &comparison.played, gains });
    Ok(comparison_page(&source(loaded, &loaded.stem()?), ensemble, &tempos.collect::<Vec<_>>(), compared))
}

/// What a page says of a patch.
pub(super) fn source<'a>(loaded: &'a Loaded, stem: &'a str) -> PageSource<'a> {
    PageSource { name: &loaded.name, stem, patch: &loaded.patch, range: super::plot::range(loaded), care: CARE }
}

/// A listening page without any other file: the original and these fixes.
///
/// # Errors
/// Exit status 2 for what cannot be rendered, 130 on Ctrl-C.
pub(super) fn listening(
    loaded: &Loaded,
    fixes: &[Variant],
    (sound, draw): (&SoundArgs, &DrawArgs),
    folder: &OutputFolder,
) -> Result<ListeningPage, Failure> {
    let variants = variants(loaded, fixes);
    let ensemble = ensemble(&variants, sound)?;
    let bank = bank(sound, &ensemble)?;
    let (compared, all) = compared(loaded, &variants, &ensemble, (sound, draw))?;
    let levels = all.iter().map(|comparison| {
        let programs = programs(comparison, &bank, sound)?;
        folder.counted(|watch| programs.loudness_match(watch))
    });
    let levels = levels.collect::<Result<Vec<_>, Failure>>()?;
    page(loaded, &ensemble, &all, &levels, &compared)
}
