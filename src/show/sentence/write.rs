//! Writes sentences out: as markup, and as they are read aloud.

use super::editor::Editor;
use super::faults::Told;
use super::teller::{Bit, Draft, text};
use super::{Sentence, Word};
use crate::show::page::escape;
use std::fmt::Write as _;

/// Writes drafts out.
pub(super) fn sentences(drafts: Vec<Draft>, words: &[Word], told: &[(Told, Option<String>)]) -> Vec<Sentence> {
    let sentence = |draft: Draft| {
        let faults = told.iter().filter(|(_, id)| id.as_deref() == Some(&draft.id)).map(|(told, _)| told.says.clone());
        Sentence {
            markup: markup(&draft, words),
            plain: spoken(&draft, words),
            faults: faults.collect(),
            id: draft.id,
            kind: draft.kind,
            name: draft.name,
            brought: draft.brought,
        }
    };
    drafts.into_iter().map(sentence).collect()
}

fn bits(draft: &Draft) -> Vec<Bit> {
    let mut all: Vec<Bit> = Vec::new();
    for (s, sentence) in draft.said.iter().enumerate() {
        if s > 0 {
            all.push(text(" "));
        }
        for (c, clause) in sentence.iter().enumerate() {
            let joins = matches!(clause.first(), Some(Bit::Text(text)) if text.starts_with([' ', ':', '.']));
            if c > 0 && !joins {
                all.push(text(", "));
            }
            all.extend(clause.iter().cloned());
        }
        all.push(text("."));
    }
    all
}

fn spoken(draft: &Draft, words: &[Word]) -> String {
    let said = bits(draft).into_iter().map(|bit| match bit {
        Bit::Text(text) => text,
        Bit::Word(n) => words[n].says.clone(),
    });
    said.collect()
}

fn markup(draft: &Draft, words: &[Word]) -> String {
    let mut out = format!("<p class=\"sentence\" id=\"desk-{}\">", escape(&draft.id));
    for bit in bits(draft) {
        match bit {
            Bit::Text(text) => out += &escape(&text),
            Bit::Word(n) => button(&mut out, n, &words[n]),
        }
    }
    for (n, word) in
        words.iter().enumerate().filter(|(_, w)| matches!(w.takes, Editor::More { .. }) && w.of == draft.id)
    {
        out.push(' ');
        button(&mut out, n, word);
    }
    out + "</p>"
}

fn button(out: &mut String, n: usize, word: &Word) {
    let more = match (&word.takes, &word.fault, word.changed) {
        (Editor::More { .. }, ..) => " more",
        (_, Some(_), _) => " faulty",
        (_, None, true) => " changed",
        _ => "",
    };
    let _ =
        write!(out, "<button type=\"button\" class=\"word{more}\" data-word=\"{n}\">{}</button>", escape(&word.says));
}
