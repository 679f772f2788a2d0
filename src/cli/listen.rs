//! What a comparison puts on its listening page.

use super::compare::Played;
use super::load::Loaded;
use super::{CARE, Failure};
use crate::hits::list;
use crate::page::{Cell, Drawn, ListeningPage, PageTempo, PageVariant, PageVoice, Pair};
use crate::patch::{Course, Rig};
use crate::picture::{GapPicture, NARROW, TimingPicture, WIDTH, gap_over_tempo_within, timing_within};
use crate::report::{Compared, Judged, gap_phrase, one_phrase};
use crate::rig::play;
use crate::scene;
use crate::score::{EARLY, Ensemble, begin};
use crate::time::{Beat, Instant};

/// The page of a comparison: for each tempo what is played, the original first, and the factors with which all are equally
/// loud.
///
/// # Errors
/// Exit status 2, if the patch's name cannot be part of a file's.
pub(super) fn page(
    loaded: &Loaded,
    ensemble: &Ensemble,
    played: &[(&[Played<'_>], &[f64])],
    compared: &[Compared<'_>],
) -> Result<ListeningPage, Failure> {
    let patch = &loaded.patch;
    let stem = loaded.stem()?;
    let title = patch.title.clone().unwrap_or_else(|| stem.clone());
    let variants: Vec<_> = played.first().map_or_else(Vec::new, |(all, _)| all.iter().map(|p| p.variant).collect());
    let gaps = scene::gap_picture(
        (&format!("{stem}.page"), "Gap over tempo"),
        &variants,
        &patch.tempos,
        super::plot::range(loaded),
        patch.max_gap,
    );
    let fixes = variants.len().saturating_sub(1).max(1);
    let tempos = played.iter().zip(compared.chunks(fixes)).map(|((all, gains), compared)| {
        let verdicts = compared.first().map(|c| &c.before).into_iter().chain(compared.iter().map(|c| &c.after));
        at_tempo(loaded, ensemble, all, gains, verdicts.collect())
    });
    Ok(ListeningPage {
        variants: variants.iter().map(|v| PageVariant { name: v.name.clone(), about: v.about.clone() }).collect(),
        tempos: tempos.collect(),
        pictures: vec![over_tempo(&gaps)],
        ..bare(loaded, ensemble, title)
    })
}

/// What a page has of its patch and its voices, whatever is held against what.
pub(super) fn bare(loaded: &Loaded, ensemble: &Ensemble, title: String) -> ListeningPage {
    ListeningPage {
        title,
        lead: None,
        note: loaded.patch.note.clone(),
        source: loaded.name.clone(),
        max_gap: loaded.patch.max_gap,
        early: EARLY,
        care: CARE.to_owned(),
        voices: ensemble.masters().into_iter().map(PageVoice::new).collect(),
        variants: Vec::new(),
        tempos: Vec::new(),
        pictures: Vec::new(),
    }
}

/// The versions that are played at one tempo, with their factors and verdicts.
pub(super) fn at_tempo(
    loaded: &Loaded,
    ensemble: &Ensemble,
    all: &[Played<'_>],
    gains: &[f64],
    verdicts: Vec<&Judged<'_>>,
) -> PageTempo {
    let (patch, first) = (&loaded.patch, &all[0]);
    let clockwork = first.variant.rig.clockwork(first.performance.tempo);
    let both: Vec<_> = all.iter().map(|p| (&p.variant.rig, &p.performance)).collect();
    let from = begin(&both, patch.meter, &clockwork);
    let end = all.iter().map(|p| p.variant.rig.end).min().unwrap_or(from);
    let zero = clockwork.instant(from);
    // Where the tempo changes, bars differ, and the loop is the whole.
    let bar = if clockwork.is_even() { patch.meter.bar() } else { end - from };
    let available = ((end - from) / bar).to_integer().clamp(1, 4096) as i64;
    let length = clockwork.instant(from + bar) - zero;
    let cells = all
        .iter()
        .zip(gains)
        .zip(verdicts)
        .map(|((played, gain), judged)| cell(loaded, ensemble, played, *gain, judged, zero));
    let cells = cells.map(Some).collect();
    let least = 2.min(available);
    let bars =
        if clockwork.is_even() { repeats_after(all, (from, bar), (least, available)).unwrap_or(least) } else { least };
    PageTempo {
        tempo: first.performance.tempo,
        bar: length,
        available: available as u32,
        bars: bars as u32,
        cells,
        note: None,
    }
}

/// After how many bars from a beat on everything that any version plays comes again, if that is `least` or more and no more
/// than `most`: looked at in pieces twice as long, since a piece may be over before it repeats. `None` where nothing does, and
/// where something is changed in the course of the piece or comes from a take.
fn repeats_after(all: &[Played<'_>], (from, bar): (Beat, Beat), (least, most): (i64, i64)) -> Option<i64> {
    // When, who, and how strong.
    type Heard = (i64, (usize, u8, i32));
    let mut heard: Vec<Vec<Heard>> = Vec::new();
    for played in all {
        let rig = &played.variant.rig;
        if rig.course != Course::default() || !rig.takes.is_empty() {
            return None;
        }
        let longer = Rig { end: from + bar * i128::from(2 * most), ..rig.clone() };
        let zero = played.performance.tempo.instant(from);
        let hits = list(&longer, &play(&longer, played.performance.tempo).ok()?);
        heard.push(
            hits.iter()
                .map(|h| ((h.at - zero).0 + EARLY.0, (h.sequencer, h.velocity, h.level_mdb)))
                .filter(|h| h.0 >= 0)
                .collect(),
        );
    }
    let tempo = all.first()?.performance.tempo;
    let length = |bars: i64| (tempo.instant(bar * i128::from(bars)) - Instant::START).0;
    // Pulses are rounded one by one: to a nanosecond.
    let alike = |a: &Heard, b: &Heard| a.1 == b.1 && (b.0 - a.0).abs() < 1000;
    let again = |hits: &[Heard], bars: i64| {
        let stretch = |n: i64| {
            let (from, to) = (length(n * bars), length((n + 1) * bars));
            let mut own: Vec<_> =
                hits.iter().filter(|h| (from..to).contains(&h.0)).map(|h| (h.0 - from, h.1)).collect();
            own.sort_unstable_by_key(|h| (h.1, h.0));
            own
        };
        let first = stretch(0);
        (1..2 * most / bars)
            .map(stretch)
            .all(|s| s.len() == first.len() && s.iter().zip(&first).all(|(a, b)| alike(a, b)))
    };
    (least..=most).find(|bars| heard.iter().all(|hits| again(hits, *bars)))
}

fn cell(
    loaded: &Loaded,
    ensemble: &Ensemble,
    played: &Played<'_>,
    gain: f64,
    judged: &Judged<'_>,
    zero: Instant,
) -> Cell {
    let rig = &played.variant.rig;
    let worst = judged.verdict.worst_gap();
    let hits = played.hits.iter().filter(|h| (h.at - zero).0 >= -EARLY.0);
    let hits = hits.map(|h| {
        let (voice, factor) = ensemble.part(played.of, h);
        (Instant((h.at - zero).0), voice, factor)
    });
    Cell {
        hits: hits.collect(),
        gain,
        passes: judged.passes(),
        misses: one_phrase(rig, &judged.verdict.standings),
        gap: worst.map_or_else(|| "nothing meets".to_owned(), |g| gap_phrase(rig, g, loaded.patch.max_gap)),
        worst: worst.and_then(crate::gap::Gap::worst_signed),
        band: worst.and_then(crate::gap::Gap::band).map(|b| (b.to_string(), b.heard().to_owned())),
        pairs: worst.map_or_else(Vec::new, |g| pairs(played, g.between, zero)),
        timing: diagram(loaded, played),
    }
}

/// The hits of two players that are due on one beat, each with the first of the other's.
fn pairs(played: &Played<'_>, between: [usize; 2], zero: Instant) -> Vec<Pair> {
    let rig = &played.variant.rig;
    let mut firsts: std::collections::BTreeMap<Beat, [Option<Instant>; 2]> = std::collections::BTreeMap::new();
    for hit in &played.hits {
        if let Some(side) = between.iter().position(|p| *p == hit.sequencer) {
            firsts.entry(hit.due).or_default()[side].get_or_insert(hit.at);
        }
    }
    let pair = |times: &[Option<Instant>; 2]| {
        let [a, b] = [times[0]?, times[1]?];
        let mut names = between.map(|p| rig.player_name(p).to_owned());
        if b < a {
            names.reverse();
        }
        let at = Instant((a.min(b) - zero).0);
        (at.0 >= 0).then_some(Pair { at, gap: (b - a).abs(), names })
    };
    firsts.values().filter_map(pair).collect()
}

/// A picture for a page and for a phone, by what draws it: ids must differ.
fn drawn(draw: impl Fn(Option<f64>) -> String) -> Drawn {
    Drawn { wide: draw(None), narrow: draw(Some(NARROW)) }
}

/// Gaps over tempo, for a page and for a phone.
pub(super) fn over_tempo(gaps: &GapPicture) -> Drawn {
    drawn(|narrow| {
        let name = narrow.map_or_else(|| gaps.name.clone(), |_| format!("{}.narrow", gaps.name));
        gap_over_tempo_within(&GapPicture { name, ..gaps.clone() }, narrow.unwrap_or(WIDTH))
    })
}

fn diagram(loaded: &Loaded, played: &Played<'_>) -> Option<Drawn> {
    let (rig, performance) = (&played.variant.rig, &played.performance);
    let (name, tempo) = (&played.variant.name, performance.tempo);
    let moment = scene::moment(rig, performance, loaded.patch.meter.bar())?;
    let about = format!("{name} at {tempo}, around beat {}", crate::hits::decimal(moment.beat));
    let figures = scene::timing_picture(
        (&format!("page.{name}.{tempo}"), "On the wires", &about),
        (rig, loaded.patch.max_gap),
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
