//! What a comparison puts on its listening page.

use super::compare::Played;
use super::load::Loaded;
use super::{CARE, Failure};
use crate::hits::{Hit, list};
use crate::judge::Judged;
use crate::patch::{Course, Rig};
use crate::rig::play;
use crate::show::page::{Cell, Drawn, ListeningPage, PageHit, PageTempo, PageVariant, PageVoice, Pair};
use crate::show::picture::{GapPicture, NARROW, TimingPicture, WIDTH, gap_over_tempo_within, timing_within};
use crate::show::report::{Compared, gap_phrase, one_phrase};
use crate::show::scene;
use crate::sound::score::{Bars, Ensemble, Version};
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
    let versions: Vec<Version<'_>> = all.iter().map(Played::version).collect();
    let bars = Bars::new(patch.meter, &clockwork);
    let from = bars.begin(&versions);
    let end = bars.end(&versions, from);
    // Where the tempo changes, bars differ, and the loop is the whole.
    let bar = if clockwork.is_even() { bars.length() } else { end - from };
    let available = ((end - from) / bar).to_integer().clamp(1, 4096) as i64;
    // At one tempo it is rounded once, from wherever it is counted.
    let length = if clockwork.is_even() {
        clockwork.instant(bar) - Instant::START
    } else {
        clockwork.instant(from + bar) - clockwork.instant(from)
    };
    let from = Line { bars, from, bar };
    let cells = all
        .iter()
        .zip(gains)
        .zip(verdicts)
        .map(|((played, gain), judged)| cell(loaded, ensemble, played, *gain, judged, &from));
    let cells = cells.map(Some).collect();
    let least = 2.min(available);
    let bars = if clockwork.is_even() { repeats_after(all, &from, (least, available)).unwrap_or(least) } else { least };
    PageTempo {
        tempo: first.performance.tempo,
        bar: length,
        available: available as u32,
        bars: bars as u32,
        cells,
        note: None,
    }
}

/// The bar line with which loops begin.
struct Line<'c> {
    bars: Bars<'c>,
    from: Beat,
    /// How long a bar of the page is: all of the piece where bars differ.
    bar: Beat,
}

impl Line<'_> {
    /// The bar of the page to which a hit belongs, from 0 on; `None` before the line.
    fn bar_of(&self, hit: &Hit) -> Option<u32> {
        u32::try_from(((self.bars.home(hit) - self.from) / self.bar).floor().to_integer()).ok()
    }

    /// A time, from the line on.
    fn after(&self, at: Instant) -> Instant {
        Instant((at - self.bars.clockwork().instant(self.from)).0)
    }
}

/// After how many bars from a beat on everything that any version plays comes again, if that is `least` or more and no more
/// than `most`: looked at in pieces twice as long, since a piece may be over before it repeats. `None` where nothing does, and
/// where something is changed in the course of the piece or comes from a take.
fn repeats_after(all: &[Played<'_>], line: &Line<'_>, (least, most): (i64, i64)) -> Option<i64> {
    // When, who, and how strong.
    type Heard = (i64, (usize, u8, i32));
    // With the bar in which it is due.
    let mut heard: Vec<Vec<(i64, Heard)>> = Vec::new();
    for played in all {
        let rig = &played.variant.rig;
        if rig.course != Course::default() || !rig.takes.is_empty() {
            return None;
        }
        // Two bars more: what is due in the last may sound a bar later.
        let longer = Rig { end: line.from + line.bar * i128::from(2 * most + 2), ..rig.clone() };
        let hits = list(&longer, &play(&longer, played.performance.tempo).ok()?);
        let own =
            |h: &Hit| Some((i64::from(line.bar_of(h)?), (line.after(h.at).0, (h.sequencer, h.velocity, h.level_mdb))));
        heard.push(hits.iter().filter_map(own).collect());
    }
    let tempo = all.first()?.performance.tempo;
    let length = |bars: i64| (tempo.instant(line.bar * i128::from(bars)) - Instant::START).0;
    // Pulses are rounded one by one: to a nanosecond.
    let alike = |a: &Heard, b: &Heard| a.1 == b.1 && (b.0 - a.0).abs() < 1000;
    let again = |hits: &[(i64, Heard)], bars: i64| {
        let stretch = |n: i64| {
            let due = n * bars..(n + 1) * bars;
            let own = hits.iter().filter(|(bar, _)| due.contains(bar));
            let mut own: Vec<Heard> = own.map(|(_, h)| (h.0 - length(n * bars), h.1)).collect();
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
    line: &Line<'_>,
) -> Cell {
    let rig = &played.variant.rig;
    let worst = judged.verdict.worst_gap();
    let hits = played.hits.iter().filter_map(|h| {
        let (voice, gain) = ensemble.part(played.of, h);
        Some(PageHit { at: line.after(h.at), voice, gain, bar: line.bar_of(h)? })
    });
    Cell {
        hits: hits.collect(),
        gain,
        passes: judged.passes(),
        misses: one_phrase(rig, &judged.verdict.standings),
        gap: worst.map_or_else(|| "nothing meets".to_owned(), |g| gap_phrase(rig, g, loaded.patch.max_gap)),
        worst: worst.and_then(crate::judge::Gap::worst_signed),
        band: worst.and_then(crate::judge::Gap::band).map(|b| (b.to_string(), b.heard().to_owned())),
        pairs: worst.map_or_else(Vec::new, |g| pairs(played, g.between, line)),
        timing: diagram(loaded, played),
    }
}

/// The hits of two players that are due on one beat, each with the first of the other's.
fn pairs(played: &Played<'_>, between: [usize; 2], line: &Line<'_>) -> Vec<Pair> {
    let rig = &played.variant.rig;
    let mut firsts: std::collections::BTreeMap<Beat, [Option<&Hit>; 2]> = std::collections::BTreeMap::new();
    for hit in &played.hits {
        if let Some(side) = between.iter().position(|p| *p == hit.sequencer) {
            firsts.entry(hit.due).or_default()[side].get_or_insert(hit);
        }
    }
    let pair = |hits: &[Option<&Hit>; 2]| {
        let [a, b] = [hits[0]?, hits[1]?];
        let mut names = between.map(|p| rig.player_name(p).to_owned());
        if b.at < a.at {
            names.reverse();
        }
        // A loop has both or none; of a pair that is bars apart it has both from the later bar on.
        let bar = line.bar_of(a)?.max(line.bar_of(b)?);
        Some(Pair { at: line.after(a.at.min(b.at)), gap: (b.at - a.at).abs(), names, bar })
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
    let about = format!("{name} at {tempo}, around beat {}", crate::text::nine_places(moment.beat));
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

#[cfg(test)]
mod tests;
