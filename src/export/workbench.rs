//! A listening page again and again, of a patch that changes while it is listened to.

use super::comparison::{page_source, work};
use super::{ComparisonAsked, Draw, ExportError, SoundSettings};
use crate::judge::{Bodies, Judged};
use crate::patch::{Rig, Variant, Voice};
use crate::show::page::{ListeningPage, PageVoice};
use crate::show::report::CARE;
use crate::show::scene::{PageSource, Versions, comparison_page};
use crate::sound::comparison::{Comparison, PlayedVariant};
use crate::sound::render::{Channels, Watch};
use crate::sound::score::{Cast, Ensemble, Seating};
use crate::source::Loaded;
use crate::time::Tempo;
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// How much of a page is made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Depth {
    /// One tempo, without pictures: what an ear waits for.
    Moment(Tempo),
    /// All tempos and all pictures, at the levels that are known.
    Pictures,
    /// All of it, and levels that are not known are measured.
    Levels,
}

/// A page as the workbench makes it.
#[derive(Clone, Debug)]
pub struct Laid {
    /// The page.
    pub page: ListeningPage,
    /// Whether all its levels are measured.
    pub level: bool,
}

/// What is kept between one page and the next, so that the next is made sooner: voices that were drawn, levels that were measured.
/// Several may work at it at once.
#[derive(Debug)]
pub struct Workbench {
    sound: SoundSettings,
    draw: Draw,
    kept: Mutex<Kept>,
}

#[derive(Debug, Default)]
struct Kept {
    cast: Cast,
    voices: Vec<((Voice, usize), PageVoice)>,
    bodies: Bodies,
    levels: Levels,
}

/// What sounds of a version, apart from when: each voice at each level, and how often.
type Strokes = BTreeMap<(String, u64), usize>;

/// The factors with which versions are equally loud.
#[derive(Debug, Default)]
struct Levels {
    measured: Vec<(Tempo, Vec<Strokes>, Vec<f64>)>,
}

impl Levels {
    /// So many tempos with their versions are remembered.
    const MOST: usize = 256;

    fn known(&self, tempo: Tempo, all: &[Strokes]) -> Option<&[f64]> {
        let found = self.measured.iter().rev().find(|(at, strokes, _)| *at == tempo && strokes == all);
        found.map(|(.., gains)| &gains[..])
    }

    fn note(&mut self, tempo: Tempo, all: Vec<Strokes>, gains: Vec<f64>) {
        if self.measured.len() >= Self::MOST {
            self.measured.remove(0);
        }
        self.measured.push((tempo, all, gains));
    }

    /// The factors, or the nearest that is known until they are measured: of the same version, at this tempo or another, else the
    /// first that is known, else 1/2.
    fn likely(&self, tempo: Tempo, all: &[Strokes]) -> Vec<f64> {
        if let Some(known) = self.known(tempo, all) {
            return known.to_vec();
        }
        let of = |strokes: &Strokes| {
            let each = self.measured.iter().rev().flat_map(|(at, known, gains)| {
                known.iter().zip(gains).filter(|(own, _)| *own == strokes).map(move |(_, gain)| (*at == tempo, *gain))
            });
            each.max_by_key(|(here, _)| *here).map(|(_, gain)| gain)
        };
        let usual = self.measured.last().and_then(|(.., gains)| gains.first()).copied().unwrap_or(0.5);
        all.iter().map(|strokes| of(strokes).unwrap_or(usual)).collect()
    }
}

impl Workbench {
    /// With nothing on it yet.
    #[must_use]
    pub fn new(sound: SoundSettings, draw: Draw) -> Self {
        Self { sound, draw, kept: Mutex::default() }
    }

