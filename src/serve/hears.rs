//! Components that are heard on the page, all of them in one path, for as long as they are wanted.

use crate::judge::advise::Basket;
use crate::judge::which;
use crate::patch::{ORIGINAL, Variant};
use crate::show::report::{Shop, version_names};
use crate::show::scene::basket_variants;
use crate::source::Loaded;
use std::sync::{Mutex, MutexGuard, PoisonError};

/// What is heard, and how often that has changed.
#[derive(Debug, Default)]
pub(super) struct Hears(Mutex<(u64, Option<Heard>)>);

/// Components in a path, as they were judged when they were asked for.
#[derive(Clone, Debug)]
pub(super) struct Heard {
    /// The input, by its name.
    pub(super) on: String,
    /// The version into which they are put.
    pub(super) version: Option<String>,
    /// What they came to.
    pub(super) basket: Basket,
}

impl Hears {
    fn now(&self) -> MutexGuard<'_, (u64, Option<Heard>)> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Other components are heard, or none any more; gives back what was heard before.
    pub(super) fn set(&self, heard: Option<Heard>) -> Option<Heard> {
        let mut now = self.now();
        now.0 += 1;
        std::mem::replace(&mut now.1, heard)
    }

    pub(super) fn number(&self) -> u64 {
        self.now().0
    }

    /// Whether a version is one of these.
    pub(super) fn has(&self, version: &str) -> bool {
        let now = self.now();
        let Some(heard) = &now.1 else { return false };
        // Whatever they are called beside which fixes.
        let names = |name: &String| {
            let both = [Vec::new(), vec![name.clone()]];
            both.iter().flat_map(|taken| version_names(name, taken)).any(|own| own == version)
        };
        heard.basket.lots.iter().any(|lot| names(&lot.part.name))
    }

    /// The versions of a patch as it is now; none where its input is gone.
    pub(super) fn versions(&self, loaded: &Loaded) -> Vec<Variant> {
        let Some(heard) = self.now().1.clone() else { return Vec::new() };
        let Ok(variant) = loaded.variant(heard.version.as_deref().unwrap_or(ORIGINAL)) else { return Vec::new() };
        let Ok(target) = which::target(&variant.rig, &heard.on) else { return Vec::new() };
        let names = loaded.patch.fixes.iter().map(|fix| fix.name.clone());
        let taken: Vec<String> = std::iter::once(ORIGINAL.to_owned()).chain(names).collect();
        let shop = Shop::new((&loaded.name, None), &variant.rig, &heard.basket, &taken);
        basket_variants(&shop, target)
    }
}
