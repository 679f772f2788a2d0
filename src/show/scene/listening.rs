use super::{gap_picture, moment, timing_picture};
use crate::judge::Gap;
use crate::judge::Judged;
use crate::patch::{Patch, Step, Variant};
use crate::show::page::{Cell, Drawn, ListeningPage, PagePlayer, PageTempo, PageVariant, PageVoice};
use crate::show::picture::{GapPicture, NARROW, TimingPicture, WIDTH, gap_over_tempo_within, timing_within};
use crate::show::report::{cell_lines, gap_phrase, one_phrase, verdict_sentence};
use crate::sound::comparison::PlayedVariant;
use crate::sound::loops::Loops;
use crate::sound::score::Ensemble;
use crate::text::nine_places;
use crate::time::Tempo;
use rayon::prelude::*;
use std::sync::atomic::{AtomicBool, Ordering};

/// What a page says of the file that it is made from.
#[derive(Clone, Copy, Debug)]
pub struct PageSource<'a> {
    /// The patch as it was named.
    pub name: &'a str,
    /// Its name in the names of files.
    pub stem: &'a str,
    /// What it says.
    pub patch: &'a Patch,
    /// The tempos from which and to which pictures go.
    pub range: (Tempo, Tempo),
    /// The caution about listening.
    pub care: &'a str,
    /// The voices of the ensemble, in its order.
    pub voices: &'a [PageVoice],
    /// Whether pictures are drawn.
    pub drawn: bool,
    /// Set where nobody wants the pictures any more: those that are not drawn yet are left out.
    pub cancel: &'a AtomicBool,
}

impl PageSource<'_> {
    fn draws(&self) -> bool {
        self.drawn && !self.cancel.load(Ordering::Relaxed)
    }
}

/// The versions that are held against each other at one tempo.
#[derive(Clone, Copy, Debug)]
pub struct Versions<'a> {
    /// What was played, the original first.
    pub played: &'a [PlayedVariant<'a>],
    /// The factors with which all are equally loud.
    pub gains: &'a [f64],
}

