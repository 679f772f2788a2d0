use crate::patch::check::fault::{Fault, Faults, MOST_TOLD};
use crate::patch::check::node::{self, Key, Table};
use crate::patch::check::show::shown;
use crate::patch::check::unused::warn_of_unused;
use crate::patch::check::view::{Section, View, check_keys};
use crate::patch::fix::apply::{Clash, apply, clash};
use crate::patch::fix::build::{build, default_bars};
use crate::patch::fix::course::check_course;
use crate::patch::like::{self, merged};
use crate::patch::model::{Component, Meter, Outline, Rig, Take, Variant};
use crate::patch::read::box_kind::BoxKinds;
use crate::patch::read::component::{self, components};
use crate::patch::read::meant::explain;
use crate::patch::read::set::{Change, Fix, fixes};
use crate::patch::read::tables;
use crate::patch::read::top::{Asked, Top, top};
use crate::time::{Beat, Span, Tempo};
use std::collections::HashSet;
use std::sync::Arc;

/// The tables of who plays, of which a patch has one.
const PLAYERS: [&str; 2] = ["sequencer", "hits"];

/// The name of the patch without any fix.
pub const ORIGINAL: &str = "original";

/// What was read, kept so that fixes can be joined later.
#[derive(Debug)]
pub(super) struct Document {
    pub(super) source: String,
    pub(super) table: Table,
    pub(super) fixes: Vec<Fix>,
    pub(super) top: Top,
    bars: u64,
    pub(super) asked: Asked,
}

/// A checked patch file.
#[derive(Clone, Debug)]
pub struct Patch {
    /// One line for people.
    pub title: Option<String>,
    /// A few lines for people.
    pub note: Option<String>,
    /// The tempos to look at: those asked for, or those of the file. No two are equal; the order is kept.
    pub tempos: Vec<Tempo>,
    /// Bars and beats.
    pub meter: Meter,
    /// The largest gap that is still acceptable.
    pub max_gap: Span,
    /// Whether the patch or the command line says so; else it is the default.
    pub max_gap_given: bool,
    /// A margin under this is at risk even where nothing has a tolerance.
    pub skew: Span,
    /// The largest standard deviation of a pair's gap over many runs that is still acceptable; `None`: any.
    pub max_wobble: Option<Span>,
    /// The patch without any fix.
    pub original: Variant,
    /// Each fix alone, in the order of the file.
    pub fixes: Vec<Variant>,
    /// What somebody may put in, in the order of the file.
    pub components: Vec<Component>,
    /// What is right and has no effect; to be told, and nothing else.
    pub warnings: crate::patch::check::fault::Faults,
    /// What was read, for joining fixes.
    pub(super) document: Arc<Document>,
    /// The fixes that its original has already.
    pub(super) standing: Vec<String>,
}

