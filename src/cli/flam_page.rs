//! The listening page of two voices a time apart.

use super::args::SoundArgs;
use super::flam::{BEATS, Setting, body, rig};
use super::levels::STAND_DBTP;
use super::listen::{in_time, over_tempo};
use super::press::{Press, bank};
use super::{CARE, Failure};
use crate::dsp::amplitude;
use crate::hits::Hit;
use crate::judge::{Band, Body};
use crate::patch::{Rig, Voice};
use crate::show::page::{Cell, Drawn, ListeningPage, PageHit, PageTempo, PageVariant, PageVoice, Pair};
use crate::show::picture::{Distance, GapLine, GapPicture, Lane, TimingPicture, Trace};
use crate::show::report::gap_ms;
use crate::sound::render::{Bank, Loudness, Program};
use crate::sound::score::{Ensemble, Seating, Sheet as Score};
use crate::time::{Beat, Instant, Span, Tempo};

/// What a page of two voices is to show.
pub(super) struct FlamPage<'a> {
    pub(super) title: String,
    pub(super) source: String,
    pub(super) voices: &'a [Voice; 2],
    /// How far apart, each a version beside that with both together.
    pub(super) settings: &'a [Setting],
    /// The rate whose period counts, where settings are shares of it.
    pub(super) rate: Option<&'a str>,
    pub(super) tempos: &'a [Tempo],
}

/// The smallest published figure for telling two sounds from one, as in patches.
pub(super) const MAX_GAP: Span = Span::from_ms(2);
/// The version with no gap.
const TOGETHER: &str = "together";
/// Bars that a loop may have.
const BARS: i64 = 4;
/// What is measured goes round from so much before the first beat on.
const EARLY: Span = Span::from_ms(150);

/// Works out what two voices play together and apart at each tempo: all equally loud.
///
/// # Errors
/// Exit status 2 for what cannot be rendered, 130 on Ctrl-C.
pub(super) fn flam_page(asked: &FlamPage<'_>, sound: &SoundArgs, press: &Press) -> Result<ListeningPage, Failure> {
    let rig = rig(asked.voices);
    let ensemble = Ensemble::new(&[&rig], Seating::Centre, sound.seed)?;
    let bank = bank(sound, &ensemble)?;
    let body = body(asked.voices, sound.seed)?;
    let mut tempos = Vec::new();
    for &tempo in asked.tempos {
        let gaps = std::iter::once(Span::ZERO).chain(asked.settings.iter().map(|s| s.gap(tempo)));
        let bars: Vec<Vec<Hit>> = gaps.clone().map(|gap| beats(&rig, tempo, gap)).collect();
        let gains = gains(&bars, (&rig, &ensemble, &bank), sound, press)?;
        let names = std::iter::once(TOGETHER).chain(asked.settings.iter().map(|s| s.text.as_str()));
        let cells =
            gaps.zip(&bars).zip(gains).zip(names).map(|(((gap, hits), gain), name)| {
                cell((asked, body.as_ref()), &ensemble, (name, tempo), gap, hits, gain)
            });
        tempos.push(PageTempo {
            tempo,
            bar: length(tempo, 1),
            available: BARS as u32,
            bars: 2,
            cells: cells.map(Some).collect(),
            note: None,
        });
    }
    let about = asked.rate.map(|rate| format!("of the period of {rate}"));
    let together = PageVariant { name: TOGETHER.to_owned(), about: None };
    let apart = asked.settings.iter().map(|s| PageVariant { name: s.text.clone(), about: about.clone() });
    Ok(ListeningPage {
        title: asked.title.clone(),
        lead: Some(
            "Two voices together and a time apart: listen to what changes, and test whether you can tell.".to_owned(),
        ),
        note: None,
        source: asked.source.clone(),
        max_gap: MAX_GAP,
        care: CARE.to_owned(),
        voices: ensemble.masters().into_iter().map(PageVoice::new).collect(),
        variants: std::iter::once(together).chain(apart).collect(),
        tempos,
        pictures: vec![over_tempo(&picture(asked))],
    })
}

fn length(tempo: Tempo, bars: i64) -> Span {
    tempo.instant(Beat::from_integer(i128::from(bars * BEATS))) - Instant::START
}

/// The hits of all bars, in place: what would sound before the loop or after it goes round, as the beats before and after
/// would.
fn beats(rig: &Rig, tempo: Tempo, gap: Span) -> Vec<Hit> {
    let whole = length(tempo, BARS).0;
    let round = |at: Instant| Instant((at.0 + EARLY.0).rem_euclid(whole) - EARLY.0);
    let mut hits = Vec::new();
    for n in 0..BARS * BEATS {
        let beat = Beat::from_integer(i128::from(n));
        let at = tempo.instant(beat);
        for (sequencer, at) in [(0, at), (1, round(at + gap))] {
            let voice = rig.sequencers[sequencer].voice;
            hits.push(Hit { at, beat, due: beat, sequencer, step: 1, velocity: 127, level_mdb: 0, voice });
        }
    }
    hits
}

