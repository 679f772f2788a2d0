//! What a page's script is given, as JSON: written straight from what it is made of, and its keys in the order of the alphabet.

use super::markup::loops;
use super::{Cell, ListeningPage, PageTempo, PageVariant};
use crate::show::page::sounds::{PageVoice, RATE, SentVoice};
use crate::show::report::{exact_ms, plain, state_word};
use serde::Serialize;

/// All of it. Voices are sent whole, or by what they are known by.
#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Data<V> {
    format: u8,
    max_gap: String,
    patch: String,
    rate: u32,
    pub(super) tempos: Vec<TempoData>,
    title: String,
    pub(super) variants: Vec<VariantData>,
    pub(super) voices: Vec<V>,
}

#[derive(Serialize)]
pub(super) struct VariantData {
    about: Option<String>,
    name: String,
    /// Each with its pattern.
    players: Vec<(String, String)>,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct TempoData {
    bar_ms: f64,
    bars: u32,
    /// Each with 1 where a bar begins.
    beats: Vec<(f64, u8)>,
    pub(super) bpm: String,
    cells: Vec<Option<CellData>>,
    note: Option<String>,
}

/// When it sounds, its voice, its factor, its bar, its player, when it is due, and 1 where it is the first step of its pattern.
type Hit = (f64, usize, f64, u32, usize, f64, u8);

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct CellData {
    band: Option<String>,
    gain: f64,
    gap: String,
    gap_ms: Option<f64>,
    heard: Option<String>,
    hits: Vec<Hit>,
    lines: Vec<String>,
    misses: String,
    passes: bool,
    state: &'static str,
}

/// Milliseconds, to the picosecond.
fn ms(ps: i64) -> f64 {
    ps as f64 / 1e9
}

/// With voices by what they are known by alone.
pub(super) fn data_without_voices(page: &ListeningPage) -> Data<&str> {
    data_with(page, PageVoice::id)
}

pub(super) fn data(page: &ListeningPage) -> Data<SentVoice<'_>> {
    data_with(page, PageVoice::sent)
}

fn data_with<'p, V>(page: &'p ListeningPage, voice: impl Fn(&'p PageVoice) -> V) -> Data<V> {
    let longest = loops(page).last().copied().unwrap_or(1);
    Data {
        format: 1,
        max_gap: exact_ms(page.max_gap),
        patch: plain(&page.source),
        rate: RATE,
        tempos: page.tempos.iter().map(|tempo| tempo_data(tempo, longest)).collect(),
        title: plain(&page.title),
        variants: page.variants.iter().map(variant_data).collect(),
        voices: page.voices.iter().map(voice).collect(),
    }
}

fn variant_data(variant: &PageVariant) -> VariantData {
    VariantData {
        about: variant.about.as_deref().map(plain),
        name: plain(&variant.name),
        players: variant.players.iter().map(|p| (plain(&p.name), plain(&p.pattern))).collect(),
    }
}

fn tempo_data(tempo: &PageTempo, longest: u32) -> TempoData {
    TempoData {
        bar_ms: ms(tempo.bar.0),
        bars: tempo.bars,
        beats: tempo.beats.iter().map(|(at, line)| (ms(at.0), u8::from(*line))).collect(),
        bpm: tempo.tempo.to_string(),
        cells: tempo.cells.iter().map(|cell| cell.as_ref().map(|cell| cell_data(cell, longest))).collect(),
        note: tempo.note.as_deref().map(plain),
    }
}

fn cell_data(cell: &Cell, longest: u32) -> CellData {
    // What comes after the longest loop is never heard there; words and figures are of the whole piece.
    let hits = cell.hits.iter().filter(|h| h.bar < longest);
    CellData {
        band: cell.band.as_ref().map(|(name, _)| name.clone()),
        gain: cell.gain,
        gap: cell.gap.clone(),
        gap_ms: cell.worst.map(|w| ms(w.0)),
        heard: cell.band.as_ref().map(|(_, heard)| heard.clone()),
        hits: hits.map(|h| (ms(h.at.0), h.voice, h.gain, h.bar, h.player, ms(h.due.0), u8::from(h.first))).collect(),
        lines: cell.lines.iter().map(|line| plain(line)).collect(),
        misses: cell.misses.clone(),
        passes: cell.passes,
        state: state_word(cell.state),
    }
}