impl Patch {
    /// Reads and checks the text of a patch file, every fix included.
    ///
    /// # Errors
    /// All faults of the file at once, in its order; a fault of syntax alone. What only a fix brings points into that fix.
    pub fn parse(source: &str, asked: &Asked) -> Result<Self, Faults> {
        let table = node::read_file(source, "a patch is written by hand: is this another kind of file?")?;
        let (mut faults, mut warnings) = (Faults::default(), Faults::warnings());
        let table = merged(source, table, &asked.boxes, &mut faults);
        let top = top(source, &table, asked, &mut faults, &mut warnings);
        let fixes = fixes(source, &table, &mut faults, &mut warnings);
        let view = View::new(&table, &mut faults);
        let original = build(&view, &top, source, &mut faults, &mut warnings);
        let components = components(source, &table, &view, &mut faults, &mut warnings);
        let mut rigs = Vec::new();
        let known: HashSet<_> = owned_keys(&faults).chain(owned_keys(&warnings)).collect();
        for fix in fixes.iter().filter(|fix| !fix.broken) {
            if faults.count() > MOST_TOLD {
                break;
            }
            let mut own = (Faults::default(), Faults::warnings());
            let changes: Vec<_> = fix.changes.iter().collect();
            rigs.push(fixed(&view, &top, source, &changes, &mut own));
            for (found, all) in [(own.0, &mut faults), (own.1, &mut warnings)] {
                for fault in found.list().iter().filter(|f| !known.contains(&owned_key(f))) {
                    all.push(pointed_into(fix, fault.clone()));
                }
            }
        }
        warn_of_unused(&table, &mut warnings);
        explain(source, &table, top.meter, &mut faults);
        faults.sort();
        warnings.sort();
        let rigs: Option<Vec<Rig>> = rigs.into_iter().collect();
        let (Some(original), Some(rigs), true) = (original, rigs, faults.is_empty()) else { return Err(faults) };
        let needed = std::iter::once(&original).chain(&rigs).map(|rig| default_bars(rig, top.meter)).max();
        let needed = needed.max(asked.recorded.bars);
        let bars = top.bars.or(needed).unwrap_or(1);
        let end = top.meter.bar() * Beat::from_integer(i128::from(bars));
        check_course(&top, &original, end, &mut faults, &mut warnings);
        for rig in &rigs {
            let mut own = Faults::default();
            check_course(&top, rig, end, &mut own, &mut Faults::warnings());
            let known: HashSet<_> = owned_keys(&faults).collect();
            own.list().iter().filter(|f| !known.contains(&owned_key(f))).for_each(|f| faults.push(f.clone()));
        }
        if !faults.is_empty() {
            faults.sort();
            return Err(faults);
        }
        warnings.sort();
        let document = Document { source: source.to_owned(), table, fixes, top, bars, asked: asked.clone() };
        let variant = |(fix, rig): (&Fix, Rig)| Variant {
            name: fix.name.clone(),
            about: fix.about.clone(),
            rig: document.ended(rig),
        };
        Ok(Self {
            title: document.top.title.clone(),
            note: document.top.note.clone(),
            tempos: document.top.tempos.clone(),
            meter: document.top.meter,
            max_gap: document.top.max_gap,
            max_gap_given: document.top.max_gap_given,
            skew: document.top.skew,
            max_wobble: document.top.max_wobble,
            original: Variant { name: ORIGINAL.to_owned(), about: None, rig: document.ended(original) },
            fixes: document.fixes.iter().zip(rigs).map(variant).collect(),
            components,
            warnings,
            document: Arc::new(document),
            standing: Vec::new(),
        })
    }

    /// Whether the patch names its one itself; else it is the slowest reset.
    #[must_use]
    pub fn names_its_one(&self) -> bool {
        self.document.top.one.is_some()
    }

    /// What a patch file leaves open that the files of its takes may say; `None` where it has no take, where it leaves nothing
    /// open, and where it is no patch. Nothing is checked by it: with what is faulty it does as well as it may.
    #[must_use]
    pub fn outline(source: &str, asked: &Asked) -> Option<Outline> {
        let table = node::read_file(source, "").ok()?;
        let (mut faults, mut warnings) = (Faults::default(), Faults::warnings());
        let table = merged(source, table, &asked.boxes, &mut faults);
        let top = top(source, &table, asked, &mut faults, &mut warnings);
        let fixes = fixes(source, &table, &mut faults, &mut warnings);
        let view = View::new(&table, &mut faults);
        let fixed = fixes.iter().filter(|fix| !fix.broken).map(|fix| {
            let mut view = view.clone();
            apply(&mut view, &fix.changes.iter().collect::<Vec<_>>(), &mut Faults::default());
            view
        });
        let takes = |view: View<'_>| tables::takes(&view, &top, source);
        let mut variants: Vec<Vec<Take>> = std::iter::once(view.clone()).chain(fixed).map(takes).collect();
        let first = variants.remove(0);
        // What a fix leaves as it is says nothing new.
        variants.retain(|takes| *takes != first);
        variants.insert(0, first);
        let written = |key: &str| table.get(key).is_some();
        let is_asked = asked.tempos.as_ref().is_some_and(|tempos| !tempos.is_empty());
        let outline = Outline {
            tempos: if is_asked || written("tempos") { top.tempos } else { Vec::new() },
            meter: written("meter").then_some(top.meter),
            bars: top.bars.filter(|_| asked.bars.is_some() || written("bars")),
            tempo_map: top.tempo_map.into_iter().map(|entry| entry.step).collect(),
            variants,
        };
        let open = outline.tempos.is_empty() || outline.meter.is_none() || outline.bars.is_none();
        (open && outline.variants.iter().any(|takes| !takes.is_empty())).then_some(outline)
    }

