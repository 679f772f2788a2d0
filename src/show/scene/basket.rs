use super::listening::drawn;
use super::window_picture;
use crate::judge::Judged;
use crate::judge::Target;
use crate::judge::advise::{Lot, fitted};
use crate::patch::Variant;
use crate::show::page::{ListeningPage, shop_section};
use crate::show::picture::{WIDTH, WindowPicture, window_within};
use crate::show::report::{Shop, WIRING, extreme_phrase, fit_phrase, plain};
use crate::text::counted;

/// The most components of a page, each perhaps twice: 24 versions beside the original are half of what a browser takes well.
pub const MOST_HEARD: usize = 12;

/// The versions of a basket in a path: each component as it usually is and, where that is worse, at its worst, the best first.
#[must_use]
pub fn basket_variants(shop: &Shop<'_>, target: Target) -> Vec<Variant> {
    let both = |(lot, [usual, worst]): (&Lot, &[String; 2])| {
        let price = lot.part.price.as_ref().map_or_else(String::new, |price| format!("; {}", plain(price)));
        let about = Some(format!("{}{price}", fit_phrase(lot.part.fit)));
        let rig = |kind| fitted(shop.rig, target, &lot.part.name, kind);
        let usual = Variant { name: usual.clone(), about, rig: rig(&lot.usual) };
        let worst = lot.worst.as_ref().map(|(stands, kind)| Variant {
            name: worst.clone(),
            about: Some(extreme_phrase(*stands)),
            rig: rig(kind),
        });
        std::iter::once(usual).chain(worst)
    };
    shop.basket.lots.iter().zip(&shop.names).flat_map(both).collect()
}

/// The page of a basket, from that of its versions: what the path needs, the window over tempo first, and the table for the shop.
#[must_use]
pub fn basket_page(mut page: ListeningPage, stem: &str, shop: &Shop<'_>, judged: &[&Judged<'_>]) -> ListeningPage {
    let advised = shop.advised();
    let name = format!("{stem}.basket");
    let rig = shop.basket.aside.as_ref().map_or(shop.rig, |(aside, _)| &aside.rig);
    let figures = window_picture((&name, "Which delays will do"), rig, shop.basket.judged_by());
    page.pictures.insert(
        0,
        drawn(|narrow| {
            let name = narrow.map_or_else(|| figures.name.clone(), |_| format!("{}.narrow", figures.name));
            window_within(&WindowPicture { name, ..figures.clone() }, narrow.unwrap_or(WIDTH))
        }),
    );
    let heard = counted(shop.basket.lots.len(), "component");
    page.lead =
        format!("{} Hear the original and {heard} in that path, each as it usually is and at its worst.", shop.lead());
    let on = advised.advice.target.name(shop.rig);
    let slack = "Slack: how much sooner or later it may come, whichever is less, and still be sure; with a minus, so much is missing.";
    let (left, wiring) = (shop.left_out(), WIRING.replace('\n', " "));
    let says: Vec<&str> = std::iter::once(slack).chain(left.as_deref()).chain([wiring.as_str()]).collect();
    page.extra = Some(shop_section(&shop.rows(judged), &on, &says));
    page
}
