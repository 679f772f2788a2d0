use crate::show::page::PageChapter;
use crate::sound::reel::{ReelPart, ReelPiece};
use crate::sound::render::Master;

/// What a reel plays of a lesson's chapter, its number in front of its heading: at each tempo every version as the page plays it at
/// first, once round. `masters` are the sounds of the voices of its player.
#[must_use]
pub fn reel_part(number: usize, chapter: &PageChapter, masters: Vec<Master>) -> ReelPart {
    let player = &chapter.player;
    let pieces = player.tempos.iter().flat_map(|at| {
        let versions = player.variants.iter().zip(&at.cells);
        versions.filter_map(move |(variant, cell)| {
            let cell = cell.as_ref()?;
            let label = format!("{} at {}", variant.name, at.tempo);
            Some(ReelPiece::new(label, &cell.hits, cell.gain, (at.bars, at.bar)))
        })
    });
    ReelPart { title: format!("{number}. {}", chapter.heading), pieces: pieces.collect(), masters }
}
