use super::frame::escape;
use super::listen::{Drawings, Frame, ListeningPage, STYLE, frame, template, work};
use super::markdown::markdown;
use crate::patch::Chapter;
use crate::text::{counted, plain};
use std::fmt::Write;

/// A lesson: chapters, each with a teacher's text and a player.
#[derive(Clone, Debug)]
pub struct LessonPage {
    /// What it is called.
    pub title: String,
    /// What is said before the first chapter, in Markdown.
    pub note: Option<String>,
    /// The lesson's file as it was named.
    pub source: String,
    /// The caution about listening.
    pub care: String,
    /// In the order in which they are taught.
    pub chapters: Vec<PageChapter>,
}

/// A chapter. What it says is Markdown, read by [`markdown()`].
#[derive(Clone, Debug)]
pub struct PageChapter {
    /// What it is called.
    pub heading: String,
    /// What is said before anything is heard.
    pub text: String,
    /// What to listen for.
    pub listen_for: Option<String>,
    /// A question, for afterwards.
    pub question: Option<String>,
    /// Its answer, which is shown when it is asked for.
    pub answer: Option<String>,
    /// What is heard and seen.
    pub player: ListeningPage,
}

impl PageChapter {
    /// A chapter of a lesson's file with what is heard in it: the player has the chapter's heading, and no note of its own.
    #[must_use]
    pub fn new(chapter: &Chapter, player: ListeningPage) -> Self {
        Self {
            heading: chapter.heading.clone(),
            text: chapter.text.clone(),
            listen_for: chapter.listen_for.clone(),
            question: chapter.question.clone(),
            answer: chapter.answer.clone(),
            player: ListeningPage { title: chapter.heading.clone(), note: None, ..player },
        }
    }
}

/// The largest page of a lesson, in bytes: past it, it opens slowly on a phone and no mail carries it.
pub const LARGEST_PAGE: usize = 16 << 20;

/// Where a page of so many bytes is larger than [`LARGEST_PAGE`]: what was found, and the bound.
#[must_use]
pub fn over_largest(bytes: usize) -> Option<String> {
    let mib = |bytes: usize| format!("{:.1} MiB", bytes as f64 / f64::from(1 << 20));
    (bytes > LARGEST_PAGE).then(|| format!("the page would have {}; at most {}", mib(bytes), mib(LARGEST_PAGE)))
}

impl LessonPage {
    /// What is in it, for a terminal: its title, then a line a chapter with how many versions and tempos it has.
    #[must_use]
    pub fn summary(&self) -> String {
        let line = |(n, chapter): (usize, &PageChapter)| {
            let (versions, tempos) = (chapter.player.variants.len(), chapter.player.tempos.len());
            let (versions, tempos) = (counted(versions, "version"), counted(tempos, "tempo"));
            format!("  {}. {}: {versions}, {tempos}\n", n + 1, plain(&chapter.heading))
        };
        let lines: String = self.chapters.iter().enumerate().map(line).collect();
        format!("{}\n\n{lines}", plain(&self.title))
    }
}

/// What a lesson has beyond a listening page.
const OWN_STYLE: &str = concat!(include_str!("parts/lesson.css"), include_str!("parts/class.css"));
/// Where a class hands in its blind tests, behind the chapters.
const CLASS: &str = include_str!("parts/class.html");

/// The page, whole.
#[must_use]
pub fn lesson_page(page: &LessonPage) -> String {
    let style = format!("{STYLE}{OWN_STYLE}");
    let note = page.note.as_ref().map_or_else(String::new, |n| format!("<div class=\"text\">\n{}</div>", markdown(n)));
    let drawn: Vec<Drawings> =
        page.chapters.iter().enumerate().map(|(n, c)| Drawings::new(&c.player, &prefix(n))).collect();
    let mut main = String::from("<main>\n");
    main.push_str(&index(page));
    for (n, drawn) in drawn.iter().enumerate() {
        chapter(&mut main, page, n, drawn);
    }
    main.push_str(CLASS);
    main.push_str(&sheet(page));
    main.push_str("</main>\n");
    let count = page.chapters.len();
    frame(&Frame {
        title: &page.title,
        lead: &match count {
            1 => "One chapter: read, listen, and test whether you can tell.".to_owned(),
            _ => format!("{count} chapters: read, listen, and test whether you can tell."),
        },
        note: &note,
        care: &page.care,
        main: &main,
        footer: &format!("Made from {} by hitgap. Nothing here is sent anywhere.", page.source),
        style: &style,
        served: false,
        pictures: &drawn.iter().flat_map(|d| [d.pictures.as_str(), d.wires.as_str()]).collect::<Vec<_>>(),
    })
}

