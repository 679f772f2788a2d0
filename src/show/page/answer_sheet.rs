use super::frame::escape;
use crate::time::Tempo;

/// A sheet to print for a class that is played `count` files: which of three was two hits, in a line each.
#[must_use]
pub fn answer_sheet([a, b]: &[String; 2], tempo: Tempo, count: u32, care: &str) -> String {
    let row = |n: u32| format!("<tr><th>{n}</th><td>1</td><td>2</td><td>3</td></tr>");
    let rows: String = (1..=count).map(row).collect();
    format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>Which was two?</title>\n\
         <style>body{{font:12pt Georgia,serif;margin:2rem}}table{{border-collapse:collapse;columns:2}}\
         th,td{{border:1px solid #555;padding:.25rem 1.2rem}}</style></head>\n\
         <body><h1>Which of the three was two hits?</h1>\n<p>{} and {}, {tempo}. Name: ____________________</p>\n\
         <p>Ring one number a line; guess where you are not sure.</p>\n<table><tbody>{rows}</tbody></table>\n\
         <p><small>{} This is not a hearing test in the medical sense.</small></p></body></html>\n",
        escape(a),
        escape(b),
        escape(care)
    )
}
