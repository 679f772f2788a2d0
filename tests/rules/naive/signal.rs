//! What a wire carries: the times that it is high.

/// Earlier than anything: a wire that is high from here was high before the start, "which is no rise".
pub(crate) const EVER: i64 = i64::MIN / 4;

/// Later than anything.
pub(crate) const NEVER: i64 = i64::MAX / 4;

/// One time that a wire is high.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Pulse {
    /// Its number: that of the edge which made it rise.
    pub(crate) k: i128,
    /// Picoseconds.
    pub(crate) rise: i64,
    /// Picoseconds.
    pub(crate) fall: i64,
    /// The number of the edge which made it fall: another than its own behind a `not`.
    pub(crate) k_fall: i128,
}

/// A change of level.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Change {
    /// Picoseconds.
    pub(crate) at: i64,
    /// To high.
    pub(crate) rise: bool,
    /// Of which of its origin's pulses it comes.
    pub(crate) k: i128,
}

/// A time later, except where it is none.
pub(crate) fn later(at: i64, by: i64) -> i64 {
    if at == EVER || at == NEVER { at } else { at + by }
}

/// "A wire has one level: pulses that touch or overlap are one pulse (first rise, last fall, first number)."
///
/// A pulse that rounds to no length at all never makes the wire high; where it touches one that does, it is the last to
/// fall.
pub(crate) fn on_one_wire(mut pulses: Vec<Pulse>) -> Vec<Pulse> {
    pulses.retain(|p| p.fall >= p.rise);
    pulses.sort_by_key(|p| p.rise);
    let mut wire: Vec<Pulse> = Vec::new();
    for pulse in pulses {
        match wire.last_mut() {
            Some(before) if pulse.fall < before.fall => {}
            Some(before) if pulse.rise <= before.fall => {
                (before.fall, before.k_fall) = (pulse.fall, pulse.k_fall);
            }
            _ if pulse.fall > pulse.rise => wire.push(pulse),
            _ => {}
        }
    }
    wire
}

/// All changes, in order. What was before the start and never ends are changes too, at `EVER` and `NEVER`.
pub(crate) fn changes(pulses: &[Pulse]) -> Vec<Change> {
    let two = |p: &Pulse| [Change { at: p.rise, rise: true, k: p.k }, Change { at: p.fall, rise: false, k: p.k_fall }];
    pulses.iter().flat_map(two).collect()
}

/// The other way round: a change to the level that there is already is none.
pub(crate) fn pulses(changes: &[Change]) -> Vec<Pulse> {
    let mut pulses: Vec<Pulse> = Vec::new();
    for change in changes {
        let high = pulses.last_mut().filter(|last| last.fall == NEVER);
        match (high, change.rise) {
            (Some(last), false) => (last.fall, last.k_fall) = (change.at, change.k),
            (None, true) => pulses.push(Pulse { k: change.k, rise: change.at, fall: NEVER, k_fall: change.k }),
            _ => {}
        }
    }
    on_one_wire(pulses)
}

/// The pulse that is high at an instant ("rise ≤ `tr` < fall").
pub(crate) fn high_at(pulses: &[Pulse], at: i64) -> Option<&Pulse> {
    pulses.iter().find(|p| p.rise <= at && at < p.fall)
}

/// A level counts only if it is kept for long enough; what counts keeps its own instant here. "Shorter pulses vanish."
pub(crate) fn kept(wire: &[Pulse], least_high: i64, least_low: i64) -> Vec<Pulse> {
    let all = changes(wire);
    let mut counts = Vec::new();
    for (i, change) in all.iter().enumerate() {
        let until = all.get(i + 1).map_or(NEVER, |next| next.at);
        let least = if change.rise { least_high } else { least_low };
        if change.at == EVER || until - change.at >= least {
            counts.push(*change);
        }
    }
    pulses(&counts)
}
