use super::frame::escape;
use pulldown_cmark::{Event, HeadingLevel, Options, Parser, Tag, TagEnd};
use std::fmt::Write;

/// A teacher's text, from Markdown to markup that can do nothing: what it says of itself in HTML stays text, an image is
/// its description, and a link is one only where it leads to `http` or `https`; nothing is fetched for any of it.
///
/// Its headings begin at `<h4>`: above them stand the page's, the chapter's and the section's.
#[must_use]
pub fn markdown(text: &str) -> String {
    let mut out = String::with_capacity(text.len() * 2);
    // Links may stand in links by way of images: what was opened is what is closed.
    let mut links = Vec::new();
    for event in Parser::new_ext(text, Options::empty()) {
        match event {
            Event::Start(Tag::Link { dest_url, .. }) => {
                let leads = leads(&dest_url);
                if leads {
                    let _ = write!(out, "<a href=\"{}\" rel=\"noreferrer noopener\">", escape(&dest_url));
                }
                links.push(leads);
            }
            Event::End(TagEnd::Link) => out.push_str(if links.pop() == Some(true) { "</a>" } else { "" }),
            Event::Start(tag) => out.push_str(&opening(&tag)),
            Event::End(tag) => out.push_str(&closing(tag)),
            Event::Code(code) => {
                let _ = write!(out, "<code>{}</code>", escape(&code));
            }
            Event::SoftBreak => out.push('\n'),
            Event::HardBreak => out.push_str("<br>"),
            Event::Rule => out.push_str("<hr>"),
            Event::Text(text) | Event::Html(text) | Event::InlineHtml(text) => out.push_str(&escape(&text)),
            // Nothing else is asked for.
            other => debug_assert!(false, "{other:?}"),
        }
    }
    out
}

/// Whether a link is one: by its scheme, written out.
fn leads(url: &str) -> bool {
    let lower = url.to_ascii_lowercase();
    lower.starts_with("https://") || lower.starts_with("http://")
}

fn opening(tag: &Tag<'_>) -> String {
    match tag {
        Tag::Paragraph | Tag::HtmlBlock => "<p dir=\"auto\">".to_owned(),
        Tag::Heading { level, .. } => format!("<{} dir=\"auto\">", heading(*level)),
        Tag::BlockQuote(_) => "<blockquote>".to_owned(),
        Tag::CodeBlock(_) => "<pre><code>".to_owned(),
        Tag::List(None) => "<ul>".to_owned(),
        Tag::List(Some(1)) => "<ol>".to_owned(),
        Tag::List(Some(first)) => format!("<ol start=\"{first}\">"),
        Tag::Item => "<li dir=\"auto\">".to_owned(),
        Tag::Emphasis => "<em>".to_owned(),
        Tag::Strong => "<strong>".to_owned(),
        _ => String::new(),
    }
}

fn closing(tag: TagEnd) -> String {
    match tag {
        TagEnd::Paragraph | TagEnd::HtmlBlock => "</p>\n".to_owned(),
        TagEnd::Heading(level) => format!("</{}>\n", heading(level)),
        TagEnd::BlockQuote(_) => "</blockquote>\n".to_owned(),
        TagEnd::CodeBlock => "</code></pre>\n".to_owned(),
        TagEnd::List(false) => "</ul>\n".to_owned(),
        TagEnd::List(true) => "</ol>\n".to_owned(),
        TagEnd::Item => "</li>\n".to_owned(),
        TagEnd::Emphasis => "</em>".to_owned(),
        TagEnd::Strong => "</strong>".to_owned(),
        _ => String::new(),
    }
}

