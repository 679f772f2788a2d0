//! The parameters of models, by what they are measured in.

use super::{Param, Unit};

/// A frequency parameter, in hertz.
pub(super) const fn frequency(key: &'static str, min: f64, max: f64, about: &'static str) -> Param {
    Param { key, unit: Unit::Frequency, min, max, about }
}

/// A time parameter, in seconds.
pub(super) const fn time(key: &'static str, min: f64, max: f64, about: &'static str) -> Param {
    Param { key, unit: Unit::Time, min, max, about }
}

/// A level parameter, in decibels.
pub(super) const fn level(key: &'static str, min: f64, max: f64, about: &'static str) -> Param {
    Param { key, unit: Unit::Level, min, max, about }
}
