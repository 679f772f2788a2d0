//! What could be done to a rig: every change there is, what each costs, and what each can matter to.

use super::change::{Change, Dial, Kind};
use super::cone::{Entity, Map};
use super::group::{Group, USUAL_GROUPS, families};
use super::parts::{Part, parts, puts, ungrouped};
use super::wishes::{WishError, Wishes};
use crate::judge::{Input, Target};
use crate::patch::{Component, Patch, Path, Rig, Share, Source, StageKind, Timing, Width};
use crate::time::{ExactPs, PS_PER_MS, Span};
use num_rational::Ratio;
use std::collections::{HashMap, HashSet};

/// A change of the catalogue.
#[derive(Clone, Debug, PartialEq)]
pub struct Offer {
    /// What is done.
    pub change: Change,
    /// What it costs.
    pub cost: u64,
    /// Of the offers with one slot, a set holds one at the most.
    pub slot: usize,
    pub(super) touches: Vec<Entity>,
}

/// Everything that could be done.
#[derive(Clone, Debug)]
pub struct Catalogue {
    /// What can be put in.
    pub parts: Vec<Part>,
    /// The changes, the cheapest first.
    pub offers: Vec<Offer>,
    /// How many slots they have.
    pub slots: usize,
    /// Outputs of which parts for some of the inputs of a kind, and not for all, were left out: there are too many groups of them.
    pub ungrouped: Vec<(usize, Input)>,
    /// For each slot the inputs that a shared part of it stands before.
    groups: Vec<Option<Group>>,
    /// How many changes were left out since the user keeps what they touch.
    pub kept: usize,
}

/// More changes than this are not searched.
pub const MOST_OFFERS: usize = 20_000;

/// Shifts and widths that are tried on a dial, in the 1-2-5 steps in which such dials are marked (common practice, no source);
/// in tenths of a millisecond.
const SHIFTS: [i64; 13] = [-50, -20, -10, -5, -2, -1, 0, 1, 2, 5, 10, 20, 50];
const WIDTHS: [i64; 5] = [10, 20, 50, 100, 200];
/// The steps of a phase dial of which nothing is said.
const USUAL_STEPS: u32 = 100;

impl Catalogue {
    /// All that could be done to the original of a patch with some components.
    ///
    /// # Errors
    /// Where a wish cannot be met.
    pub fn new(patch: &Patch, components: &[Component], wishes: &Wishes) -> Result<Self, WishError> {
        let rig = &patch.original.rig;
        let parts = parts(rig, components);
        let mut changes = Vec::new();
        changes.extend(nudges(patch, wishes)?);
        changes.extend(turns(patch, wishes));
        changes.extend(settings(wishes)?);
        changes.extend(routes(patch));
        let most = wishes.groups.unwrap_or(USUAL_GROUPS);
        changes.extend(puts(rig, &parts, most));
        let mut known: HashSet<&str> = Kind::ALL.iter().map(|kind| kind.word()).collect();
        let touched: Vec<Vec<String>> = changes.iter().map(|change| change.touched(rig, &parts)).collect();
        known.extend(touched.iter().flatten().map(String::as_str));
        let holds =
            |wish: &str, path: &str| path == wish || path.strip_prefix(wish).is_some_and(|p| p.starts_with('.'));
        let named = wishes.keep.iter().chain(wishes.prices.iter().map(|(name, _)| name));
        for wish in named {
            let known = known.iter().any(|path| holds(wish, path));
            if !known && !names_anything(rig, wish) {
                return Err(WishError::Nothing(wish.clone()));
            }
        }
        let of =
            |n: usize, wish: &str| wish == changes[n].kind().word() || touched[n].iter().any(|path| holds(wish, path));
        let mut offers: Vec<Offer> = Vec::new();
        let (mut slots, mut kept): (HashMap<String, usize>, usize) = (HashMap::new(), 0);
        let mut groups = Vec::new();
        let map = Map::of(rig);
        for (n, change) in changes.iter().enumerate() {
            if wishes.keep.iter().any(|wish| of(n, wish)) {
                kept += 1;
                continue;
            }
            let priced = wishes.prices.iter().rev().find(|(wish, _)| of(n, wish)).map(|(_, cost)| *cost);
            let next = slots.len();
            let slot = *slots.entry(change.slot(rig)).or_insert(next);
            if slot == next {
                groups.push(Group::of(change));
            }
            let cost = priced.unwrap_or_else(|| change.kind().usual_cost());
            offers.push(Offer { change: change.clone(), cost, slot, touches: map.touches(rig, change) });
        }
        if offers.len() > MOST_OFFERS {
            return Err(WishError::TooMany(offers.len()));
        }
        offers.sort_by_key(|offer| (offer.cost, offer.change.kind()));
        let ungrouped = if parts.is_empty() { Vec::new() } else { ungrouped(rig, most) };
        Ok(Self { parts, offers, slots: slots.len(), ungrouped, groups, kept })
    }

