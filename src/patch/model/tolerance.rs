//! Values that differ from one device to the next.

use crate::time::Span;

/// A value as a data sheet gives it: the least, the usual, the most. All three are equal for a plain value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tolerance<T> {
    /// The least. Where a sheet gives none it is 0.
    pub min: T,
    /// The usual one: what a run without chance takes.
    pub typ: T,
    /// The most.
    pub max: T,
}

impl<T: Copy + PartialEq> Tolerance<T> {
    /// A value without any tolerance.
    #[must_use]
    pub const fn plain(value: T) -> Self {
        Self { min: value, typ: value, max: value }
    }

    /// Whether it is the same in every run.
    #[must_use]
    pub fn is_plain(&self) -> bool {
        self.min == self.typ && self.typ == self.max
    }
}

/// Which of the values of a data sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Corner {
    /// So that what comes through comes soonest.
    Least,
    /// As it usually is.
    Usual,
    /// So that what comes through comes latest.
    Most,
}

impl Corner {
    /// All of them, the soonest first.
    pub const ALL: [Self; 3] = [Self::Least, Self::Usual, Self::Most];
}

/// A value of a stage that has limits, to be looked at or set.
#[derive(Debug)]
pub(crate) enum Limited<'a> {
    /// A time: the longer, the later.
    Time(&'a mut Tolerance<Span>),
    /// The larger, the later.
    Number(&'a mut Tolerance<f64>),
    /// The larger, the sooner.
    Turned(&'a mut Tolerance<f64>),
}

impl Limited<'_> {
    /// Whether it is the same in every run.
    pub(super) fn is_plain(&self) -> bool {
        match self {
            Self::Time(sheet) => sheet.is_plain(),
            Self::Number(sheet) | Self::Turned(sheet) => sheet.is_plain(),
        }
    }

    /// Takes one of its values for good.
    pub(super) fn take(self, corner: Corner) {
        fn plain<T: Copy + PartialEq>(sheet: &mut Tolerance<T>, values: [T; 3], corner: Corner) {
            *sheet = Tolerance::plain(values[corner as usize]);
        }
        match self {
            Self::Time(sheet) => plain(sheet, [sheet.min, sheet.typ, sheet.max], corner),
            Self::Number(sheet) => plain(sheet, [sheet.min, sheet.typ, sheet.max], corner),
            Self::Turned(sheet) => plain(sheet, [sheet.max, sheet.typ, sheet.min], corner),
        }
    }
}
