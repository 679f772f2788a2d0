//! What a page's script is given, as JSON.

use super::markup::loops;
use super::{Cell, ListeningPage, PageTempo};
use crate::show::page::sounds::{PageVoice, RATE};
use crate::show::report::{exact_ms, plain, state_word};

/// Milliseconds as a number of JSON, to the picosecond.
fn ms(ps: i64) -> serde_json::Value {
    serde_json::json!(ps as f64 / 1e9)
}

/// The same, with voices by what they are known by alone.
pub(super) fn data_without_voices(page: &ListeningPage) -> serde_json::Value {
    data_with(page, |voice| serde_json::json!(voice.id()))
}

pub(super) fn data(page: &ListeningPage) -> serde_json::Value {
    data_with(page, PageVoice::json)
}

fn data_with(page: &ListeningPage, voice: impl Fn(&PageVoice) -> serde_json::Value) -> serde_json::Value {
    let longest = loops(page).last().copied().unwrap_or(1);
    // What comes after the longest loop is never heard there; words and figures are of the whole piece.
    let cell = |cell: &Cell| {
        let hits = cell.hits.iter().filter(|h| h.bar < longest);
        serde_json::json!({
            "gain": cell.gain,
            "hits": hits.map(|h| serde_json::json!([ms(h.at.0), h.voice, h.gain, h.bar, h.player, ms(h.due.0), u8::from(h.first)])).collect::<Vec<_>>(),
            "passes": cell.passes,
            "state": state_word(cell.state),
            "lines": cell.lines.iter().map(|l| plain(l)).collect::<Vec<_>>(),
            "misses": cell.misses,
            "gap": cell.gap,
            "gapMs": cell.worst.map(|w| ms(w.0)),
            "band": cell.band.as_ref().map(|b| &b.0),
            "heard": cell.band.as_ref().map(|b| &b.1),
        })
    };
    let tempo = |t: &PageTempo| {
        serde_json::json!({
            "bpm": t.tempo.to_string(), "barMs": ms(t.bar.0), "beats": t.beats.iter().map(|(at, line)| serde_json::json!([ms(at.0), u8::from(*line)])).collect::<Vec<_>>(), "bars": t.bars, "note": t.note.as_deref().map(plain),
            "cells": t.cells.iter().map(|c| c.as_ref().map(cell)).collect::<Vec<_>>(),
        })
    };
    serde_json::json!({
        "format": 1,
        "title": plain(&page.title),
        "patch": plain(&page.source),
        "maxGap": exact_ms(page.max_gap),
        "rate": RATE,
        "voices": page.voices.iter().map(voice).collect::<Vec<_>>(),
        "variants": page.variants.iter().map(|v| serde_json::json!({
            "name": plain(&v.name), "about": v.about.as_deref().map(plain),
            "players": v.players.iter().map(|p| serde_json::json!([plain(&p.name), plain(&p.pattern)])).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "tempos": page.tempos.iter().map(tempo).collect::<Vec<_>>(),
    })
}