/// Factors with which all are as loud as the two together, and the highest peak of any is at [`STAND_DBTP`] at most.
fn gains(
    bars: &[Vec<Hit>],
    (rig, ensemble, bank): (&Rig, &Ensemble, &Bank),
    sound: &SoundArgs,
    press: &Press,
) -> Result<Vec<f64>, Failure> {
    let measured = bars.iter().map(|hits| {
        let mut score = Score::new(ensemble);
        // Before the file nothing can be heard: all a little later.
        hits.iter().for_each(|h| score.add(0, rig, h, h.at + EARLY, 1.0));
        let cues = score.finish();
        let program = Program::new(bank, cues, sound.lead_in, Instant::START)?;
        let peak = press.counted(|watch| program.measure(watch))?.dbtp();
        Ok((peak, press.counted(|watch| program.loudness(watch))?))
    });
    let measured: Vec<(f64, Loudness)> = measured.collect::<Result<_, Failure>>()?;
    let level = |l: &Loudness| l.energy.unwrap_or(0.0);
    let louder: Vec<f64> = measured.iter().map(|(_, l)| level(&measured[0].1) - level(l)).collect();
    let highest = measured.iter().zip(&louder).map(|((peak, _), db)| peak + db).fold(f64::NEG_INFINITY, f64::max);
    let stand = (STAND_DBTP - highest).min(0.0);
    Ok(louder.into_iter().map(|db| amplitude(db + stand)).collect())
}

fn cell(
    (asked, body): (&FlamPage<'_>, Option<&Body>),
    ensemble: &Ensemble,
    (version, tempo): (&str, Tempo),
    gap: Span,
    hits: &[Hit],
    gain: f64,
) -> Cell {
    let like = asked.voices[0] == asked.voices[1];
    let names =
        if like { ["the first", "the second"] } else { [asked.voices[0].name.as_str(), asked.voices[1].name.as_str()] };
    let [first, second] = if gap < Span::ZERO { [names[1], names[0]] } else { names };
    let band = Band::of(gap);
    let notch = body.and_then(|body| body.colour(gap).first_notch_hz);
    let heard = match notch {
        Some(hz) => format!("{}; the first notch lies at {hz:.0} Hz", band.heard()),
        None => band.heard().to_owned(),
    };
    let bar = |beat: i64| (beat / BEATS) as u32;
    let pair = |n: i64| {
        let at = tempo.instant(Beat::from_integer(i128::from(n)));
        let at = Instant(at.0 + gap.0.min(0));
        Pair { at, gap: gap.abs(), names: [first.to_owned(), second.to_owned()], bar: bar(n) }
    };
    // Each where it is due and a gap from there: the page takes it round.
    let hit = |h: &Hit| {
        let (voice, gain) = ensemble.part(0, h);
        let at = tempo.instant(h.due) + if h.sequencer == 0 { Span::ZERO } else { gap };
        PageHit { at, voice, gain, bar: bar(h.due.to_integer() as i64) }
    };
    let said = if gap == Span::ZERO {
        TOGETHER.to_owned()
    } else {
        format!("{second} {} ms after {first}", gap_ms(gap.abs(), MAX_GAP))
    };
    Cell {
        hits: hits.iter().map(hit).collect(),
        gain,
        passes: gap.abs() <= MAX_GAP,
        misses: String::new(),
        timing: Some(timing((version, tempo), names, gap, &said)),
        gap: said,
        worst: Some(gap),
        band: Some((band.to_string(), heard)),
        pairs: (0..BARS * BEATS).map(pair).collect(),
    }
}

/// When the two sound around a beat, and how far apart.
fn timing((version, tempo): (&str, Tempo), names: [&str; 2], gap: Span, said: &str) -> Drawn {
    /// What is shown where there is no gap, in milliseconds.
    const NEAR: f64 = 5.0;
    let at = [0.0, gap.ms()];
    let (first, last) = (at[0].min(at[1]), at[0].max(at[1]));
    let long = if gap == Span::ZERO { NEAR } else { last - first };
    let lane =
        |n: usize| Lane { name: names[n].to_owned(), group: n, trace: Trace::Hits(vec![(at[n], String::new())]) };
    let order = if gap < Span::ZERO { [1, 0] } else { [0, 1] };
    let [from, to] = order.map(|n| (at[n], n));
    let distance = Distance { from, to, label: said.to_owned() };
    in_time(&TimingPicture {
        name: format!("flam.{version}.{tempo}"),
        title: "When they sound".to_owned(),
        about: format!("{version} at {tempo}, on each beat"),
        zero: "the beat".to_owned(),
        from_ms: first - long / 4.0,
        to_ms: last + long / 2.0,
        lanes: vec![lane(0), lane(1)],
        distances: if gap == Span::ZERO { Vec::new() } else { vec![distance] },
    })
}

/// Gaps over tempo, from a fifth below the slowest to a quarter above the fastest.
fn picture(asked: &FlamPage<'_>) -> GapPicture {
    /// A share falls as one over tempo: so many points look like the curve.
    const POINTS: u64 = 48;
    let micro = |t: Option<&Tempo>| t.copied().unwrap_or(Tempo::whole(120)).micro();
    let low = (micro(asked.tempos.iter().min()) / 5 * 4).max(1_000_000);
    let high = (micro(asked.tempos.iter().max()) / 4 * 5).min(1_000_000_000);
    let tempos: Vec<Tempo> = (0..=POINTS).filter_map(|n| Tempo::from_micro(low + (high - low) * n / POINTS)).collect();
    let line = |setting: &Setting| GapLine {
        name: setting.text.clone(),
        pieces: vec![tempos.iter().map(|t| (t.bpm(), setting.gap(*t).abs().ms())).collect()],
    };
    GapPicture {
        name: "flam-gap-over-tempo".to_owned(),
        title: asked.title.clone(),
        about: "how far apart the two land, over tempo".to_owned(),
        max_gap_ms: MAX_GAP.ms(),
        bands: Band::ALL.iter().map(|b| (b.to_string(), b.least().ms())).collect(),
        tempos: asked.tempos.iter().map(|t| t.bpm()).collect(),
        lines: asked.settings.iter().map(line).collect(),
    }
}