    /// Whether a set holds offers of one of these slots at the most: they are the same, or parts that would stand before one input.
    #[must_use]
    pub fn clash(&self, a: usize, b: usize) -> bool {
        let meet = || self.groups[a].zip(self.groups[b]).is_some_and(|(a, b)| a.meets(&b));
        a == b || meet()
    }

    /// How many sets there are of each size, from one change up to so many: no two of slots that clash.
    #[must_use]
    pub fn sets(&self, most: usize) -> Vec<u128> {
        let mut sizes = vec![0_u128; self.slots];
        self.offers.iter().for_each(|offer| sizes[offer.slot] += 1);
        let grouped = sizes.iter().zip(&self.groups).filter_map(|(size, group)| Some(((*group)?, *size)));
        let mut of = families(&grouped.collect::<Vec<_>>(), most);
        for (size, _) in sizes.iter().zip(&self.groups).filter(|(_, group)| group.is_none()) {
            (1..=most).rev().for_each(|n| of[n] += of[n - 1] * size);
        }
        of.split_off(1)
    }
}

fn names_anything(rig: &Rig, wish: &str) -> bool {
    let parts: Vec<&str> = wish.split('.').collect();
    match parts[..] {
        ["sequencer", name, ..] => rig.sequencers.iter().any(|s| s.name == name),
        ["clock", name, ..] => rig.outputs.iter().any(|o| o.name == name),
        ["stage", name, ..] => rig.stages.iter().any(|s| s.name == name),
        ["wire", name, ..] => rig.wires.iter().any(|w| w.name == name),
        ["hits", name, ..] => rig.takes.iter().any(|t| t.name == name),
        ["component"] => true,
        _ => false,
    }
}

/// Boxes that have an offset, in the patch or in a fix of it, those that the user names, and takes.
fn nudges(patch: &Patch, wishes: &Wishes) -> Result<Vec<Change>, WishError> {
    let rig = &patch.original.rig;
    if let Some(name) = wishes.nudges.iter().find(|name| !rig.sequencers.iter().any(|s| s.name == **name)) {
        return Err(WishError::NoBox(name.clone()));
    }
    let has = |s: usize| {
        let own = rig.sequencers[s].offset;
        let in_fix = patch.fixes.iter().any(|fix| fix.rig.sequencers.get(s).is_some_and(|seq| seq.offset != own));
        own != Span::ZERO || in_fix || wishes.nudges.contains(&rig.sequencers[s].name)
    };
    // Where a hit is held up on its way by something that does not move with it, a nudge is no plain shift.
    let moves = |s: usize| {
        rig.ever(s).all(|seq| {
            let plain = |&stage: &usize| match &rig.stages[stage].kind {
                StageKind::Delay(delay) => delay.one_shot.is_none(),
                StageKind::Air(_) | StageKind::Strike(_) | StageKind::Jitter(_) => true,
                _ => false,
            };
            seq.offset == rig.sequencers[s].offset && seq.out.iter().all(plain)
        })
    };
    let boxes = (0..rig.sequencers.len()).filter(|&s| has(s) && moves(s));
    let takes = (0..rig.takes.len()).map(|take| rig.sequencers.len() + take);
    Ok(boxes.chain(takes).map(|player| Change::Nudge { player }).collect())
}

/// The dials of the clock that the patch or a fix of it uses, and with `dial_steps` every phase dial.
fn turns(patch: &Patch, wishes: &Wishes) -> Vec<Change> {
    let rig = &patch.original.rig;
    let mut all = Vec::new();
    let tenths = |n: i64| Span(n * PS_PER_MS / 10);
    let exact = |span: Span| ExactPs::from_integer(i128::from(span.0));
    for (output, own) in rig.outputs.iter().enumerate() {
        let Timing::Rate { period, phase, .. } = &own.timing else { continue };
        if rig.course.turns.iter().any(|turn| turn.output == output) {
            continue;
        }
        let differs = |of: fn(&crate::patch::Output) -> Option<ExactPs>| {
            let in_fix = patch.fixes.iter().filter_map(|fix| fix.rig.outputs.get(output)).any(|o| of(o) != of(own));
            in_fix || of(own).is_some_and(|value| value != ExactPs::from_integer(0))
        };
        let fixed_phase = |o: &crate::patch::Output| match &o.timing {
            Timing::Rate { phase, .. } => Some(*phase),
            _ => None,
        };
        if wishes.dial_steps.is_some() || differs(fixed_phase) {
            let steps = i128::from(wishes.dial_steps.unwrap_or(USUAL_STEPS).max(1));
            let at = (1 - steps).div_euclid(2)..=steps.div_euclid(2);
            let settings = at.map(|step| whole_share(Share::new(step, steps))).filter(|share| share != phase);
            all.extend(settings.map(|share| Change::Turn { output, to: Dial::Phase(share) }));
        }
        if differs(|o| Some(o.shift)) {
            let settings = SHIFTS.iter().map(|n| tenths(*n)).filter(|s| exact(*s) != own.shift);
            all.extend(settings.map(|shift| Change::Turn { output, to: Dial::Shift(shift) }));
        }
        let given = |o: &crate::patch::Output| match &o.width {
            Width::Time(time) => Some(*time),
            Width::Share(share) => Some(*share),
            Width::Default => None,
        };
        if differs(given) {
            let shortest = patch.tempos.iter().map(|tempo| tempo.exact(*period)).min();
            let fits = |width: &Span| shortest.is_some_and(|period| exact(*width) * 2 <= period);
            let settings = WIDTHS.iter().map(|n| tenths(*n)).filter(|w| fits(w) && own.width != Width::Time(exact(*w)));
            all.extend(settings.map(|width| Change::Turn { output, to: Dial::Width(width) }));
        }
    }
    all
}

