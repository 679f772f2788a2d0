//! What else changes with a key that is written or taken out.

use super::teller::{Spot, Teller, rules};
use crate::patch::{Edit, Own, Part, Rule, Stand, Worth};

impl Teller<'_> {
    /// What must change with a key that is written for the first time.
    pub(super) fn beside(&self, spot: Spot<'_>) -> Vec<Edit> {
        let (stand, key) = (spot.stand, spot.slot.key());
        let written = |key: &str| stand.get(key).is_some_and(|entry| entry.own != Own::Kind);
        let at = |key: &str| {
            let mut at = spot.at();
            at.pop();
            at.push(Part::Key(key.to_owned()));
            at
        };
        let mut all = Vec::new();
        let fix = self.fix.map(str::to_owned);
        let inner = spot.within.and_then(|within| stand.get(within)).map(|entry| &entry.value);
        let there = |key: &str| inner.map_or_else(|| written(key), |table| table.get(key).is_some());
        for rule in rules(spot) {
            match rule {
                Rule::OneOf(keys) if keys.contains(&key) => {
                    let others = keys.iter().filter(|other| **other != key && there(other));
                    all.extend(others.filter(|_| fix.is_none()).map(|other| Edit::Clear { at: at(other), fix: None }));
                }
                Rule::NotBoth(one, other) if *one == key || *other == key => {
                    let other = if *one == key { other } else { one };
                    if there(other) && fix.is_none() {
                        all.push(Edit::Clear { at: at(other), fix: None });
                    }
                }
                Rule::Needs(one, other) if *one == key && stand.get(other).is_none() => {
                    if let Some(slot) = stand.slot(other) {
                        let to = super::rig::example(self.sight, slot);
                        all.push(Edit::Set { at: at(other), to, fix: fix.clone() });
                    }
                }
                _ => {}
            }
        }
        all
    }

    /// What goes with a key that is taken out.
    pub(super) fn apart(&self, spot: Spot<'_>) -> Vec<Edit> {
        let needs = |rule: &Rule| match rule {
            Rule::Needs(one, other) if *other == spot.slot.key() && spot.within.is_none() => {
                spot.stand.get(one).filter(|entry| entry.own == Own::Written).map(|_| *one)
            }
            _ => None,
        };
        let clear = |key: &str| Edit::Clear {
            at: spot.stand.at.iter().cloned().chain([Part::Key(key.to_owned())]).collect(),
            fix: self.fix.map(str::to_owned),
        };
        let told = rules(spot).iter().filter_map(needs).map(clear);
        told.chain(self.clocks_kept(spot)).collect()
    }

    /// Boxes that are like something step on the only output that resets nobody. Where nobody is reset by an output any more, that is
    /// two: who stepped on the one says so.
    fn clocks_kept(&self, spot: Spot<'_>) -> Vec<Edit> {
        let begin = |stand: &Stand| match &stand.get("reset")?.value {
            Worth::Text(name) => Some(name.clone()),
            Worth::List(list) => {
                list.first().and_then(|one| if let Worth::Text(name) = one { Some(name.clone()) } else { None })
            }
            _ => None,
        };
        let mine = if spot.slot.key() == "reset" { begin(spot.stand) } else { None };
        let Some(mine) = mine else { return Vec::new() };
        let others = self.sight.of("sequencer").filter(|other| other.name != spot.stand.name);
        if others.filter_map(begin).any(|other| other == mine) {
            return Vec::new();
        }
        let step = |stand: &Stand| {
            let clock = stand.get("clock").filter(|clock| clock.own == Own::Kind)?;
            let at = stand.at.iter().cloned().chain([Part::Key("clock".to_owned())]).collect();
            Some(Edit::Set { at, to: clock.value.clone(), fix: self.fix.map(str::to_owned) })
        };
        self.sight.of("sequencer").filter_map(step).collect()
    }
}
