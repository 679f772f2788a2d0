//! The kinds that a patch may name.

use super::kit;
use crate::patch::check::fault::{Fault, Place};
use crate::patch::check::show::shown;
use crate::patch::check::view::undefined;
use crate::patch::read::box_kind::BoxKind;
use std::collections::HashSet;

/// The kinds that a patch may name: its own, those of files, those of the kit. The first of a name holds.
pub(super) struct Known<'k> {
    pub(super) own: &'k [BoxKind],
    pub(super) given: &'k [BoxKind],
    /// Names of its own that are faulty, which has been told.
    pub(super) broken: HashSet<String>,
    /// An output of the patch, whichever comes first.
    pub(super) output: Option<String>,
}

impl<'k> Known<'k> {
    pub(super) fn all(&self) -> impl Iterator<Item = &'k BoxKind> {
        self.own.iter().chain(self.given).chain(kit::box_kinds())
    }

    pub(super) fn get(&self, name: &str) -> Option<&'k BoxKind> {
        self.all().find(|kind| kind.name.text == name)
    }
}

/// A name that is used as a kind's and is none.
pub(super) fn no_kind(at: Place, name: &str, known: &Known<'_>) -> Fault {
    let how = format!("define it with a heading [box.{}]; `hitgap boxes` says what each is", shown(name));
    undefined(at, name, "kind of box", known.all().map(BoxKind::name), &how)
}
