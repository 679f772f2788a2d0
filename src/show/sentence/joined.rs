//! What a new box is plugged into, so that it plays at once: the clock and the reset of a box that is there.

use crate::patch::{BoxKinds, Own, Sight, Stand, Worth, box_kinds};

/// Where a new box gets its clock and its reset from.
#[derive(Clone, Debug)]
pub(super) struct Joined {
    clock: Worth,
    /// The reset's way and what the box does then.
    reset: Option<(Worth, Option<Worth>)>,
    /// The box whose they are; without one the clock is an output.
    of: Option<String>,
}

/// What a kind of box says of its own inputs.
#[derive(Clone, Copy, Debug, Default)]
struct Says {
    clock: bool,
    reset: bool,
    /// Whether it says what a reset does, and that is something.
    obeys: bool,
}

impl Joined {
    /// That of the first box that has a clock and a reset, else of the first that has a clock, else `output`. A wire that is high
    /// while the clock runs is no reset for whoever is new: some are held by it for good.
    pub(super) fn of(sight: &Sight, output: &str) -> Self {
        let written = |stand: &Stand, key: &str| {
            stand.get(key).filter(|entry| entry.own == Own::Written).map(|entry| entry.value.clone())
        };
        let all: Vec<(&Stand, Worth)> =
            sight.of("sequencer").filter_map(|stand| Some((stand, written(stand, "clock")?))).collect();
        let reset = |stand: &Stand| written(stand, "reset").filter(|way| !runs(sight, way));
        let both = all.iter().find(|(stand, _)| reset(stand).is_some());
        let Some((stand, clock)) = both.or(all.first()) else {
            return Self { clock: Worth::text(output), reset: None, of: None };
        };
        let mode = || stand.get("reset-mode").map(|entry| entry.value.clone());
        let reset = reset(stand).map(|way| (way, mode()));
        Self { clock: clock.clone(), reset, of: Some(stand.name.clone()) }
    }

    /// The keys of a box that says nothing of its own, and what is said of that.
    pub(super) fn plain(&self) -> (Vec<(&'static str, Worth)>, String) {
        let mut keys = vec![("clock", self.clock.clone())];
        // A reset that does nobody knows what is none to be taken over.
        let reset = self.reset.as_ref().and_then(|(way, mode)| Some((way.clone(), mode.clone()?)));
        let resets = reset.is_some();
        keys.extend(reset.into_iter().flat_map(|(way, mode)| [("reset", way), ("reset-mode", mode)]));
        (keys, self.said(true, resets))
    }

    /// The keys of a box of a kind, and what is said of them; what the kind says itself is left to it.
    pub(super) fn like(&self, sight: &Sight, given: &BoxKinds, kind: &str) -> (Vec<(&'static str, Worth)>, String) {
        let says = says(sight, given, kind);
        let mut keys = Vec::new();
        if !says.clock {
            keys.push(("clock", self.clock.clone()));
        }
        let reset = self.reset.as_ref().filter(|_| says.obeys && !says.reset);
        keys.extend(reset.map(|(way, _)| ("reset", way.clone())));
        let said = self.said(!says.clock, reset.is_some());
        (keys, said)
    }

    fn said(&self, clock: bool, reset: bool) -> String {
        let (what, has) = match (clock, reset) {
            (true, true) => ("its clock and its reset", "has them"),
            (true, false) => ("its clock", "has it"),
            (false, true) => ("its reset", "has it"),
            (false, false) => return "Its kind brings its clock, so that it plays at once".to_owned(),
        };
        let from = self.of.as_ref().map_or("the first output".to_owned(), |name| format!("where {name} {has}"));
        format!("It takes {what} from {from}, so that it plays at once")
    }
}

/// Whether a path begins at an output that is high while the clock runs.
fn runs(sight: &Sight, way: &Worth) -> bool {
    let first = match way {
        Worth::List(parts) => parts.first(),
        way => Some(way),
    };
    let Some(Worth::Text(output)) = first else { return false };
    sight.table("clock", output).is_some_and(|output| output.text("at") == Some("run"))
}

fn says(sight: &Sight, given: &BoxKinds, kind: &str) -> Says {
    const CLOCK: &str = "clock";
    if let Some(own) = sight.table("box", kind) {
        let obeys = own.text("reset-mode").is_some_and(|mode| mode != "ignored");
        return Says { clock: own.get(CLOCK).is_some(), reset: own.get("reset").is_some(), obeys };
    }
    let known = given.list().iter().chain(box_kinds()).find(|known| known.name() == kind);
    let keys = known.map(|kind| kind.keys()).unwrap_or_default();
    let of = |name: &str| keys.iter().find(|(key, _)| key == name).map(|(_, value)| value.as_str());
    let obeys = of("reset-mode").is_some_and(|mode| mode != "\"ignored\"");
    Says { clock: of(CLOCK).is_some(), reset: of("reset").is_some(), obeys }
}
