use super::listening::drawn;
use super::window_picture;
use crate::judge::Target;
use crate::judge::advise::{Fit, Level, Part, tried};
use crate::patch::{Component, ORIGINAL, Variant};
use crate::show::page::{Drawn, ListeningPage};
use crate::show::picture::{WIDTH, WindowPicture, window_within};
use crate::show::report::{Advised, advise_sentence, and, fit_phrase, plain};
use crate::text::counted;

/// What an advice's page plays beside the original: the variant itself where that is a fix, then each component put into its
/// path. A blank in their names keeps them apart from every name of a variant.
#[must_use]
pub fn part_variants(variant: &Variant, target: Target, components: &[Component]) -> Vec<Variant> {
    let with = |component: &Component| Variant {
        name: format!("with {}", component.name),
        about: None,
        rig: tried(&variant.rig, target, component),
    };
    let itself = (variant.name != ORIGINAL).then(|| variant.clone());
    itself.into_iter().chain(components.iter().map(with)).collect()
}

/// Puts those in the order of the advice, the best first, each with what the advice says of it.
#[must_use]
pub fn ranked(variants: Vec<Variant>, parts: &[Part]) -> Vec<Variant> {
    let place = |v: &Variant| parts.iter().position(|p| v.name.strip_prefix("with ") == Some(p.name.as_str()));
    let mut all: Vec<(Option<usize>, Variant)> = variants.into_iter().map(|v| (place(&v), v)).collect();
    all.sort_by_key(|(place, _)| *place);
    let told = |(place, variant): (Option<usize>, Variant)| match place {
        None => variant,
        Some(n) => {
            let price = parts[n].price.as_ref().map(|price| format!("; {}", plain(price)));
            let about = Some(format!("{}{}", fit_phrase(parts[n].fit), price.unwrap_or_default()));
            Variant { about, ..variant }
        }
    };
    all.into_iter().map(told).collect()
}

/// The delays that will do over tempo, for a page and for a phone. Where others stand in the way, those that would do without them.
#[must_use]
pub fn advice_window(stem: &str, advised: &Advised<'_>) -> Drawn {
    let (rig, advice) = advised.aside.map_or((advised.rig, advised.advice), |(aside, advice)| (&aside.rig, advice));
    let name = format!("{stem}.advice");
    let mut figures = window_picture((&name, "Which delays will do"), rig, advice);
    if let Some((aside, _)) = advised.aside {
        let names: Vec<&str> = aside.players.iter().map(|(player, ..)| advised.rig.player_name(*player)).collect();
        figures.about = format!("{}, as if {} were not there", figures.about, and(&names));
    }
    drawn(|narrow| {
        let name = narrow.map_or_else(|| figures.name.clone(), |_| format!("{}.narrow", figures.name));
        window_within(&WindowPicture { name, ..figures.clone() }, narrow.unwrap_or(WIDTH))
    })
}

/// The page of an advice, from that of its versions: the verdict and the window over tempo first.
#[must_use]
pub fn advise_page(mut page: ListeningPage, stem: &str, advised: &Advised<'_>) -> ListeningPage {
    page.pictures.insert(0, advice_window(stem, advised));
    // A hit that comes right by its usual value, and by its tolerances may not, is together here and no cure.
    for part in &advised.advice.parts {
        let Some(n) = page.variants.iter().position(|v| v.name.strip_prefix("with ") == Some(part.name.as_str()))
        else {
            continue;
        };
        for at in part.at.iter().filter(|at| at.level == Level::AtRisk) {
            let tempo = page.tempos.iter_mut().find(|t| t.tempo == at.tempo);
            let cell = tempo.and_then(|t| t.cells.get_mut(n)).and_then(Option::as_mut);
            cell.into_iter().for_each(|cell| cell.lines.insert(0, fit_phrase(Fit::AtRisk).to_owned()));
        }
    }
    page.lead = format!(
        "{} Hear the original and {} in that path, each at its usual delay.",
        advise_sentence(advised),
        counted(advised.advice.parts.len(), "component")
    );
    page
}
