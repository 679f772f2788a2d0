use super::frame::escape;
use crate::ear::Key;
use crate::time::Tempo;

const STYLE: &str = "body{font:12pt Georgia,serif;margin:2rem}\
    table{border-collapse:collapse;width:100%;max-width:34rem}\
    caption{text-align:left;font-weight:bold;padding-bottom:.4rem}\
    thead{display:table-header-group}tr{break-inside:avoid}\
    th,td{border:1px solid #555;padding:.25rem 1rem;text-align:center}\
    .line{display:inline-block;min-width:14rem;border-bottom:1px solid #555}\
    .short{min-width:8rem}";

/// A sheet to print for a class that is played `count` files: which of three was two hits, in a line each.
#[must_use]
pub fn answer_sheet(voices: &[String; 2], tempo: Tempo, count: u32, care: &str) -> String {
    let row = |n: u32| format!("<tr><th scope=\"row\">{n}</th><td>1</td><td>2</td><td>3</td></tr>");
    let rows: String = (1..=count).map(row).collect();
    sheet(
        "Which of the three was two hits?",
        &format!(
            "<p>Name: <span class=\"line\"></span> Date: <span class=\"line short\"></span></p>\n{}\
             <p>Ring one number a line; guess where you are not sure.</p>",
            played(voices, tempo)
        ),
        ["File", "First", "Second", "Third"],
        &rows,
        &format!("{} This is not a hearing test in the medical sense.", escape(care)),
    )
}

/// The key as a sheet of its own, for whoever marks by hand: which of three was two hits in each file, and how far they were apart.
#[must_use]
pub fn key_sheet(voices: &[String; 2], tempo: Tempo, key: &Key) -> String {
    let row = |(n, q): (u32, &crate::ear::Question)| {
        let ordinal = ["first", "second", "third"].get(q.asked.saturating_sub(1) as usize).unwrap_or(&"");
        format!(
            "<tr><th scope=\"row\">{n}</th><td>{}</td><td>{ordinal}</td><td>{:.0} ms</td></tr>",
            q.asked,
            q.level.ms()
        )
    };
    let rows: String = (1..).zip(&key.questions).map(row).collect();
    sheet(
        "The key: which of the three was two hits",
        &format!("{}<p>Keep it apart from the sheets until all are in.</p>", played(voices, tempo)),
        ["File", "Right", "That is the", "Gap"],
        &rows,
        "Of three guesses one is right: a third of the lines proves nothing.",
    )
}

fn played([a, b]: &[String; 2], tempo: Tempo) -> String {
    format!("<p>{} and {} at {tempo}.</p>\n", escape(a), escape(b))
}

fn sheet(title: &str, before: &str, heads: [&str; 4], rows: &str, after: &str) -> String {
    let heads: String = heads.iter().map(|head| format!("<th scope=\"col\">{head}</th>")).collect();
    format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>{title}</title>\n<style>{STYLE}</style></head>\n\
         <body><h1>{title}</h1>\n{before}\n<table><thead><tr>{heads}</tr></thead>\n<tbody>{rows}</tbody></table>\n\
         <p><small>{after}</small></p></body></html>\n"
    )
}
