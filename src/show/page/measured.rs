use super::frame::{Asks, escape, policy, without_styles};
use crate::show::picture::style;
use crate::show::report::{MEASURED_COLUMNS, Measured, measured_notes, measured_rows, measured_sentence};

const STYLE: &str = ":root{color-scheme:light dark;--paper:#fdfcf9;--ink:#22282b;--soft:#555e62;--rule:#cfd5d3;--hg-ground:var(--paper)}\
    @media (prefers-color-scheme:dark){:root{--paper:#15191b;--ink:#e6e8e6;--soft:#a9b1b3;--rule:#3a4346}}\
    *{box-sizing:border-box}\
    html{font:17px/1.55 Charter,\"Bitstream Charter\",\"Iowan Old Style\",\"Palatino Linotype\",Georgia,serif;background:var(--paper);color:var(--ink);-webkit-text-size-adjust:100%}\
    body{margin:0 auto;max-width:72rem;padding:1.5rem 1.25rem 3rem;overflow-wrap:break-word}\
    h1{font-size:1.6rem;line-height:1.25;margin:0 0 .75rem}h2{font-size:1.25rem;margin:0 0 .75rem}\
    p{max-width:46rem;margin:0 0 .75rem}.lead{font-size:1.2rem;line-height:1.45}.small{color:var(--soft);font-size:.9rem}\
    section{border-top:1px solid var(--rule);padding-top:1.25rem;margin-top:1.5rem}\
    .scroll{overflow-x:auto;max-width:100%}\
    table{border-collapse:collapse;font-variant-numeric:tabular-nums}\
    th,td{border-bottom:1px solid var(--rule);padding:.3rem .8rem;text-align:right;white-space:nowrap}\
    .pictures{display:grid;grid-template-columns:repeat(auto-fill,minmax(min(100%,26rem),1fr));gap:1.25rem;margin-top:1.25rem}\
    .pictures div{overflow-x:auto;min-width:0}.pictures svg{width:100%;min-width:24rem;height:auto;display:block}\
    @media print{body{max-width:none;padding:0}figure{break-inside:avoid}}";

/// The page of what was measured: a section a finding, with its pictures.
#[must_use]
pub fn measured_page(measured: &Measured<'_>, pictures: &[Vec<String>]) -> String {
    let boxes: Vec<String> = measured.findings.findings.iter().map(|finding| escape(&measured.name(finding))).collect();
    let title = format!("{}, measured", boxes.join(" and "));
    let look = style();
    let mut body = String::new();
    for (number, (finding, drawn)) in measured.findings.findings.iter().zip(pictures).enumerate() {
        let drawn: String = drawn
            .iter()
            .map(|svg| format!("<div tabindex=\"0\" role=\"group\">{}</div>\n", without_styles(svg)))
            .collect();
        let heads = MEASURED_COLUMNS.map(|head| format!("<th scope=\"col\">{head}</th>")).concat();
        let row = |cells: &Vec<String>| {
            let cells: String = cells.iter().map(|cell| format!("<td>{}</td>", escape(cell))).collect();
            format!("<tr>{cells}</tr>\n")
        };
        let rows: String = measured_rows(finding).iter().map(row).collect();
        body += &format!(
            "<section aria-labelledby=\"box-{number}\">\n<h2 id=\"box-{number}\">{}</h2>\n<p class=\"lead\">{}.</p>\n\
             <div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"{}: tempos\"><table><thead><tr>{heads}</tr></thead>\n<tbody>{rows}</tbody></table></div>\n\
             <div class=\"pictures\">\n{drawn}</div>\n</section>\n",
            boxes[number],
            escape(&measured_sentence(measured, finding)),
            boxes[number],
        );
    }
    let notes: String = measured_notes(measured).iter().map(|note| format!("<li>{}</li>\n", escape(note))).collect();
    let files: String = measured.files.iter().map(|file| format!("<li>{}</li>\n", escape(file))).collect();
    format!(
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"{}\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<meta name=\"referrer\" content=\"no-referrer\">\n\
         <title>{title}</title>\n<style>{STYLE}</style>\n<style>{look}</style>\n</head>\n<body>\n<main>\n<h1>{title}</h1>\n{body}\
         <section aria-labelledby=\"mind\">\n<h2 id=\"mind\">To mind</h2>\n<ul>\n{notes}</ul>\n<p>Recordings:</p>\n<ul class=\"small\">\n{files}</ul>\n</section>\n\
         </main>\n</body>\n</html>\n",
        policy("", &[STYLE, &look], Asks::Nobody),
    )
}
