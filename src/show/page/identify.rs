use super::frame::{escape, json};
use crate::show::report::plain;
use crate::sound::loops::LoopHit;
use crate::time::{Span, Tempo};
use std::fmt::Write;

/// The part of a page that asks what a box did, and says which ways of reading its reset are left.
#[derive(Clone, Debug)]
pub struct IdentifySection {
    /// The box.
    pub name: String,
    /// The tempo of the tests.
    pub tempo: Tempo,
    /// Whether the clock has dials for phase, shift and width.
    pub dials: bool,
    /// What is set up, in sentences.
    pub set_up: String,
    /// The tests, in order.
    pub tests: Vec<IdentifyTest>,
    /// The ways.
    pub ways: Vec<IdentifyWay>,
    /// How long what is heard of a test lasts until it begins anew.
    pub length: Span,
}

/// One test.
#[derive(Clone, Debug)]
pub struct IdentifyTest {
    /// What is set for it.
    pub set: Vec<String>,
    /// What is to be known of it; may be empty.
    pub note: String,
    /// What may be heard: in words, and as it sounds.
    pub answers: Vec<(String, Vec<LoopHit>)>,
}

/// One way of reading.
#[derive(Clone, Debug)]
pub struct IdentifyWay {
    /// Its short name.
    pub name: String,
    /// What is heard of it at each test.
    pub answers: Vec<usize>,
    /// The lines for the patch: its own, then those of ways that nothing tells from it.
    pub lines: Vec<Vec<String>>,
    /// Which version of the page it is.
    pub version: usize,
}

/// The section's markup, with its data.
#[must_use]
pub fn identify_section(of: &IdentifySection) -> String {
    let mut out = String::from("<section class=\"screen\" data-identify=\"\" aria-labelledby=\"identify-title\">\n");
    let (name, set_up) = (escape(&of.name), escape(&of.set_up));
    let _ = write!(
        out,
        "<h2 id=\"identify-title\">What did yours do?</h2>\n<p>Try {name} by itself: {set_up} Hear what each way of reading does, \
         play the test on your own box, and mark what you heard.</p>\n"
    );
    for (t, test) in of.tests.iter().enumerate() {
        let set = test.set.iter().map(|s| escape(s)).collect::<Vec<_>>().join("; ");
        let note = if test.note.is_empty() { String::new() } else { format!(" {}", escape(&test.note)) };
        let _ = write!(
            out,
            "<fieldset><legend>Test {}</legend>\n<p>{set}. Stop, start, and listen from the third reset on.{note}</p>\n",
            t + 1
        );
        for (a, (words, _)) in test.answers.iter().enumerate() {
            let (letter, words) = (letter(a), escape(words));
            let _ = writeln!(
                out,
                "<div class=\"row\"><button type=\"button\" data-hear=\"{t}/{a}\" aria-label=\"Hear {letter} of test {}\">Hear {letter}</button>\
                 <label><input type=\"radio\" name=\"identify-{t}\" data-test=\"{t}\" value=\"{a}\"> <span>{words}</span></label></div>",
                t + 1
            );
        }
        let _ = write!(
            out,
            "<div class=\"row\"><label><input type=\"radio\" name=\"identify-{t}\" data-test=\"{t}\" value=\"\" checked> \
             <span>not sure yet</span></label></div>\n</fieldset>\n"
        );
    }
    out.push_str(
        "<div class=\"row\"><button type=\"button\" id=\"identify-stop\">Stop</button></div>\n\
         <p id=\"identify-left\" role=\"status\" aria-live=\"polite\"></p>\n<ul id=\"identify-ways\"></ul>\n\
         <div id=\"identify-lines\" hidden>\n<pre class=\"scroll\" id=\"identify-toml\" tabindex=\"0\"></pre>\n\
         <p class=\"small\" id=\"identify-others\"></p>\n\
         <div class=\"row\"><button type=\"button\" id=\"identify-copy\">Copy the lines</button> \
         <span id=\"identify-copied\" role=\"status\"></span></div>\n</div>\n",
    );
    let _ = write!(
        out,
        "<script type=\"application/json\" id=\"identify-data\">{}</script>\n</section>\n",
        json(&data(of))
    );
    out
}

fn letter(answer: usize) -> char {
    char::from(b'a' + u8::try_from(answer.min(25)).unwrap_or(25))
}

fn data(of: &IdentifySection) -> serde_json::Value {
    let ms = |ps: i64| ps as f64 / 1e9;
    let hits = |hits: &Vec<LoopHit>| -> Vec<_> {
        hits.iter().map(|h| serde_json::json!([ms(h.at.0), h.voice, h.gain])).collect()
    };
    let test = |test: &IdentifyTest| serde_json::json!({ "answers": test.answers.iter().map(|(_, h)| hits(h)).collect::<Vec<_>>() });
    let way = |way: &IdentifyWay| {
        serde_json::json!({
            "name": plain(&way.name), "answers": way.answers, "lines": way.lines, "version": way.version,
        })
    };
    serde_json::json!({
        "tempo_bpm": of.tempo.bpm(),
        "ms": ms(of.length.0),
        "dials": of.dials,
        "tests": of.tests.iter().map(test).collect::<Vec<_>>(),
        "ways": of.ways.iter().map(way).collect::<Vec<_>>(),
    })
}
