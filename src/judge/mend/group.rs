//! One part for several boxes and not for all: before any two or more of the inputs of a kind that begin at one output.

use super::change::{Change, Place, fan};
use crate::judge::{Input, Target};
use crate::patch::Rig;

/// Some of the inputs of a kind that begin at an output.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Group {
    /// Index of the output.
    pub output: usize,
    /// Their kind.
    pub input: Input,
    /// Which of them, a bit each, in the order of the sequencers.
    pub members: u32,
}

/// Where so many inputs or fewer share an output, all groups of them are searched, unless somebody asks for more: of 4 inputs there
/// are 10, of 8 there would be 246.
pub const USUAL_GROUPS: usize = 4;
/// The most inputs of whose groups all are searched.
pub const MOST_GROUPS: usize = 8;

impl Group {
    /// The inputs.
    #[must_use]
    pub fn targets(&self, rig: &Rig) -> Vec<Target> {
        let all = fan(rig, self.output, self.input).into_iter().enumerate();
        all.filter(|(n, _)| *n < 32 && self.members & (1 << n) != 0).map(|(_, target)| target).collect()
    }

    /// What a part has before it that stands at an output: all inputs, or some.
    pub(super) fn of(change: &Change) -> Option<Self> {
        match change {
            Change::Put { at: Place::Output(output, input), .. } => {
                Some(Self { output: *output, input: *input, members: u32::MAX })
            }
            Change::Put { at: Place::Group(group), .. } => Some(*group),
            _ => None,
        }
    }

    /// Whether both have an input that is in the other: no input has two shared parts before it.
    pub(super) const fn meets(&self, other: &Self) -> bool {
        self.output == other.output && self.input as u8 == other.input as u8 && self.members & other.members != 0
    }

    /// Every two or more, and not all, of the inputs of a kind at an output; none where they are more than `most`.
    pub(super) fn all(rig: &Rig, (output, input): (usize, Input), most: usize) -> Vec<Self> {
        let count = fan(rig, output, input).len();
        if count > most.min(MOST_GROUPS) {
            return Vec::new();
        }
        let groups = (1_u32..(1 << count) - 1).filter(|members| members.count_ones() > 1);
        groups.map(|members| Self { output, input, members }).collect()
    }
}

/// How many sets there are of so many changes at most, from groups of which no two in a set meet, each with the number of its offers:
/// the n-th figure is that of sets of n.
pub(super) fn families(groups: &[(Group, u128)], most: usize) -> Vec<u128> {
    fn count(groups: &[(Group, u128)], taken: &mut Vec<Group>, product: u128, of: &mut [u128]) {
        of[taken.len()] += product;
        if taken.len() + 1 == of.len() {
            return;
        }
        for (n, (group, offers)) in groups.iter().enumerate() {
            if !taken.iter().any(|other| other.meets(group)) {
                taken.push(*group);
                count(&groups[n + 1..], taken, product * offers, of);
                taken.pop();
            }
        }
    }
    let mut of = vec![0; most + 1];
    count(groups, &mut Vec::new(), 1, &mut of);
    of
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand, four inputs: 11 groups with that of all, 3 ways to make two pairs; each group with 2 offers.
    #[test]
    fn families_of_groups_are_counted() {
        let of = |members| (Group { output: 0, input: Input::Clock, members }, 2);
        let mut groups: Vec<(Group, u128)> = (1_u32..15).filter(|m| m.count_ones() > 1).map(of).collect();
        groups.push(of(u32::MAX));
        assert_eq!(families(&groups, 4), [1, 22, 12, 0, 0]);
    }
}
