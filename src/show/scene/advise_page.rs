use super::listening::drawn;
use super::window_picture;
use crate::judge::Target;
use crate::judge::advise::{Part, tried};
use crate::patch::{Component, ORIGINAL, Variant};
use crate::show::page::ListeningPage;
use crate::show::picture::{WIDTH, WindowPicture, window_within};
use crate::show::report::{Advised, advise_sentence, fit_phrase, plain};
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

/// The page of an advice, from that of its versions: the verdict and the window over tempo first.
#[must_use]
pub fn advise_page(mut page: ListeningPage, stem: &str, advised: &Advised<'_>) -> ListeningPage {
    let name = format!("{stem}.advice");
    let figures = window_picture((&name, "Which delays will do"), advised.rig, advised.advice);
    page.pictures.insert(
        0,
        drawn(|narrow| {
            let name = narrow.map_or_else(|| figures.name.clone(), |_| format!("{}.narrow", figures.name));
            window_within(&WindowPicture { name, ..figures.clone() }, narrow.unwrap_or(WIDTH))
        }),
    );
    page.lead = format!(
        "{} Hear the original and {} in that path, each at its usual delay.",
        advise_sentence(advised),
        counted(advised.advice.parts.len(), "component")
    );
    page
}