    fn kept(&self) -> MutexGuard<'_, Kept> {
        self.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A page of these versions, the first of which is the original.
    ///
    /// # Errors
    /// For what is too much or cannot be played, and where `cancel` is set meanwhile.
    ///
    /// # Panics
    /// If there is no version.
    pub fn page(
        &self,
        loaded: &Loaded,
        versions: &[&Variant],
        depth: Depth,
        cancel: &AtomicBool,
    ) -> Result<Laid, ExportError> {
        let (sound, patch) = (&self.sound, &loaded.patch);
        let fixes: Vec<Variant> = versions[1..].iter().map(|v| (*v).clone()).collect();
        work(&ComparisonAsked { loaded, fixes: &fixes, draw: self.draw, page: true, tidy: false, shop: None }, sound)?;
        let rigs: Vec<&Rig> = versions.iter().map(|v| &v.rig).collect();
        let (ensemble, voices) = self.kept().seated(&rigs, sound.seed)?;
        let tempos = match depth {
            Depth::Moment(tempo) => vec![tempo],
            Depth::Pictures | Depth::Levels => patch.tempos.clone(),
        };
        let (mut judged, mut played, mut gains) = (Vec::new(), Vec::new(), Vec::new());
        let mut level = true;
        let goes_on = || match cancel.load(Ordering::Relaxed) {
            true => Err(ExportError::Interrupted(crate::store::interrupt::Interrupted)),
            false => Ok(()),
        };
        for tempo in tempos {
            goes_on()?;
            let (of_judged, of_played) = self.at(loaded, versions, tempo)?;
            let strokes: Vec<Strokes> = of_played.iter().map(|p| strokes(p, &ensemble, &voices)).collect();
            if depth == Depth::Levels && self.kept().levels.known(tempo, &strokes).is_none() {
                let measured = self.measured(loaded, versions, (&ensemble, tempo), cancel)?;
                self.kept().levels.note(tempo, strokes.clone(), measured);
            }
            level &= self.kept().levels.known(tempo, &strokes).is_some();
            gains.push(self.kept().levels.likely(tempo, &strokes));
            judged.push(of_judged);
            played.push(of_played);
        }
        let stem = loaded.stem()?;
        let source = match depth {
            // The range of pictures is looked for in the patch, and that takes its time.
            Depth::Moment(tempo) => PageSource {
                name: &loaded.name,
                stem: &stem,
                patch,
                range: (tempo, tempo),
                care: CARE,
                voices: &voices,
                drawn: false,
                cancel,
            },
            Depth::Pictures | Depth::Levels => PageSource { cancel, ..page_source(loaded, &stem, &voices) },
        };
        let all = played.iter().zip(&gains).map(|(played, gains)| Versions { played, gains });
        let page = comparison_page(&source, &ensemble, &all.collect::<Vec<_>>(), &judged);
        // Pictures that were given up are not whole.
        goes_on()?;
        Ok(Laid { page, level })
    }

    /// Versions at a tempo, judged and played.
    fn at<'v>(
        &self,
        loaded: &Loaded,
        versions: &[&'v Variant],
        tempo: Tempo,
    ) -> Result<(Vec<Judged<'v>>, Vec<PlayedVariant<'v>>), ExportError> {
        let run = self.draw.of(self.sound.seed);
        let one = |(n, &version): (usize, &&'v Variant)| {
            let one = PlayedVariant::new(version, n, tempo, run)?;
            Ok((Judged::of(version, &loaded.patch, &one.performance)?, one))
        };
        let all: Result<Vec<_>, ExportError> = versions.par_iter().enumerate().map(one).collect();
        let (plain, played): (Vec<_>, _) = all?.into_iter().unzip();
        // What is kept is asked for one after the other, and never by what runs in parallel: that could wait for itself.
        let mut kept = self.kept();
        let judged: Result<_, _> = plain.into_iter().map(|plain| kept.bodies.add(plain)).collect();
        Ok((judged?, played))
    }

    /// The factors with which all versions are equally loud at a tempo.
    fn measured(
        &self,
        loaded: &Loaded,
        versions: &[&Variant],
        (ensemble, tempo): (&Ensemble, Tempo),
        cancel: &AtomicBool,
    ) -> Result<Vec<f64>, ExportError> {
        let (sound, run) = (&self.sound, self.draw.of(self.sound.seed));
        let bank = sound.bank(ensemble)?;
        let comparison = Comparison::new(versions, ensemble, loaded.patch.meter, (tempo, run))?;
        let programs = comparison.programs(&bank, sound.lead_in, &sound.spec(Channels::Mono))?;
        Ok(programs.loudness_match(Watch { progress: &|_| {}, cancel })?.together())
    }
}

impl Kept {
    /// The voices of some rigs, ready to be played, and as pages have them.
    fn seated(&mut self, rigs: &[&Rig], seed: u64) -> Result<(Ensemble, Vec<PageVoice>), ExportError> {
        let ensemble = Ensemble::of_cast(rigs, Seating::Centre, seed, &mut self.cast)?;
        let mut now = Vec::new();
        for (n, (voice, stroke)) in ensemble.strokes().enumerate() {
            let same = |(known, _): &&((Voice, usize), PageVoice)| known.1 == stroke && known.0 == *voice;
            let known = self.voices.iter().find(same).map(|(_, page)| page.clone());
            now.push(((voice.clone(), stroke), known.unwrap_or_else(|| PageVoice::new(ensemble.master(n)))));
        }
        let voices = now.iter().map(|(_, page)| page.clone()).collect();
        self.voices = now;
        Ok((ensemble, voices))
    }
}

fn strokes(played: &PlayedVariant<'_>, ensemble: &Ensemble, voices: &[PageVoice]) -> Strokes {
    let mut all = Strokes::new();
    for hit in &played.hits {
        let (voice, gain) = ensemble.part(played.of, hit);
        *all.entry((voices[voice].id().to_owned(), gain.to_bits())).or_default() += 1;
    }
    all
}