fn heading(level: HeadingLevel) -> &'static str {
    match level {
        HeadingLevel::H1 => "h4",
        HeadingLevel::H2 => "h5",
        _ => "h6",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What CommonMark 0.31 gives for these, with our headings and directions.
    #[test]
    fn plain_words_come_out_as_they_are_meant() {
        for (text, expected) in [
            ("one\ntwo\n\nthree", "<p dir=\"auto\">one\ntwo</p>\n<p dir=\"auto\">three</p>\n"),
            ("*a* **b** `c<d`", "<p dir=\"auto\"><em>a</em> <strong>b</strong> <code>c&lt;d</code></p>\n"),
            ("# Top\n", "<h4 dir=\"auto\">Top</h4>\n"),
            ("- a\n- b\n", "<ul><li dir=\"auto\">a</li>\n<li dir=\"auto\">b</li>\n</ul>\n"),
            ("3. a\n", "<ol start=\"3\"><li dir=\"auto\">a</li>\n</ol>\n"),
            ("> a\n", "<blockquote><p dir=\"auto\">a</p>\n</blockquote>\n"),
            ("    <b>\n", "<pre><code>&lt;b&gt;\n</code></pre>\n"),
            ("a  \nb\n\n---\n", "<p dir=\"auto\">a<br>b</p>\n<hr>"),
        ] {
            assert_eq!(markdown(text), expected, "{text}");
        }
    }

    #[test]
    fn links_lead_only_to_the_web_and_images_nowhere() {
        let link = |text: &str| markdown(text);
        assert_eq!(
            link("[a](https://example.org/?b=1&c=\"2\")"),
            "<p dir=\"auto\"><a href=\"https://example.org/?b=1&amp;c=&quot;2&quot;\" rel=\"noreferrer noopener\">a</a></p>\n"
        );
        for nowhere in [
            "[a](javascript:alert(1))",
            "[a](JaVaScRiPt:alert(1))",
            "[a](data:text/html,x)",
            "[a](//example.org)",
            "[a](file:///etc/passwd)",
            "[a]( java\u{0}script:alert(1))",
            "[a](vbscript:x)",
            "![a](https://example.org/a.png)",
            "![a](data:image/png;base64,AAAA)",
        ] {
            let found = link(nowhere);
            assert!(!found.contains("<a") && !found.contains("<img") && !found.contains("href="), "{nowhere}: {found}");
            assert!(found.contains('a'), "{found}");
        }
        // An image that is a link, and a link within an image.
        assert_eq!(
            link("[![a](x)](https://b.example)"),
            "<p dir=\"auto\"><a href=\"https://b.example\" rel=\"noreferrer noopener\">a</a></p>\n"
        );
        assert!(link("![a [b](javascript:c) d](e)").contains("a b d"));
        // By reference, and in angle brackets.
        assert!(!link("[a]\n\n[a]: javascript:b").contains("<a"));
        assert!(!link("<javascript:b>").contains("<a"));
        assert!(link("<https://b.example>").contains("<a href=\"https://b.example\""));
        // Of an address of mail only the text stays.
        assert!(!link("<me@b.example>").contains("<a"));
    }

    /// Raw HTML, in a line or a block, in any of its kinds, stays text: the only tags are those of this file.
    #[test]
    fn raw_html_stays_text() {
        for text in [
            "<script>alert(1)</script>",
            "a <img src=x onerror=alert(1)> b",
            "<!-- a\n-->\n<style>*{}</style>",
            "<?a ?>\n\n<![CDATA[ b ]]>\n\n<!A>",
            "<div\n onclick='a'\n>*b*</div>\n\n- <p>\n\n> <script>\n",
            "`<b>` **<b>** [<b>](https://a.example/<b>)",
            "# <script>\n\n```<script>\n</code></pre><script>\n```\n",
            "&lt;script&gt; &#60;script&#62; \u{202e}<b>",
        ] {
            let found = markdown(text);
            for tag in found.split('<').skip(1) {
                let name = tag.trim_start_matches('/').split(|c: char| !c.is_ascii_alphanumeric()).next().unwrap_or("");
                let known = ["p", "h4", "ul", "li", "blockquote", "pre", "code", "strong", "a", "em"];
                assert!(known.contains(&name), "{text}: {found}");
            }
            assert!(!found.contains('\u{202e}'));
        }
    }

    proptest::proptest! {
        /// Whatever is written: only tags of ours, each closed in its order, and no attribute but ours.
        #[test]
        fn any_text_gives_markup_that_is_whole(text in "[ -~\n<>\\[\\]()!*_`#&:/\"']{0,80}|\\PC{0,60}") {
            let found = markdown(&text);
            let mut open: Vec<&str> = Vec::new();
            let mut rest = found.as_str();
            while let Some((_, after)) = rest.split_once('<') {
                let (tag, after) = after.split_once('>').expect("a tag that ends");
                rest = after;
                let (name, attributes) = tag.split_once(' ').unwrap_or((tag, ""));
                if let Some(name) = name.strip_prefix('/') {
                    assert_eq!(open.pop(), Some(name), "{found}");
                } else if !["br", "hr"].contains(&name) {
                    open.push(name);
                }
                let fine = ["", "dir=\"auto\""].contains(&attributes)
                    || attributes.starts_with("start=\"")
                    || attributes.starts_with("href=\"http");
                assert!(fine, "{found}");
            }
            assert!(open.is_empty(), "{found}");
        }
    }
}
