//! Filling a page in: text that stays text, data that stays data, and the policy that keeps everything else out.

use crate::text::{marked, tamed_json};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde::Serialize;
use sha2::{Digest, Sha256};

/// A text as it may stand in HTML, in an element or between quotes. Controls and marks that turn or hide text are shown
/// as what they are.
#[must_use]
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    // A text may run from right to left; it may not turn what stands beside it.
    for c in marked(text, |c| matches!(c, '\n' | '\t')).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

/// JSON as it may stand in a script element: nothing in it ends the element or begins a comment.
pub(super) fn json(value: &impl Serialize) -> String {
    let json = tamed_json(&serde_json::to_string(value).expect("texts and numbers"));
    json.replace('<', "\\u003c").replace('>', "\\u003e").replace('&', "\\u0026")
}

/// What a policy calls a script or style sheet that stands in the page itself.
fn hash(text: &str) -> String {
    format!("'sha256-{}'", STANDARD.encode(Sha256::digest(text.as_bytes())))
}

/// Whom a page may ask for anything.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Asks {
    Nobody,
    /// Who served it.
    Server,
}

/// A policy under which a page runs this script and these style sheets, and asks nobody else for anything.
pub(super) fn policy(script: &str, styles: &[&str], asks: Asks) -> String {
    let mut hashes: Vec<String> = styles.iter().map(|s| hash(s)).collect();
    hashes.sort_unstable();
    hashes.dedup();
    format!(
        "default-src 'none'; script-src {}; style-src {}; {}base-uri 'none'; form-action 'none'",
        hash(script),
        hashes.join(" "),
        match asks {
            Asks::Nobody => "",
            Asks::Server => "connect-src 'self'; ",
        }
    )
}

/// The style sheets within a piece of markup of our own.
pub(super) fn styles(markup: &str) -> Vec<&str> {
    markup.split("<style>").skip(1).filter_map(|rest| rest.split_once("</style>")).map(|(style, _)| style).collect()
}

/// A piece of markup of our own without its style sheets.
pub(super) fn without_styles(markup: &str) -> String {
    let mut parts = markup.split("<style>");
    let first = parts.next().unwrap_or_default().to_owned();
    parts.fold(first, |all, part| all + part.split_once("</style>").map_or(part, |(_, rest)| rest))
}

/// Fills places `{{name}}` of a template in; what is put in is not looked at again.
pub(super) fn fill(template: &str, places: &[(&str, &str)]) -> String {
    let mut out = String::with_capacity(template.len() + places.iter().map(|p| p.1.len()).sum::<usize>());
    let mut rest = template;
    while let Some((before, after)) = rest.split_once("{{") {
        out.push_str(before);
        let Some((name, after)) = after.split_once("}}") else {
            out.push_str("{{");
            rest = after;
            continue;
        };
        out.push_str(places.iter().find(|(place, _)| *place == name).map_or("", |(_, text)| text));
        rest = after;
    }
    out.push_str(rest);
    out
}

/// Markup of our own with `prefix` before every id and every group of radios, and before what refers to them: so that
/// one page can hold it more than once.
pub(super) fn scoped(markup: &str, prefix: &str) -> String {
    if prefix.is_empty() {
        return markup.to_owned();
    }
    let mut out = String::with_capacity(markup.len() * 2);
    let mut rest = markup;
    // The nearest attribute that is or takes an id.
    let next = |rest: &str| {
        let found =
            [" id=\"", " name=\"", " for=\"", " aria-labelledby=\"", " aria-describedby=\"", " aria-controls=\""];
        found.iter().filter_map(|a| rest.find(a).map(|at| at + a.len())).min()
    };
    while let Some(from) = next(rest) {
        out.push_str(&rest[..from]);
        let to = rest[from..].find('"').map_or(rest.len(), |n| from + n);
        let ids: Vec<String> = rest[from..to].split(' ').map(|id| format!("{prefix}{id}")).collect();
        out.push_str(&ids.join(" "));
        rest = &rest[to..];
    }
    out.push_str(rest);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_stays_text() {
        assert_eq!(escape("<a href=\"x\">'&'</a>"), "&lt;a href=&quot;x&quot;&gt;&#39;&amp;&#39;&lt;/a&gt;");
        // A control, a right-to-left override, an isolate; letters that run from right to left are letters.
        assert_eq!(escape("a\u{7}\u{202e}\u{2066}ש\n🥁"), "a\u{fffd}\u{fffd}\u{fffd}ש\n🥁");
    }

    /// From the specification of Content Security Policy, level 3, section 8.3: the hash of this script.
    #[test]
    fn hashes_are_the_standards() {
        assert_eq!(hash("alert('Hello, world.');"), "'sha256-qznLcsROx4GACP2dm0UCKCzCG+HiZ1guq6ZZDob/Tng='");
    }

    #[test]
    fn a_policy_allows_what_stands_in_the_page_and_nothing_else() {
        let served = policy("a", &["b"], Asks::Server);
        assert!(served.contains("; connect-src 'self'; base-uri"), "{served}");
        let policy = policy("a", &["b", "c", "b"], Asks::Nobody);
        let parts: Vec<&str> = policy.split("; ").collect();
        assert_eq!(parts[0], "default-src 'none'");
        assert_eq!(parts[1], format!("script-src {}", hash("a")));
        assert_eq!(parts[2].matches("'sha256-").count(), 2, "{policy}");
        assert_eq!(parts[3..], ["base-uri 'none'", "form-action 'none'"]);
    }

    #[test]
    fn what_is_filled_in_is_not_looked_at_again() {
        let places = [("a", "{{b}}"), ("b", "2")];
        assert_eq!(fill("{{a}} {{b}} {{c}} {{", &places), "{{b}} 2  {{");
    }

    #[test]
    fn style_sheets_are_found() {
        let markup = "<svg><style>a{}</style></svg><p><style>b{}</style>";
        assert_eq!(styles(markup), ["a{}", "b{}"]);
        assert_eq!(without_styles(markup), "<svg></svg><p>");
        assert_eq!(without_styles("<p>"), "<p>");
    }

    #[test]
    fn data_ends_no_script() {
        let value = serde_json::json!({ "a": "</script><!-- &\u{2028}" });
        let text = json(&value);
        assert!(!text.contains(['<', '>', '&', '\u{2028}']), "{text}");
        assert_eq!(serde_json::from_str::<serde_json::Value>(&text).expect("JSON"), value);
    }
}
