//! From a lesson's file to its page.

use super::args::{BoxesArgs, FilesArgs, OpenArgs, PatchArgs, Tempos};
use super::load::{load, read_text};
use super::opener::Made;
use super::terminal::Bar;
use super::work::Work;
use super::{CARE, CARE_SHORT, Failure, Outcome, terminal};
use crate::export::{
    Destination, Draw, FlamAsked, OutputFolder, SoundSettings, comparison_listening, flam_listening, reel,
    reel_masters, reel_work,
};
use crate::patch::{
    Chapter, ChapterContent, Faults, FileKind, FlamSetting, Lesson, PatchSetting, Rig, Spot, Variant, may_be_patch,
    quantity, shown,
};
use crate::show::page::{LessonPage, ListeningPage, PageChapter, lesson_page, over_largest};
use crate::sound::flam::{FlamGap, pair, pair_rig};
use crate::sound::render::Master;
use crate::source::refused;
use crate::store::{Kind, sha256_hex};
use crate::time::Tempo;
use clap::Args;
use std::cell::RefCell;
use std::path::{Path, PathBuf};
use std::sync::Arc;

#[derive(Args, Debug)]
pub(super) struct LessonArgs {
    /// The lesson's file; what it names is looked for from its folder on
    lesson: PathBuf,
    /// The folder that the page goes to; it is made if need be
    #[arg(long, value_name = "DIR", default_value = "out")]
    out: PathBuf,
    /// What all chance is drawn from: another number, another noise
    #[arg(long, value_name = "N", default_value_t = 1, allow_negative_numbers = true)]
    seed: u64,
    /// Write over files that are not this program's, or were changed since it made them
    #[arg(long)]
    overwrite: bool,
    /// Also write all that it plays into one sound file, each chapter after as many clicks as its number
    #[arg(long)]
    reel: bool,
    /// Open the page with the system's own program, or the one that HITGAP_OPENER names
    #[arg(long)]
    open: bool,
}

pub(super) fn run(args: &LessonArgs) -> Result<Outcome, Failure> {
    let name = args.lesson.display().to_string();
    let source = read_text(&args.lesson, "a lesson")?;
    let color = terminal::color();
    let lesson =
        Lesson::parse(&source).map_err(|faults| refused(&source, FileKind::Lesson, (&name, &faults), color))?;
    let stem = stem(&args.lesson)?;
    let sound = SoundSettings::of_page(args.seed);
    let (dir, overwrite, progress) = (args.out.clone(), args.overwrite, Arc::new(Bar::new()));
    let to = Destination { dir, overwrite, sound, progress };
    let folder = args.lesson.parent().unwrap_or(Path::new(""));
    let reader = Reader { folder, name: &name, source: &source, color, reel: args.reel, work: RefCell::default() };
    // All that is named is looked for before anything is played.
    for chapter in &lesson.chapters {
        reader.named(chapter)?;
    }
    let file = format!("{stem}.html");
    let reel_file = args.reel.then(|| format!("{stem}.reel.wav"));
    let names: Vec<String> = std::iter::once(&file).chain(&reel_file).cloned().collect();
    let folder = OutputFolder::open(&to, &names)?;
    let (mut chapters, mut voices) = (Vec::new(), Vec::new());
    for chapter in &lesson.chapters {
        let (player, masters) = match &chapter.played {
            ChapterContent::Patch(patch) => reader.patch(chapter, patch, &sound, &folder)?,
            ChapterContent::Flam(flam) => reader.flam(chapter, flam, &sound, &folder)?,
        };
        let player = reader.looped(chapter, player)?;
        chapters.push(PageChapter::new(chapter, player));
        voices.push(masters);
    }
    let page = LessonPage {
        title: lesson.title.clone(),
        note: lesson.note.clone(),
        source: name.clone(),
        care: CARE.to_owned(),
        chapters,
    };
    let text = lesson_page(&page);
    if let Some(found) = over_largest(text.len()) {
        return Err(Failure::input(
            found,
            "name fewer tempos, fixes or bars in its chapters, or make two lessons of it",
        ));
    }
    let made_from = (name.clone(), sha256_hex(source.as_bytes()));
    let reel = reel_file.map(|name| reel((&folder, &sound), &name, (&page, voices), (&stem, &made_from)));
    let reel = reel.transpose()?;
    folder.write_bytes(Kind::Page, &file, text.as_bytes(), "lesson", Some(made_from), None)?;
    let shown = folder.shown(&file);
    let made = Made { page: Some(folder.path(&file)), ..Made::default() };
    folder.done();
    terminal::result(|out| {
        out.write_all(page.summary().as_bytes())?;
        writeln!(out, "\nOpen {shown}, in any browser.")?;
        if let Some(reel) = &reel {
            writeln!(out, "Or play {reel}: each chapter after as many clicks as its number.")?;
        }
        writeln!(out, "{CARE_SHORT}")
    })?;
    made.open(&OpenArgs { open: args.open, play: false });
    Ok(Outcome::Done)
}

