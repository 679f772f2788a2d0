//! What the search asks of a set, once that is judged, and as bytes: a search that goes on reads it instead of judging anew.

use super::examine::Examined;
use super::fault::Fault;
use crate::time::Span;

/// What is known of a set.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Verdict {
    /// It passes, with so much added to the offsets of those that are nudged.
    Passes(Vec<(usize, Span)>),
    /// It fails.
    Fails {
        /// How many faults there are, and by how much the worst is over.
        near: (u64, i64),
        /// What may be added to it.
        children: Vec<u16>,
        /// What was left out: beside what fails, and where too much fails.
        cuts: [u64; 2],
    },
}

impl Verdict {
    /// Of a set that was examined, with what may be added to it.
    pub(super) fn of(examined: Examined, children: impl FnOnce(&Examined) -> (Vec<u16>, [u64; 2])) -> Self {
        if examined.faults.is_empty() {
            return Self::Passes(examined.nudges);
        }
        let over = examined.faults.iter().map(|(fault, _)| Fault::over(fault)).max().unwrap_or(0);
        let near = (examined.faults.len() as u64, over);
        let (children, cuts) = children(&examined);
        Self::Fails { near, children, cuts }
    }

    /// Adds it to bytes.
    pub(super) fn write(&self, out: &mut Vec<u8>) {
        match self {
            Self::Passes(nudges) => {
                number(out, 1 + 2 * nudges.len() as u64);
                for (player, by) in nudges {
                    number(out, *player as u64);
                    signed(out, by.0);
                }
            }
            Self::Fails { near, children, cuts } => {
                number(out, 2 * children.len() as u64);
                number(out, near.0);
                signed(out, near.1);
                cuts.iter().for_each(|n| number(out, *n));
                let mut last = 0;
                for &child in children {
                    number(out, u64::from(child - last));
                    last = child;
                }
            }
        }
    }

    /// Takes one off the front of bytes; `None` where they hold none.
    pub(super) fn read(bytes: &mut &[u8]) -> Option<Self> {
        let head = read_number(bytes)?;
        let count = usize::try_from(head / 2).ok().filter(|n| *n <= bytes.len())?;
        if head % 2 == 1 {
            let nudge = |_| Some((usize::try_from(read_number(bytes)?).ok()?, Span(read_signed(bytes)?)));
            return (0..count).map(nudge).collect::<Option<_>>().map(Self::Passes);
        }
        let near = (read_number(bytes)?, read_signed(bytes)?);
        let cuts = [read_number(bytes)?, read_number(bytes)?];
        let mut last = 0_u16;
        let child = |_| {
            last = last.checked_add(u16::try_from(read_number(bytes)?).ok()?)?;
            Some(last)
        };
        let children = (0..count).map(child).collect::<Option<_>>()?;
        Some(Self::Fails { near, children, cuts })
    }
}

/// A number as groups of seven bits, the lowest first, all but the last with the eighth set (LEB128, as in DWARF 5, 7.6; from memory).
fn number(out: &mut Vec<u8>, mut n: u64) {
    while n > 0x7f {
        out.push((n & 0x7f) as u8 | 0x80);
        n >>= 7;
    }
    out.push(n as u8);
}

fn read_number(bytes: &mut &[u8]) -> Option<u64> {
    let mut n = 0_u64;
    for shift in (0..64).step_by(7) {
        let (first, rest) = bytes.split_first()?;
        *bytes = rest;
        n |= u64::from(first & 0x7f).checked_shl(shift)?;
        if first & 0x80 == 0 {
            return Some(n);
        }
    }
    None
}

/// Numbers near nothing are short, whatever their sign.
fn signed(out: &mut Vec<u8>, n: i64) {
    number(out, ((n << 1) ^ (n >> 63)) as u64);
}

fn read_signed(bytes: &mut &[u8]) -> Option<i64> {
    let n = read_number(bytes)?;
    Some((n >> 1) as i64 ^ -((n & 1) as i64))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn verdict() -> impl Strategy<Value = Verdict> {
        let passes = prop::collection::vec((0_usize..600, any::<i64>()), 0..4)
            .prop_map(|all| Verdict::Passes(all.into_iter().map(|(player, by)| (player, Span(by))).collect()));
        let sorted = |mut all: Vec<u16>| {
            all.sort_unstable();
            all.dedup();
            all
        };
        let children = prop::collection::vec(any::<u16>(), 0..200).prop_map(sorted);
        let fails = (any::<u64>(), any::<i64>(), children, any::<[u64; 2]>())
            .prop_map(|(n, over, children, cuts)| Verdict::Fails { near: (n, over), children, cuts });
        prop_oneof![passes, fails]
    }

    proptest! {
        #[test]
        fn verdicts_come_back_out_of_their_bytes(all in prop::collection::vec(verdict(), 0..6)) {
            let mut bytes = Vec::new();
            all.iter().for_each(|one| one.write(&mut bytes));
            let mut rest = bytes.as_slice();
            let read: Vec<Verdict> = std::iter::from_fn(|| Verdict::read(&mut rest)).collect();
            prop_assert_eq!(read, all);
            prop_assert!(rest.is_empty());
        }

        /// Bytes that are none are no verdict, and nothing worse.
        #[test]
        fn any_bytes_are_read_to_an_end(bytes in prop::collection::vec(any::<u8>(), 0..80)) {
            let mut rest = bytes.as_slice();
            while Verdict::read(&mut rest).is_some() {}
        }
    }
}
