//! The original against its fixes: matched in loudness, apart and by turns, and a page.

use super::{Destination, Draw, ExportError, FileSpec, OutputFolder, SoundSettings, is_of};
use crate::judge::{Bodies, Judged};
use crate::patch::{Rig, Variant};
use crate::show::page::{ListeningPage, PageVoice, listening_page, over_budget};
use crate::show::report::{CARE, Compared, Shop, all_left_out};
use crate::show::scene::{NEVER, PageSource, Versions, basket_page, comparison_page, page_voices, tempo_range};
use crate::show::workload::Workload;
use crate::sound::comparison::{Comparison, ComparisonPrograms, LoudnessMatch};
use crate::sound::render::{Bank, Channels, Gain};
use crate::sound::score::{Ensemble, Seating};
use crate::source::Loaded;
use crate::store::Kind;
use crate::time::{Instant, Tempo};
use rayon::prelude::*;
use std::path::PathBuf;

/// What is held against what.
#[derive(Clone, Copy, Debug)]
pub struct ComparisonAsked<'a> {
    /// The patch, at whose tempos.
    pub loaded: &'a Loaded,
    /// What its original is held against.
    pub fixes: &'a [Variant],
    /// Whose draws are heard.
    pub draw: Draw,
    /// Whether a page is written.
    pub page: bool,
    /// Whether what earlier runs left is removed.
    pub tidy: bool,
    /// The basket whose versions are among the fixes, if there is one.
    pub shop: Option<&'a Shop<'a>>,
}

/// What was written, and what is heard there.
#[derive(Debug)]
pub struct ComparisonFiles<'a> {
    /// Each fix beside the original, tempo by tempo.
    pub compared: Vec<Compared<'a>>,
    /// The page, if one was asked for.
    pub page: Option<PathBuf>,
    /// The file to be heard first.
    pub first: Option<PathBuf>,
    /// How many files there are.
    pub count: usize,
    /// How many of them are too quiet, or they would clip.
    pub quiet: usize,
}

/// Writes the original and each fix at every tempo, alone and by turns, and a page if that is asked for.
///
/// # Errors
/// [`ExportError`] for what is too much or cannot be rendered, and for the folder and its files.
pub fn comparison<'a>(asked: &ComparisonAsked<'a>, to: &Destination) -> Result<ComparisonFiles<'a>, ExportError> {
    let (&ComparisonAsked { loaded, fixes, draw, .. }, sound) = (asked, &to.sound);
    work(asked, sound)?;
    let (tempos, variants) = (&loaded.patch.tempos, variants(loaded, fixes));
    let played = variants.iter().flat_map(|v| tempos.iter().map(|tempo| (&v.rig, *tempo)));
    all_left_out(played).iter().for_each(|note| to.progress.say(note));
    let ensemble = ensemble(&variants, sound)?;
    let bank = sound.bank(&ensemble)?;
    let (judged, all) = judged(loaded, &variants, &ensemble, (sound, draw))?;
    let programs = all.iter().map(|c| programs(c, &bank, sound)).collect::<Result<Vec<_>, ExportError>>()?;
    let files = tempos.iter().map(|t| Files::new(loaded, fixes, *t, draw));
    let files = files.collect::<Result<Vec<Files>, ExportError>>()?;
    let of_shop = asked.shop.map_or_else(String::new, |shop| format!(".{}", shop.short_on()));
    let page_name =
        asked.page.then(|| Ok::<_, ExportError>(format!("{}{of_shop}{}.html", loaded.stem()?, draw.tail())));
    let page_name = page_name.transpose()?;
    let names: Vec<String> = files.iter().flat_map(Files::names).chain(page_name.clone()).collect();
    let folder = OutputFolder::open(to, &names)?;
    folder.expect(programs.iter().flat_map(ComparisonPrograms::frames).map(|frames| 4 * frames).sum());
    let mut levels = Vec::new();
    for ((comparison, programs), files) in all.iter().zip(&programs).zip(&files) {
        levels.push(files.render(&folder, (&bank, sound), comparison, programs)?);
    }
    if let Some(name) = &page_name {
        let mut page = page(loaded, &ensemble, &all, &levels, &judged)?;
        if let Some(shop) = asked.shop {
            let judged: Vec<&Judged<'_>> = judged.iter().flatten().collect();
            page = basket_page(page, &loaded.stem()?, shop, &judged);
        }
        let text = listening_page(&page);
        if let Some(words) = over_budget(text.len(), "tempos with `--tempo`, fixes with `--fix`, length with `--bars`")
        {
            folder.say(&format!("note: {words}"));
        }
        folder.write_bytes(Kind::Page, name, text.as_bytes(), "compare", Some(loaded.origin()), draw.0)?;
    }
    folder.tidy(asked.tidy, &names, |entry| is_of(entry, "compare", &loaded.name, draw.0))?;
    let first = files.first().and_then(|f| f.fixes.first()).map(|[_, turns]| folder.path(&turns.name));
    let page = page_name.map(|name| folder.path(&name));
    folder.done();
    let quiet = levels.iter().flat_map(|l| &l.fixes).filter(|fix| fix.short_db().is_some()).count();
    Ok(ComparisonFiles { compared: compared(judged), page, first, count: names.len(), quiet })
}

