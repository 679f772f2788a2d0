use super::frame::escape;
use crate::show::report::{EveningReport, SongLine, WIRING};

const STYLE: &str = "body{font:12pt Georgia,serif;margin:2rem;max-width:60rem}\
    h1{font-size:1.4rem}table{border-collapse:collapse;width:100%}\
    thead{display:table-header-group}tr{break-inside:avoid}\
    th,td{border:1px solid #555;padding:.25rem .6rem;text-align:left;vertical-align:top}\
    td:first-child,th:first-child{text-align:right}\
    .turn{font-weight:bold}.out{font-style:italic}\
    @page{margin:1.5cm}@media print{body{margin:0;font-size:10pt}}";

/// The card of an evening as a page to print: what is put in once, and a line a song.
#[must_use]
pub fn song_card(of: &EveningReport<'_>) -> String {
    let title = escape(&of.heading());
    let wiring: String = of.wiring().iter().map(|done| format!("<li>{}</li>", escape(done))).collect();
    let once = if wiring.is_empty() {
        String::new()
    } else {
        format!("<h2>Once, before the evening</h2>\n<ol>{wiring}</ol>\n")
    };
    let lines = of.lines();
    let told = lines.iter().any(|line| !line.who.is_empty());
    let heads = ["", "Song", "Tempo", "Who", "Before it", "What is heard"];
    let heads: String = heads
        .iter()
        .filter(|head| told || **head != "Who")
        .map(|head| format!("<th scope=\"col\">{head}</th>"))
        .collect();
    let row = |line: &SongLine| {
        let turns: Vec<String> = line.turns.iter().map(|turn| escape(turn)).collect();
        let turns = if turns.is_empty() {
            "—".to_owned()
        } else {
            format!("<span class=\"turn\">{}</span>", turns.join("<br>"))
        };
        let who = if told { format!("<td>{}</td>", escape(&line.who)) } else { String::new() };
        format!(
            "<tr><td>{}</td><th scope=\"row\">{}</th><td>{}</td>{who}<td>{turns}</td><td>{}</td></tr>\n",
            line.place,
            escape(&line.song),
            escape(&line.tempo),
            escape(&line.heard)
        )
    };
    let rows: String = lines.iter().map(row).collect();
    let notes: String = of.notes().iter().map(|note| format!("<p>{}</p>\n", escape(note))).collect();
    let care = if wiring.is_empty() { String::new() } else { format!("<p><small>{}</small></p>\n", escape(WIRING)) };
    format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>{title}</title>\n<style>{STYLE}</style></head>\n\
         <body><h1>{title}</h1>\n<p>{}</p>\n{once}<table><thead><tr>{heads}</tr></thead>\n<tbody>{rows}</tbody></table>\n{notes}{care}</body></html>\n",
        escape(&capital(&of.answer()))
    )
}

/// A sentence as it begins a line.
fn capital(sentence: &str) -> String {
    let mut rest = sentence.chars();
    rest.next().map_or_else(String::new, |first| first.to_uppercase().chain(rest).collect())
}