/// A share as it can be written: to a millionth of a per cent.
fn whole_share(share: Share) -> Share {
    Ratio::new(crate::time::round_half_up(share * 100_000_000), 100_000_000)
}

fn settings(wishes: &Wishes) -> Result<Vec<Change>, WishError> {
    let mut all = Vec::new();
    for (path, values) in &wishes.may {
        let parts: Vec<&str> = path.split('.').collect();
        match parts[..] {
            ["sequencer", _, "clock" | "reset"] | ["wire", _, _] => return Err(WishError::Way(path.clone())),
            // What hangs on a box could close a loop with a cable that is moved.
            ["stage", ..] if values.iter().any(|value| value.contains("sequencer.") || value.contains("wire.")) => {
                return Err(WishError::Loop(path.clone()));
            }
            ["sequencer" | "stage" | "clock" | "hits" | "voice", _, _] => {}
            _ => return Err(WishError::Path(path.clone())),
        }
        let of = |value: &String| Change::Set { path: path.clone(), value: value.clone() };
        all.extend(values.iter().map(of));
    }
    Ok(all)
}

/// Other ways to each input: from every output, and from before or behind the stages of any way there is.
fn routes(patch: &Patch) -> Vec<Change> {
    let rig = &patch.original.rig;
    let still = |path: &Path| is_still(rig, path, 0);
    let mut ways: Vec<Path> =
        (0..rig.outputs.len()).map(|output| Path { source: Source::Output(output), stages: Vec::new() }).collect();
    for target in Target::all(rig) {
        let Some(path) = target.path(rig).filter(|path| still(path)) else { continue };
        for end in 0..=path.stages.len() {
            let way = Path { source: path.source, stages: path.stages[..end].to_vec() };
            if !ways.contains(&way) {
                ways.push(way);
            }
        }
    }
    let has_rate = |path: &Path| matches!(rig.outputs[rig.origin(path)].timing, Timing::Rate { .. });
    let mut all = Vec::new();
    for target in Target::all(rig) {
        let Some(own) = target.path(rig) else { continue };
        let fits = |way: &&Path| {
            // A clock of another rate would be another groove; and where nothing is the one, a reset would make one.
            let may = match target.input {
                Input::Clock => rig.origin(way) == rig.origin(own) && rates(rig, way) == rates(rig, own),
                Input::Reset => rig.one.is_some() || patch.names_its_one() || !has_rate(way),
            };
            **way != *own && may
        };
        all.extend(ways.iter().filter(fits).map(|path| Change::Route { target, path: path.clone() }));
    }
    all
}

/// Whether nothing on a way hangs on a box: what does could close a loop without a delay somewhere else.
pub(super) fn is_still(rig: &Rig, path: &Path, depth: usize) -> bool {
    let begins = match path.source {
        Source::Output(_) => true,
        Source::Sequencer { .. } => false,
        Source::Wire(wire) => depth <= rig.wires.len() && is_still(rig, &rig.wires[wire].path, depth + 1),
    };
    let second = |&stage: &usize| {
        let second = rig.stages[stage].kind.second();
        second.is_none_or(|(_, path)| depth <= rig.stages.len() && is_still(rig, path, depth + 1))
    };
    begins && path.stages.iter().all(second)
}

/// What makes more or fewer pulses on a way.
fn rates<'r>(rig: &'r Rig, path: &Path) -> Vec<&'r StageKind> {
    let before = match path.source {
        Source::Wire(wire) => rates(rig, &rig.wires[wire].path),
        Source::Output(_) | Source::Sequencer { .. } => Vec::new(),
    };
    let own = path.stages.iter().map(|&stage| &rig.stages[stage].kind).filter(|kind| is_rate(kind));
    before.into_iter().chain(own).collect()
}

pub(super) fn is_rate(kind: &StageKind) -> bool {
    matches!(kind, StageKind::Divide(_) | StageKind::Multiply(_))
}
