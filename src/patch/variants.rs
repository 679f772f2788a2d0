//! The patch with fixes made: those of the file, joined, and changes of which no fix speaks.

use super::parse::{ORIGINAL, Patch, fixed};
use crate::patch::check::fault::{Fault, Faults, VariantError};
use crate::patch::check::node;
use crate::patch::check::show::by_nearness;
use crate::patch::check::view::View;
use crate::patch::edit::{NewFix, with_fix, with_top};
use crate::patch::fix::apply::{Clash, clash};
use crate::patch::fix::course::check_course;
use crate::patch::like::merged;
use crate::patch::model::{Rig, Variant};
use crate::patch::read::set::{Change, Fix, fixes};
use crate::patch::read::top::top;

impl Patch {
    /// A variant by what the command line calls it: `original`, a fix, or several as `a+b`, whose changes are made in
    /// that order. All variants of a patch are equally long.
    ///
    /// # Errors
    /// If there is no such fix, or the fixes do not go together.
    pub fn variant(&self, spec: &str) -> Result<Variant, VariantError> {
        let names: Vec<&str> = spec.split('+').map(str::trim).collect();
        if let [name] = names[..] {
            if name == ORIGINAL {
                return Ok(self.original.clone());
            }
            return self.fix(name).map(|n| self.fixes[n].clone());
        }
        let mut chosen: Vec<&Fix> = Vec::new();
        for name in &names {
            match *name {
                "" => return Err(VariantError::Empty(spec.to_owned())),
                ORIGINAL => return Err(VariantError::JoinedOriginal),
                _ => {}
            }
            let fix = &self.document.fixes[self.fix(name)?];
            if chosen.iter().any(|f| f.name == fix.name) {
                return Err(VariantError::Twice { name: fix.name.clone(), spec: spec.to_owned() });
            }
            chosen.push(fix);
        }
        let changes: Vec<_> = chosen.iter().flat_map(|fix| &fix.changes).collect();
        if let Some(Clash { first, second }) = clash(&changes) {
            let of = |change: &Change| {
                let has = |fix: &&&Fix| fix.changes.iter().any(|c| c.whole == change.whole);
                chosen.iter().find(has).map(|fix| fix.name.clone()).unwrap_or_default()
            };
            return Err(VariantError::Clash { path: second.path.clone(), first: of(first), second: of(second) });
        }
        let document = &*self.document;
        let view = View::new(&document.table, &mut Faults::default());
        let mut own = (Faults::default(), Faults::warnings());
        let rig = fixed(&view, &document.top, &document.source, &changes, &mut own);
        let Some(rig) = rig else {
            own.0.sort();
            return Err(VariantError::Together(own.0));
        };
        let about: Vec<_> = chosen.iter().filter_map(|fix| fix.about.as_deref()).collect();
        Ok(Variant {
            name: names.join("+"),
            about: (!about.is_empty()).then(|| about.join("; ")),
            rig: document.ended(rig),
        })
    }

    /// The rig with changes made of which no fix of the patch speaks, as long as all its variants: as if they stood in the file as
    /// one more fix. `one` is what is pinned as the one where the patch names none.
    ///
    /// # Errors
    /// All that is wrong with the rig that comes of it.
    pub fn changed(&self, set: &[(String, String)], one: Option<usize>) -> Result<Rig, Faults> {
        let document = &*self.document;
        let unreadable = |what: String| Faults::one(Fault { at: None, ..Fault::new(0..0, what) });
        let fix = NewFix { name: "changed".to_owned(), set: set.to_vec(), ..NewFix::default() };
        let kept = with_fix(&document.source, &fix).map_err(|e| unreadable(e.to_string()))?;
        let (mut faults, mut warnings) = (Faults::default(), Faults::warnings());
        let table = merged(&kept.text, node::read_file(&kept.text, "")?, &document.asked.boxes, &mut faults);
        let top = top(&kept.text, &table, &document.asked, &mut faults, &mut warnings);
        let fixes = fixes(&kept.text, &table, &mut faults, &mut warnings);
        let view = View::new(&table, &mut faults);
        let new: Vec<&Change> = fixes.iter().filter(|fix| fix.name == kept.name).flat_map(|fix| &fix.changes).collect();
        // What is set here on top of a fix undoes what that sets.
        let stand = self.standing.iter().filter_map(|name| fixes.iter().find(|fix| fix.name == *name));
        let stand = stand.flat_map(|fix| &fix.changes).filter(|own| new.iter().all(|new| new.path != own.path));
        let changes: Vec<&Change> = stand.chain(new.iter().copied()).collect();
        let mut own = (faults, warnings);
        let rig = fixed(&view, &top, &kept.text, &changes, &mut own);
        let mut rig = document.ended(rig.ok_or(own.0)?);
        let mut late = Faults::default();
        check_course(&top, &rig, rig.end, &mut late, &mut Faults::warnings());
        if !late.is_empty() {
            return Err(late);
        }
        self.recorded(&mut rig);
        if top.one.is_none() {
            rig.one = one.or(rig.one);
        }
        Ok(rig)
    }

    /// The patch with fixes made for good: its original is the variant that is called so, and what is changed comes on top of that.
    ///
    /// # Errors
    /// As of [`Patch::variant`].
    pub fn standing(&self, spec: &str) -> Result<Self, VariantError> {
        let original = Variant { name: ORIGINAL.to_owned(), ..self.variant(spec)? };
        let names = spec.split('+').map(str::trim).filter(|name| *name != ORIGINAL);
        Ok(Self { original, standing: names.map(str::to_owned).collect(), ..self.clone() })
    }

    /// The patch with another tempo map, as TOML has it: `[{ at = "8 beats", tempo = "110 %" }]`.
    ///
    /// # Errors
    /// What is wrong with it, in sentences.
    pub fn with_tempo_map(&self, map: &str) -> Result<Self, String> {
        let text = with_top(&self.document.source, "tempo-map", map).map_err(|e| e.to_string())?;
        let mut patch = Self::parse(&text, &self.document.asked).map_err(|faults| faults.to_string())?;
        let rigs = std::iter::once(&mut patch.original).chain(&mut patch.fixes).map(|variant| &mut variant.rig);
        rigs.for_each(|rig| self.recorded(rig));
        Ok(patch)
    }

    /// What the files of takes hold has been read already.
    fn recorded(&self, rig: &mut Rig) {
        for take in &mut rig.takes {
            let own = self.original.rig.takes.iter().find(|own| own.name == take.name && own.file == take.file);
            own.into_iter().for_each(|own| take.recording = own.recording.clone());
        }
    }

    fn fix(&self, name: &str) -> Result<usize, VariantError> {
        if let Some(n) = self.fixes.iter().position(|fix| fix.name == name) {
            return Ok(n);
        }
        if self.fixes.is_empty() {
            return Err(VariantError::NoFixes(name.to_owned()));
        }
        let known = by_nearness(name, self.fixes.iter().map(|fix| fix.name.as_str()));
        let known = known.into_iter().map(|(_, name)| name.to_owned()).collect();
        Err(VariantError::Unknown { name: name.to_owned(), known })
    }
}