/// The page of a comparison: for each tempo what is played, and what is to be said of each version there, the original first.
#[must_use]
pub fn comparison_page(
    source: &PageSource<'_>,
    ensemble: &Ensemble,
    tempos: &[Versions<'_>],
    judged: &[Vec<Judged<'_>>],
) -> ListeningPage {
    let patch = source.patch;
    let title = patch.title.as_deref().unwrap_or(source.stem);
    let variants: Vec<_> = tempos.first().map_or_else(Vec::new, |v| v.played.iter().map(|p| p.variant).collect());
    let page_tempos =
        tempos.iter().zip(judged).map(|(versions, judged)| page_tempo(source, ensemble, *versions, judged.iter()));
    // Each version at all tempos.
    let versions = (0..variants.len()).map(|n| judged.iter().filter_map(|of_tempo| of_tempo.get(n)).collect());
    let versions: Vec<Vec<&Judged<'_>>> = versions.collect();
    let told = versions.iter().all(|v| !v.is_empty()).then(|| verdict_sentence(&versions, patch.max_gap));
    ListeningPage {
        lead: told.map_or_else(String::new, |sentence| format!("{sentence}.")),
        variants: variants.iter().map(|v| version(v, &v.name, v.about.clone())).collect(),
        tempos: page_tempos.collect(),
        pictures: source.draws().then(|| gaps_over_tempo(source, &variants)).into_iter().collect(),
        ..bare(source, title)
    }
}

/// What a page has of its patch and its voices, whatever is held against what.
pub(super) fn bare(source: &PageSource<'_>, title: &str) -> ListeningPage {
    ListeningPage {
        title: title.to_owned(),
        lead: String::new(),
        note: source.patch.note.clone(),
        source: source.name.to_owned(),
        max_gap: source.patch.max_gap,
        care: source.care.to_owned(),
        voices: source.voices.to_vec(),
        variants: Vec::new(),
        tempos: Vec::new(),
        pictures: Vec::new(),
        extra: None,
    }
}

/// A version as a page has it, by the name that it has there.
pub(super) fn version(variant: &Variant, name: &str, about: Option<String>) -> PageVariant {
    let sign = |step: &Step| match step {
        Step::Rest => '.',
        Step::Hit => 'x',
        Step::Accent => 'X',
    };
    let rig = &variant.rig;
    let player = |n: usize| PagePlayer {
        name: rig.player_name(n).to_owned(),
        pattern: rig.sequencers.get(n).map_or_else(String::new, |s| s.steps.iter().map(sign).collect()),
    };
    PageVariant { name: name.to_owned(), about, players: (0..rig.players()).map(player).collect() }
}

/// The voices of an ensemble as a page holds them.
#[must_use]
pub fn page_voices(ensemble: &Ensemble) -> Vec<PageVoice> {
    ensemble.masters().into_iter().map(PageVoice::new).collect()
}

/// The versions that are played at one tempo, and what is to be said of each.
pub(super) fn page_tempo<'a>(
    source: &PageSource<'_>,
    ensemble: &Ensemble,
    versions: Versions<'_>,
    verdicts: impl Iterator<Item = &'a Judged<'a>>,
) -> PageTempo {
    let Versions { played, gains } = versions;
    let loops = Loops::new(source.patch.meter, played);
    let all = played.iter().zip(gains).zip(verdicts);
    let all: Vec<_> = all.collect();
    let cells = all
        .into_par_iter()
        .map(|((played, gain), judged)| Some(cell(source, ensemble, (played, *gain), judged, &loops)));
    PageTempo {
        tempo: played[0].performance.tempo,
        bar: loops.length,
        beats: loops.beats(),
        available: loops.available,
        bars: loops.repeat,
        cells: cells.collect(),
        note: None,
    }
}

fn cell(
    source: &PageSource<'_>,
    ensemble: &Ensemble,
    (played, gain): (&PlayedVariant<'_>, f64),
    judged: &Judged<'_>,
    loops: &Loops,
) -> Cell {
    let (rig, patch) = (&played.variant.rig, source.patch);
    let worst = judged.verdict.worst_gap();
    Cell {
        hits: loops.hits(ensemble, played),
        gain,
        passes: judged.passes(),
        state: judged.state(),
        lines: cell_lines(judged, patch.max_gap),
        misses: one_phrase(rig, &judged.verdict.standings),
        gap: worst.map_or_else(|| "nothing meets".to_owned(), |g| gap_phrase(rig, g, patch.max_gap)),
        worst: worst.and_then(Gap::worst_signed),
        band: worst.and_then(Gap::band).map(|b| (b.to_string(), b.heard().to_owned())),
        timing: source.draws().then(|| diagram(patch, played)).flatten(),
    }
}

/// A picture for a page and for a phone, by what draws it: ids must differ.
pub(super) fn drawn(draw: impl Fn(Option<f64>) -> String) -> Drawn {
    Drawn { wide: draw(None), narrow: draw(Some(NARROW)) }
}

/// Gaps of variants over tempo, for a page and for a phone.
pub(super) fn gaps_over_tempo(source: &PageSource<'_>, variants: &[&Variant]) -> Drawn {
    let (name, patch) = (format!("{}.page", source.stem), source.patch);
    over_tempo(&gap_picture(
        (&name, "Gap over tempo"),
        variants,
        &patch.tempos,
        source.range,
        patch.max_gap,
        source.cancel,
    ))
}

/// A picture over tempo, for a page and for a phone.
pub(super) fn over_tempo(gaps: &GapPicture) -> Drawn {
    drawn(|narrow| {
        let name = narrow.map_or_else(|| gaps.name.clone(), |_| format!("{}.narrow", gaps.name));
        gap_over_tempo_within(&GapPicture { name, ..gaps.clone() }, narrow.unwrap_or(WIDTH))
    })
}

fn diagram(patch: &Patch, played: &PlayedVariant<'_>) -> Option<Drawn> {
    let (rig, performance) = (&played.variant.rig, &played.performance);
    let (name, tempo) = (&played.variant.name, performance.tempo);
    let moment = moment(rig, performance, patch.meter.bar())?;
    let about = format!("{name} at {tempo}, around beat {}", nine_places(moment.beat));
    let figures = timing_picture(
        (&format!("page.{name}.{tempo}"), "On the wires", &about),
        (rig, patch.max_gap),
        performance,
        &moment,
    );
    Some(in_time(&figures))
}

/// A timing diagram, for a page and for a phone.
pub(super) fn in_time(figures: &TimingPicture) -> Drawn {
    drawn(|narrow| {
        let name = narrow.map_or_else(|| figures.name.clone(), |_| format!("{}.narrow", figures.name));
        timing_within(&TimingPicture { name, ..figures.clone() }, narrow.unwrap_or(WIDTH))
    })
}
