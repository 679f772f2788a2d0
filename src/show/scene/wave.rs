use crate::hits::{Hit, list};
use crate::patch::Rig;
use crate::rig::Performance;
use crate::show::picture::{WavePanel, WavePicture};
use crate::show::report::gap_ms;
use crate::sound::render::{Bank, Program, RenderError};
use crate::sound::score::{CueList, Ensemble, Seating};
use crate::text::nine_places;
use crate::time::{Beat, Instant, PS_PER_MS, Span};
use crate::voice::VoiceError;
use std::collections::BTreeMap;

/// Samples a second of what is drawn.
const RATE: u32 = 48_000;
/// Hits further apart than this do not fit into one picture: the later one is told of.
const WIDEST: Span = Span::from_ms(100);
/// The shortest stretch behind the first hit.
const SHORTEST: Span = Span::from_ms(24);
/// As long as a sound lasts at most, and a little more.
const TAIL: Span = Span::from_ms(3_100);

/// Why a sound could not be drawn.
#[derive(Debug, thiserror::Error)]
pub enum WaveError {
    /// A voice has settings that its model cannot draw; a checked patch has none.
    #[error(transparent)]
    Voice(#[from] VoiceError),
    /// The renderer refuses; what it is given here it takes.
    #[error(transparent)]
    Render(#[from] RenderError),
}

/// A variant as it was played.
#[derive(Clone, Copy, Debug)]
pub struct Performed<'a> {
    /// Its name.
    pub name: &'a str,
    /// The rig.
    pub rig: &'a Rig,
    /// What it did.
    pub performance: &'a Performance,
}

/// Hits of one due beat that two players share in both variants.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Meeting {
    /// The due beat.
    pub beat: Beat,
    /// The names of the players.
    pub players: [String; 2],
}

/// By due beat, when each of two players hits.
fn meetings(of: Performed<'_>, players: [&str; 2]) -> BTreeMap<Beat, [Vec<Instant>; 2]> {
    let mut all: BTreeMap<Beat, [Vec<Instant>; 2]> = BTreeMap::new();
    for hit in list(of.rig, of.performance) {
        if let Some(n) = players.iter().position(|p| *p == of.rig.player_name(hit.sequencer)) {
            all.entry(hit.due).or_default()[n].push(hit.at);
        }
    }
    all.retain(|_, hits| hits.iter().all(|h| !h.is_empty()));
    all
}

/// Where two players meet in both of two variants, from a beat on: with the widest gap that they have in the second, the
/// first such beat; if they never meet from there on, anywhere. `None` if they never do.
#[must_use]
pub fn meeting(original: Performed<'_>, fixed: Performed<'_>, players: [&str; 2], from: Beat) -> Option<Meeting> {
    let before = meetings(original, players);
    let mut both = meetings(fixed, players);
    both.retain(|beat, _| before.contains_key(beat));
    if both.keys().any(|beat| *beat >= from) {
        both.retain(|beat, _| *beat >= from);
    }
    let gap = |hits: &[Vec<Instant>; 2]| (hits[1][0] - hits[0][0]).abs();
    let widest = both.iter().max_by_key(|(beat, hits)| (gap(hits), std::cmp::Reverse(**beat)))?;
    Some(Meeting { beat: *widest.0, players: players.map(str::to_owned) })
}

