use super::listening::{in_time, over_tempo, page_voices};
use crate::judge::{Band, Body, State};
use crate::patch::{Rig, Voice};
use crate::show::page::{Cell, Drawn, ListeningPage, PagePlayer, PageTempo, PageVariant};
use crate::show::picture::{Distance, GapLine, GapPicture, Lane, TimingPicture, Trace};
use crate::show::report::gap_ms;
use crate::sound::flam::{FlamGap, FlamLoops};
use crate::sound::score::Ensemble;
use crate::time::{Span, Tempo};

/// The largest gap that passes where no patch says one: the smallest published figure for telling two sounds from one.
pub const FLAM_MAX_GAP: Span = crate::patch::USUAL_MAX_GAP;
/// The version with no gap.
const TOGETHER: &str = "together";

/// What a page of two voices is to show.
#[derive(Clone, Copy, Debug)]
pub struct FlamPage<'a> {
    /// What it is about.
    pub title: &'a str,
    /// What it is made from.
    pub source: &'a str,
    /// The caution about listening.
    pub care: &'a str,
    /// The two voices.
    pub voices: &'a [Voice; 2],
    /// Their players, and the sound of their voices.
    pub players: (&'a Rig, &'a Ensemble),
    /// The spectrum of a voice that both are.
    pub body: Option<&'a Body>,
    /// How far apart, each a version beside that with both together.
    pub settings: &'a [FlamGap],
    /// The rate whose period counts, where settings are shares of it.
    pub rate: Option<&'a str>,
}

/// The page of two voices, together and apart: for each tempo the loops and the factors with which all versions are equally loud.
#[must_use]
pub fn flam_page(page: &FlamPage<'_>, tempos: &[(Tempo, FlamLoops, Vec<f64>)]) -> ListeningPage {
    let page_tempo = |(tempo, loops, gains): &(Tempo, FlamLoops, Vec<f64>)| {
        let names = std::iter::once(TOGETHER).chain(page.settings.iter().map(|s| s.text.as_str()));
        let versions = names.zip(&loops.gaps).zip(gains);
        let cells = versions.map(|((name, gap), gain)| Some(cell(page, (name, *tempo), loops, (*gap, *gain))));
        PageTempo {
            tempo: *tempo,
            bar: loops.bar(),
            beats: loops.lines(),
            starts: 1,
            available: FlamLoops::BARS,
            bars: 2,
            cells: cells.collect(),
            note: None,
        }
    };
    let about = page.rate.map(|rate| format!("of the period of {rate}"));
    let player = |name: &str| PagePlayer { name: name.to_owned(), pattern: String::new() };
    let players = names(page).map(player).to_vec();
    let together = PageVariant { name: TOGETHER.to_owned(), about: None, players: players.clone() };
    let apart = page.settings.iter().map(|s| PageVariant {
        name: s.text.clone(),
        about: about.clone(),
        players: players.clone(),
    });
    let (_, ensemble) = page.players;
    let all: Vec<Tempo> = tempos.iter().map(|t| t.0).collect();
    ListeningPage {
        title: page.title.to_owned(),
        lead: "Two voices together and a time apart: listen to what changes, and test whether you can tell.".to_owned(),
        note: None,
        source: page.source.to_owned(),
        max_gap: FLAM_MAX_GAP,
        care: page.care.to_owned(),
        voices: page_voices(ensemble),
        variants: std::iter::once(together).chain(apart).collect(),
        tempos: tempos.iter().map(page_tempo).collect(),
        pictures: vec![over_tempo(&picture(page, &all))],
        extra: None,
    }
}

/// What the two are called; two of one voice by their order.
fn names<'a>(page: &FlamPage<'a>) -> [&'a str; 2] {
    let [first, second] = page.voices;
    if first == second { ["the first", "the second"] } else { [&first.name, &second.name] }
}

fn cell(page: &FlamPage<'_>, (version, tempo): (&str, Tempo), loops: &FlamLoops, (gap, gain): (Span, f64)) -> Cell {
    let names = names(page);
    let [first, second] = if gap < Span::ZERO { [names[1], names[0]] } else { names };
    let band = Band::of(gap);
    let notch = page.body.and_then(|body| body.colour(gap).first_notch_hz);
    let heard = match notch {
        Some(hz) => format!("{}; the first notch lies at {hz:.0} Hz", band.heard()),
        None => band.heard().to_owned(),
    };
    let said = if gap == Span::ZERO {
        TOGETHER.to_owned()
    } else {
        format!("{second} {} ms after {first}", gap_ms(gap.abs(), FLAM_MAX_GAP))
    };
    let (rig, ensemble) = page.players;
    Cell {
        hits: loops.hits(rig, ensemble, gap),
        gain,
        passes: gap.abs() <= FLAM_MAX_GAP,
        state: if gap.abs() <= FLAM_MAX_GAP { State::Together } else { State::Apart },
        lines: vec![match gap {
            Span::ZERO => "exactly".to_owned(),
            _ => format!("{} ms, {band}", gap_ms(gap.abs(), FLAM_MAX_GAP)),
        }],
        misses: String::new(),
        timing: Some(timing((version, tempo), names, gap, &said)),
        gap: said,
        worst: Some(gap),
        band: Some((band.to_string(), heard)),
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
fn picture(page: &FlamPage<'_>, tempos: &[Tempo]) -> GapPicture {
    /// A share falls as one over tempo: so many points look like the curve.
    const POINTS: u64 = 48;
    let micro = |t: Option<&Tempo>| t.copied().unwrap_or(Tempo::whole(120)).micro();
    let low = (micro(tempos.iter().min()) / 5 * 4).max(1_000_000);
    let high = (micro(tempos.iter().max()) / 4 * 5).min(1_000_000_000);
    let points: Vec<Tempo> = (0..=POINTS).filter_map(|n| Tempo::from_micro(low + (high - low) * n / POINTS)).collect();
    let line = |setting: &FlamGap| GapLine {
        name: setting.text.clone(),
        pieces: vec![points.iter().map(|t| (t.bpm(), setting.gap(*t).abs().ms())).collect()],
    };
    GapPicture {
        name: "flam-gap-over-tempo".to_owned(),
        title: page.title.to_owned(),
        about: "how far apart the two land, over tempo".to_owned(),
        max_gap_ms: FLAM_MAX_GAP.ms(),
        bands: Band::ALL.iter().map(|b| (b.to_string(), b.least().ms())).collect(),
        tempos: tempos.iter().map(|t| t.bpm()).collect(),
        lines: page.settings.iter().map(line).collect(),
    }
}