/// Refuses a comparison that is too much for a WAV file, the disk or the memory.
///
/// # Errors
/// With the figure and the bound.
pub(super) fn work(asked: &ComparisonAsked<'_>, sound: &SoundSettings) -> Result<(), ExportError> {
    let &ComparisonAsked { loaded, fixes, page, .. } = asked;
    let (original, tempos) = (&loaded.patch.original.rig, &loaded.patch.tempos);
    let mut work = Workload::default();
    work.files(tempos.len() * (1 + 2 * fixes.len()) + usize::from(page));
    for &tempo in tempos {
        let end = original.clockwork(tempo).instant(original.end);
        // An alternation plays every bar twice.
        sound.lasts(Instant(end.0.saturating_mul(2)), Channels::Mono)?;
        let written = (sound.sample_rate, &sound.spec(Channels::Mono));
        work.sound(sound.lead_in, end, 1 + 3 * fixes.len(), written);
    }
    Ok(work.compared(&loaded.patch, fixes, page, "`compare`")?)
}

/// The original, then each fix.
fn variants<'a>(loaded: &'a Loaded, fixes: &'a [Variant]) -> Vec<&'a Variant> {
    std::iter::once(&loaded.patch.original).chain(fixes).collect()
}

fn ensemble(variants: &[&Variant], sound: &SoundSettings) -> Result<Ensemble, ExportError> {
    let rigs: Vec<&Rig> = variants.iter().map(|v| &v.rig).collect();
    Ok(Ensemble::new(&rigs, Seating::Centre, sound.seed)?)
}

/// Judges and plays the original and each fix at every tempo: tempo by tempo, the original first.
fn judged<'v>(
    loaded: &Loaded,
    variants: &[&'v Variant],
    ensemble: &Ensemble,
    (sound, draw): (&SoundSettings, Draw),
) -> Result<(Vec<Vec<Judged<'v>>>, Vec<Comparison<'v>>), ExportError> {
    let (patch, run) = (&loaded.patch, draw.of(sound.seed));
    let mut bodies = Bodies::default();
    let (mut all, mut played) = (Vec::new(), Vec::new());
    for &tempo in &patch.tempos {
        let mut of_tempo = Vec::new();
        for variant in variants {
            of_tempo.push(bodies.add(Judged::new(variant, tempo, patch, run)?)?);
        }
        all.push(of_tempo);
        played.push(Comparison::new(variants, ensemble, patch.meter, (tempo, run))?);
    }
    Ok((all, played))
}

/// Each fix beside the original, tempo by tempo.
fn compared(judged: Vec<Vec<Judged<'_>>>) -> Vec<Compared<'_>> {
    let mut all = Vec::new();
    for mut of_tempo in judged {
        let fixes = of_tempo.split_off(1.min(of_tempo.len()));
        for before in of_tempo {
            all.extend(fixes.iter().map(|after| Compared { before: before.clone(), after: after.clone() }));
        }
    }
    all
}

/// A version's name in the name of a file: a comma and blanks are none there. Names of fixes have no dot, so that none is this one.
fn file_label(version: &str) -> String {
    version.replace(", the ", ".").replace(", ", ".").replace(' ', "-")
}

fn programs<'a>(
    comparison: &Comparison<'_>,
    bank: &'a Bank,
    sound: &SoundSettings,
) -> Result<ComparisonPrograms<'a>, ExportError> {
    Ok(comparison.programs(bank, sound.lead_in, &sound.spec(Channels::Mono))?)
}

