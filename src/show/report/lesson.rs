use super::words::plain;
use crate::show::page::LessonPage;
use crate::text::counted;

/// What is in a lesson's page: its title, then a line a chapter with how many versions and tempos it has.
#[must_use]
pub fn lesson_summary(page: &LessonPage) -> String {
    let line = |(n, chapter): (usize, &crate::show::page::PageChapter)| {
        let player = &chapter.player;
        let (versions, tempos) = (player.variants.len(), player.tempos.len());
        let (versions, tempos) = (counted(versions, "version"), counted(tempos, "tempo"));
        format!("  {}. {}: {versions}, {tempos}\n", n + 1, plain(&chapter.heading))
    };
    let lines: String = page.chapters.iter().enumerate().map(line).collect();
    format!("{}\n\n{lines}", plain(&page.title))
}