    /// Reads a file of components for this patch.
    ///
    /// # Errors
    /// All its faults at once, in its order; a fault of syntax alone.
    pub fn read_components(&self, source: &str) -> Result<Vec<Component>, Faults> {
        let table = node::read_file(source, "a list of components is written by hand: is this another kind of file?")?;
        let (mut faults, mut warnings) = (Faults::default(), Faults::warnings());
        let key = Key { text: String::new(), at: 0..0 };
        let top = Section::new(&key, &table);
        // A patch may be given for the components that it has; what else it says is not asked here.
        if !PLAYERS.iter().any(|players| table.get(players).is_some()) {
            check_keys(&top.fields, &component::TOP, "a file of components", &mut faults);
        }
        if table.get(component::KEY).is_none() && faults.is_empty() {
            let fault = Fault::new(0..0, "the file has no component")
                .label("expected a [component.NAME] table in this file")
                .help(format!(
                    "write a heading [component.gate], or in one line component.gate = {}",
                    component::EXAMPLE
                ));
            faults.push(fault);
        }
        let all = components(source, &table, &self.document_view(), &mut faults, &mut warnings);
        faults.sort();
        if faults.is_empty() { Ok(all) } else { Err(faults) }
    }

    /// Reads a file of kinds of boxes, for [`Asked::boxes`].
    ///
    /// # Errors
    /// All its faults at once, in its order; a fault of syntax alone.
    pub fn read_boxes(source: &str) -> Result<BoxKinds, Faults> {
        like::read(source)
    }

    /// The kinds of boxes from files that it was read with.
    #[must_use]
    pub fn boxes(&self) -> &BoxKinds {
        &self.document.asked.boxes
    }

    /// The tables of the file without any fix.
    fn document_view(&self) -> View<'_> {
        View::new(&self.document.table, &mut Faults::default())
    }
}

impl Document {
    pub(super) fn ended(&self, rig: Rig) -> Rig {
        Rig { end: self.top.meter.bar() * Beat::from_integer(i128::from(self.bars)), ..rig }
    }
}

/// The rig with changes made; faults and warnings as two lists.
pub(super) fn fixed<'a>(
    view: &View<'a>,
    top: &Top,
    source: &'a str,
    changes: &[&'a Change],
    (faults, warnings): &mut (Faults, Faults),
) -> Option<Rig> {
    if let Some(Clash { first, second }) = clash(changes) {
        let fault = Fault::new(second.whole.clone(), format!("`{}` is set twice", shown(&second.path)))
            .label("this undoes the other")
            .context(first.whole.clone(), "the other is here")
            .help("keep one of the two");
        faults.push(fault);
    }
    let mut view = view.clone();
    apply(&mut view, changes, faults);
    let rig = build(&view, top, source, faults, warnings);
    rig.filter(|_| faults.is_empty())
}

type OwnedKey = (Option<(usize, usize)>, String);

fn owned_key(fault: &Fault) -> OwnedKey {
    let (at, message) = fault.key();
    (at, message.to_owned())
}

fn owned_keys(faults: &Faults) -> impl Iterator<Item = OwnedKey> {
    faults.list().iter().map(owned_key)
}

/// A fault that only a fix brings, as it is told: pointing at the value in the fix.
fn pointed_into(fix: &Fix, mut fault: Fault) -> Fault {
    let name = shown(&fix.name);
    let inside =
        |at: &std::ops::Range<usize>| fix.changes.iter().any(|c| c.whole.start <= at.start && at.end <= c.whole.end);
    let Some(at) = fault.at.clone().filter(|at| !inside(at)) else {
        fault.message = format!("in the fix `{name}`: {}", fault.message);
        return fault;
    };
    // The change nearest to what is told is that of the same table; where there is none, the first.
    let Some(change) =
        fix.changes.iter().find(|c| fault.message.contains(&format!("`{}`", c.name.text))).or(fix.changes.first())
    else {
        return fault;
    };
    let said = if fault.label.is_empty() { "here" } else { &fault.label };
    Fault {
        at: Some(change.value.at.clone()),
        message: format!("with the fix `{name}`: {}", fault.message),
        label: "this change brings the fault".to_owned(),
        context: Some((at, said.to_owned())),
        help: fault.help,
    }
}