/// The files of one tempo.
struct Files {
    original: FileSpec,
    /// Of each fix, the one alone and the one by turns with the original.
    fixes: Vec<[FileSpec; 2]>,
}

impl Files {
    fn new(loaded: &Loaded, fixes: &[Variant], tempo: Tempo, draw: Draw) -> Result<Self, ExportError> {
        let (stem, drawn, patch) = (loaded.stem()?, draw.tail(), loaded.origin());
        let file = |kind: Kind, variant: &str, tail: &str| {
            let name = format!("{stem}.{}.{tempo}bpm{drawn}{tail}.wav", file_label(variant));
            let file = FileSpec::of_variant(name, kind, "compare", (&patch, variant), Some(tempo));
            FileSpec { run: draw.0, title: loaded.patch.title.clone(), ..file }
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
        (bank, sound): (&Bank, &SoundSettings),
        comparison: &Comparison<'_>,
        programs: &ComparisonPrograms<'_>,
    ) -> Result<LoudnessMatch, ExportError> {
        let levels = folder.counted(|watch| programs.loudness_match(watch))?;
        for ([alone, turns], gain) in self.fixes.iter().zip(&levels.fixes) {
            if let Some(short) = gain.short_db() {
                let (name, turns) = (&alone.name, &turns.name);
                folder.say(&format!("note: {name} is {short:.1} dB too quiet, or it would clip; {turns} is matched"));
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
    judged: &[Vec<Judged<'_>>],
) -> Result<ListeningPage, ExportError> {
    let gains: Vec<Vec<f64>> = levels.iter().map(LoudnessMatch::together).collect();
    let tempos = all.iter().zip(&gains).map(|(comparison, gains)| Versions { played: &comparison.played, gains });
    let (stem, voices) = (loaded.stem()?, page_voices(ensemble));
    Ok(comparison_page(&page_source(loaded, &stem, &voices), ensemble, &tempos.collect::<Vec<_>>(), judged))
}

/// What a page says of a patch.
pub(super) fn page_source<'a>(loaded: &'a Loaded, stem: &'a str, voices: &'a [PageVoice]) -> PageSource<'a> {
    let range = tempo_range(&loaded.source, &loaded.patch);
    PageSource {
        name: &loaded.name,
        stem,
        patch: &loaded.patch,
        range,
        care: CARE,
        voices,
        drawn: true,
        cancel: &NEVER,
    }
}

/// A listening page without any other file: the original and these fixes.
///
/// # Errors
/// For what cannot be rendered, or where the program is asked to end.
pub fn comparison_listening(
    loaded: &Loaded,
    fixes: &[Variant],
    settings: (&SoundSettings, Draw),
    folder: &OutputFolder,
) -> Result<ListeningPage, ExportError> {
    listening(loaded, fixes, settings, &|programs| folder.counted(|watch| programs.loudness_match(watch)))
}

/// How what is heard of one tempo is matched in loudness.
type Matched<'a> = dyn Fn(&ComparisonPrograms<'_>) -> Result<LoudnessMatch, ExportError> + 'a;

fn listening(
    loaded: &Loaded,
    fixes: &[Variant],
    (sound, draw): (&SoundSettings, Draw),
    matched: &Matched<'_>,
) -> Result<ListeningPage, ExportError> {
    let variants = variants(loaded, fixes);
    let ensemble = ensemble(&variants, sound)?;
    let bank = sound.bank(&ensemble)?;
    let (judged, all) = judged(loaded, &variants, &ensemble, (sound, draw))?;
    let levels = all.iter().map(|comparison| matched(&programs(comparison, &bank, sound)?));
    let levels = levels.collect::<Result<Vec<_>, ExportError>>()?;
    page(loaded, &ensemble, &all, &levels, &judged)
}