fn stem(file: &Path) -> Result<String, Failure> {
    let stem = super::file::stem(file)?;
    // A lesson may be called LESSON.lesson.toml, to tell it from patches.
    let name = stem.strip_suffix(".lesson").unwrap_or(&stem);
    if name.is_empty() {
        let found = format!("`{}` has no file name", shown(&file.display().to_string()));
        return Err(Failure::input(found, "name a lesson's file"));
    }
    Ok(name.to_owned())
}

/// Two voices of the kit.
type Pair = [crate::patch::Voice; 2];

/// What turns the names of a lesson into what they mean, and points at those that mean nothing.
struct Reader<'a> {
    folder: &'a Path,
    name: &'a str,
    source: &'a str,
    color: bool,
    /// Whether a reel is made too.
    reel: bool,
    /// What all chapters so far make.
    work: RefCell<Work>,
}

impl Reader<'_> {
    fn fault(&self, spot: &Spot, message: &str, label: &str, help: &str) -> Failure {
        self.refused(&spot.fault(message, label, help))
    }

    fn refused(&self, faults: &Faults) -> Failure {
        Failure::Input(faults.render(self.name, self.source, self.color))
    }

    fn file(&self, spot: &Spot) -> PathBuf {
        self.folder.join(spot.text.trim())
    }

    /// Whether the patch is there, and the voices.
    fn named(&self, chapter: &Chapter) -> Result<(), Failure> {
        match &chapter.played {
            ChapterContent::Patch(PatchSetting { file, .. }) => {
                let path = self.file(file);
                if path.is_file() {
                    return Ok(());
                }
                let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
                let help = format!(
                    "paths are looked for from the lesson's folder on: is it in `{}`?",
                    shown(&folder.display().to_string())
                );
                Err(self.fault(file, &format!("there is no patch `{}`", shown(&file.text)), "no such file", &help))
            }
            ChapterContent::Flam(flam) => self.settings(chapter, flam).map(|_| ()),
        }
    }

    fn patch(
        &self,
        chapter: &Chapter,
        patch: &PatchSetting,
        sound: &SoundSettings,
        folder: &OutputFolder,
    ) -> Result<(ListeningPage, Vec<Master>), Failure> {
        let PatchSetting { file, fixes, bars, run } = patch;
        let tempo = (!chapter.tempos.is_empty()).then(|| Tempos(chapter.tempos.clone()));
        let path = self.file(file);
        if !may_be_patch(&read_text(&path, "a patch")?) {
            // Who wrote the lesson may be another than who reads what is printed: nothing of such a file is shown.
            let message = format!("`{}` is no patch", shown(&file.text));
            let help = "name a file with [clock.NAME] and [sequencer.NAME] tables, such as `hitgap new` writes";
            return Err(self.fault(file, &message, "expected the path of a patch", help));
        }
        let loaded = load(
            &PatchArgs { patch: path, tempo, bars: *bars, boxes: BoxesArgs::default(), files: FilesArgs::default() },
            None,
        )?;
        let variant = |spot: &Spot| {
            spot.check_fix(&loaded.patch).map_err(|faults| self.refused(&faults))?;
            Ok::<_, Failure>(loaded.variant(&spot.text)?)
        };
        let chosen: Vec<Variant> = match fixes.as_slice() {
            [] => loaded.patch.fixes.clone(),
            fixes => fixes.iter().map(variant).collect::<Result<_, _>>()?,
        };
        self.work.borrow_mut().compared(&loaded.patch, &chosen, true, "`lesson`")?;
        let rigs: Vec<&Rig> = std::iter::once(&loaded.patch.original).chain(&chosen).map(|v| &v.rig).collect();
        if self.reel {
            reel_work(&mut self.work.borrow_mut(), &loaded.patch.tempos, &rigs, sound)?;
        }
        let page = comparison_listening(&loaded, &chosen, (sound, Draw(*run)), folder)?;
        Ok((page, self.masters(&rigs, sound)?))
    }

    /// The sounds of the voices as a page numbers them, if a reel needs them.
    fn masters(&self, rigs: &[&Rig], sound: &SoundSettings) -> Result<Vec<Master>, Failure> {
        if self.reel { Ok(reel_masters(rigs, sound)?) } else { Ok(Vec::new()) }
    }

    /// The loop that is asked for instead of the shortest that repeats.
    fn looped(&self, chapter: &Chapter, mut player: ListeningPage) -> Result<ListeningPage, Failure> {
        let most = player.tempos.iter().map(|t| t.available).min().unwrap_or(1);
        if let Some(bars) = chapter.loop_bars(most).map_err(|faults| self.refused(&faults))? {
            player.tempos.iter_mut().for_each(|t| t.bars = bars);
        }
        Ok(player)
    }

    fn settings(&self, chapter: &Chapter, flam: &FlamSetting) -> Result<(Pair, Vec<FlamGap>, Vec<Tempo>), Failure> {
        let told = |spot: &Spot, label: &str, (found, help): (String, String)| self.fault(spot, &found, label, &help);
        let tempos = if chapter.tempos.is_empty() { vec![Tempo::whole(120)] } else { chapter.tempos.clone() };
        let voices = pair(&flam.voices.text)
            .map_err(|e| told(&flam.voices, "expected two voices of the kit", (e.to_string(), e.help())))?;
        let period =
            quantity::rate(&flam.rate.text).map_err(|e| told(&flam.rate, "no rate", (e.to_string(), e.help())))?;
        let read = |spot: &Spot| {
            FlamGap::parse(&spot.text, flam.shares, period, &tempos)
                .map_err(|e| told(spot, "expected at most 10 s", (e.to_string(), e.help())))
        };
        let settings = flam.apart.iter().map(read).collect::<Result<_, _>>()?;
        Ok((voices, settings, tempos))
    }

    fn flam(
        &self,
        chapter: &Chapter,
        flam: &FlamSetting,
        sound: &SoundSettings,
        folder: &OutputFolder,
    ) -> Result<(ListeningPage, Vec<Master>), Failure> {
        let (voices, settings, tempos) = self.settings(chapter, flam)?;
        let mut work = self.work.borrow_mut();
        work.versions(tempos.len() * (1 + settings.len()));
        work.fits("`lesson`")?;
        let asked = FlamAsked {
            title: &chapter.heading,
            source: self.name,
            voices: &voices,
            settings: &settings,
            rate: flam.shares.then_some(flam.rate.text.as_str()),
            tempos: &tempos,
        };
        let page = flam_listening(&asked, sound, folder)?;
        Ok((page, self.masters(&[&pair_rig(&voices)], sound)?))
    }
}