/// The sound of two players around a beat, the original's over the fix's: rendered as a comparison renders it, both from the
/// centre and equally strong, every hit of theirs that can still be heard among it.
///
/// # Errors
/// [`WaveError`]; a checked patch has none.
pub fn wave_picture(
    about: (&str, &str, &str),
    variants: [Performed<'_>; 2],
    meeting: &Meeting,
    (max_gap, seed): (Span, u64),
) -> Result<WavePicture, WaveError> {
    let zero = variants[0].rig.clockwork(variants[0].performance.tempo).instant(meeting.beat);
    let hits = variants.map(|v| list(v.rig, v.performance));
    let mine = |n: usize, h: &Hit| meeting.players.iter().any(|p| p == variants[n].rig.player_name(h.sequencer));
    let due = |n: usize| hits[n].iter().filter(move |h| h.due == meeting.beat && mine(n, h));
    let first = (0..2).flat_map(|n| due(n).map(|h| h.at)).min().unwrap_or(zero);
    let ends = (0..2).flat_map(|n| due(n).map(move |h| h.at - first)).filter(|d| *d <= WIDEST);
    let length = ends.max().map_or(SHORTEST, |d| Span(d.0 * 9 / 5).abs().max(SHORTEST));
    // Whole milliseconds, so that hits lie between the same samples as in a file at this rate.
    let floor = |at: Instant| Instant(at.0.div_euclid(PS_PER_MS) * PS_PER_MS);
    let from = floor(first + Span(-length.0 / 6));
    let to = floor(first + length);
    let rigs = variants.map(|v| v.rig);
    let ensemble = Ensemble::new(&rigs, Seating::Centre, seed)?;
    let bank = Bank::new(RATE, ensemble.sounds())?;
    let mut panels = Vec::new();
    for (n, variant) in variants.iter().enumerate() {
        let heard = |h: &&Hit| mine(n, h) && from + Span(-TAIL.0) <= h.at && h.at <= to + Span::from_ms(20);
        let sounding: Vec<&Hit> = hits[n].iter().filter(heard).collect();
        let samples = rendered(variant.rig, n, &ensemble, &bank, &sounding, (from, to))?;
        let name = |h: &Hit| variant.rig.player_name(h.sequencer).to_owned();
        let onsets: Vec<(f64, String)> = due(n).map(|h| ((h.at - zero).ms(), name(h))).collect();
        let late: Vec<&Hit> = due(n).filter(|h| h.at > to).collect();
        let last = due(n).max_by_key(|h| h.at);
        let start = due(n).min_by_key(|h| h.at);
        let gap = last.zip(start).filter(|(last, start)| last.at > start.at && last.at <= to);
        let gap = gap.map(|(last, start)| {
            let words = format!("{} ms", gap_ms(last.at - start.at, max_gap));
            ((start.at - zero).ms(), (last.at - zero).ms(), words)
        });
        let note = |h: &&Hit| format!("{} {} ms later, outside", name(h), gap_ms(h.at - first, max_gap));
        panels.push(WavePanel {
            name: variant.name.to_owned(),
            rate: RATE,
            samples,
            onsets,
            gap,
            note: late.iter().map(note).collect::<Vec<_>>().join(", "),
        });
    }
    Ok(WavePicture {
        name: about.0.to_owned(),
        title: about.1.to_owned(),
        about: about.2.to_owned(),
        zero: format!("beat {}", nine_places(meeting.beat)),
        from_ms: (from - zero).ms(),
        to_ms: (to - zero).ms(),
        panels,
    })
}

/// The samples from one time to another, the mix of some hits.
fn rendered(
    rig: &Rig,
    of: usize,
    ensemble: &Ensemble,
    bank: &Bank,
    hits: &[&Hit],
    (from, to): (Instant, Instant),
) -> Result<Vec<f32>, WaveError> {
    let mut score = CueList::new(ensemble);
    hits.iter().for_each(|h| score.add(of, rig, h, Instant((h.at - from).0), 1.0));
    let cues = score.finish();
    let end = Instant((to - from).0);
    // A sound may begin a little before its hit, and others have begun before the stretch.
    let lead = Span(TAIL.0 + 100 * PS_PER_MS);
    let program = Program::new(bank, cues, lead, end)?;
    let frames = |span: Span| span.0 / PS_PER_MS * i64::from(RATE / 1000);
    Ok(program.samples(frames(lead)..(frames(lead) + frames(to - from) + 1).min(program.frames() as i64)))
}