/// A sheet to hand out, which only a print has: each chapter's verdict, its question, and room to write.
fn sheet(page: &LessonPage) -> String {
    let mut out = format!(
        "<section class=\"sheet\" aria-hidden=\"true\">\n<h2>{}: the class's sheet</h2>\n<p>Name: <span class=\"fill\"></span> Date: <span class=\"fill\"></span></p>\n",
        escape(&page.title)
    );
    for (n, chapter) in page.chapters.iter().enumerate() {
        let versions: Vec<String> = chapter.player.variants.iter().map(|v| escape(&v.name)).collect();
        let _ = write!(
            out,
            "<div class=\"part\"><h3>{}. {}</h3>\n<p>Versions: {}. Which works for you, at which tempo? <span class=\"fill\"></span></p>\n",
            n + 1,
            escape(&chapter.heading),
            versions.join(", ")
        );
        if let Some(question) = &chapter.question {
            let _ = write!(
                out,
                "{}<p><span class=\"fill long\"></span></p>\n<p><span class=\"fill long\"></span></p>\n",
                markdown(question)
            );
        }
        out.push_str("</div>\n");
    }
    out.push_str("</section>\n");
    out
}

/// What the ids of a chapter's player begin with.
fn prefix(n: usize) -> String {
    format!("c{}-", n + 1)
}

fn index(page: &LessonPage) -> String {
    let mut out =
        String::from("<nav class=\"index\" aria-labelledby=\"index\">\n<h2 id=\"index\">Chapters</h2>\n<ol>\n");
    for (n, chapter) in page.chapters.iter().enumerate() {
        let _ = writeln!(
            out,
            "<li><a href=\"#chapter-{0}\" data-to-chapter dir=\"auto\">{1}</a></li>",
            n + 1,
            escape(&chapter.heading)
        );
    }
    out.push_str("</ol>\n</nav>\n");
    out
}

fn chapter(out: &mut String, page: &LessonPage, n: usize, drawn: &Drawings) {
    let (chapter, number) = (&page.chapters[n], n + 1);
    let _ = write!(
        out,
        "<section class=\"chapter\" id=\"chapter-{number}\" data-chapter aria-labelledby=\"chapter-{number}-heading\">\n\
         <h2><button type=\"button\" class=\"unfold\" id=\"chapter-{number}-heading\" aria-expanded=\"true\" \
         aria-controls=\"chapter-{number}-inside\"><span dir=\"auto\">{number}. {}</span></button></h2>\n\
         <div class=\"inside\" id=\"chapter-{number}-inside\" data-player=\"{}\">\n",
        escape(&chapter.heading),
        prefix(n)
    );
    let _ = writeln!(out, "<div class=\"text\">\n{}</div>", markdown(&chapter.text));
    if let Some(words) = &chapter.listen_for {
        let _ = writeln!(out, "<div class=\"text hint\">\n<h3>Listen for</h3>\n{}</div>", markdown(words));
    }
    let [_, player, _] = template();
    // A heading of the player stands a step lower under a chapter's.
    let player = player.replace("<h2", "<h3").replace("</h2>", "</h3>");
    out.push_str(&work(&chapter.player, &player, &prefix(n), drawn));
    if let Some(words) = &chapter.question {
        let _ = write!(out, "<section class=\"text\">\n<h3>A question</h3>\n{}", markdown(words));
        if let Some(words) = &chapter.answer {
            let _ = writeln!(out, "<details class=\"answer\"><summary>Answer</summary>\n{}</details>", markdown(words));
        }
        out.push_str("</section>\n");
    }
    if let Some(next) = page.chapters.get(n + 1) {
        let _ = writeln!(
            out,
            "<p class=\"next\"><a href=\"#chapter-{}\" data-to-chapter dir=\"auto\">Next: {}</a></p>",
            number + 1,
            escape(&next.heading)
        );
    }
    out.push_str("</div>\n</section>\n");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_page_is_too_large_from_the_first_byte_past_the_bound() {
        assert_eq!(over_largest(LARGEST_PAGE), None);
        let twice = "the page would have 32.0 MiB; at most 16.0 MiB".to_owned();
        assert_eq!(over_largest(2 * LARGEST_PAGE), Some(twice));
        assert!(over_largest(LARGEST_PAGE + 1).is_some());
    }
}
