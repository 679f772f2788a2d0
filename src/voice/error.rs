//! What can be wrong with a voice's settings.

use super::{Model, Unit};
use thiserror::Error;

/// Settings that a model cannot draw.
#[derive(Clone, Debug, Error, PartialEq)]
#[non_exhaustive]
pub enum VoiceError {
    /// There are more or fewer values than the model has parameters: a fault of the program, not of a patch.
    #[error("found {found} values for a {}, expected {expected}, one for each of its settings", .model.name())]
    Count {
        /// Whose settings they are.
        model: Model,
        /// How many values there are.
        found: usize,
        /// How many there should be.
        expected: usize,
    },
    /// A voice of files, of which some were never read: a fault of the program, not of a patch.
    #[error("the voice has {count} files, and {read} of them were read")]
    Unread {
        /// How many there are.
        count: usize,
        /// How many were handed in.
        read: usize,
    },
    /// A value is outside its bounds, or is no number.
    #[error("`{key}` is {}, expected {} to {}", .unit.show(*.found), .unit.show(*.min), .unit.show(*.max))]
    Bounds {
        /// The parameter's key.
        key: &'static str,
        /// What its values are measured in.
        unit: Unit,
        /// The value that it has, in that unit.
        found: f64,
        /// The smallest value.
        min: f64,
        /// The largest value.
        max: f64,
    },
    /// One value must lie a distance above another, and does not.
    #[error(
        "`{upper}` is {} and `{lower}` is {}, expected `{upper}` to be {}\nhelp: {why}; raise `{upper}` or lower `{lower}`",
        .unit.show(*.upper_found),
        .unit.show(*.lower_found),
        above(*.unit, *.distance, lower)
    )]
    Order {
        /// The key of the value that must be larger.
        upper: &'static str,
        /// The key of the value that must be smaller.
        lower: &'static str,
        /// What both are measured in.
        unit: Unit,
        /// The value of the first.
        upper_found: f64,
        /// The value of the second.
        lower_found: f64,
        /// How far the first must lie above the second; 0 where they may be equal.
        distance: f64,
        /// What goes wrong otherwise, for the help.
        why: &'static str,
    },
    /// A click so short and so high that it would pass 18 kHz.
    #[error(
        "`{pitch}` is {} and `{width}` is {}: the click would reach {}, expected at most 18000 Hz\n\
         help: lower `{pitch}` or raise `{width}`",
        Unit::Frequency.show(*.pitch_found),
        Unit::Time.show(*.width_found),
        Unit::Frequency.show(libm::ceil(*.reach))
    )]
    Reach {
        /// The key that says how high the click is.
        pitch: &'static str,
        /// The key that says how long the click is.
        width: &'static str,
        /// The value of the first, in hertz.
        pitch_found: f64,
        /// The value of the second, in seconds.
        width_found: f64,
        /// Where the spectrum would have fallen by 90 dB, in hertz.
        reach: f64,
    },
}

fn above(unit: Unit, distance: f64, lower: &str) -> String {
    if distance > 0.0 {
        format!("at least {} above `{lower}`", unit.show(distance))
    } else {
        format!("no lower than `{lower}`")
    }
}

impl VoiceError {
    /// The keys of the settings that are at fault, the one to point at first.
    #[must_use]
    pub fn keys(&self) -> Vec<&'static str> {
        match *self {
            Self::Count { .. } | Self::Unread { .. } => Vec::new(),
            Self::Bounds { key, .. } => vec![key],
            Self::Order { upper, lower, .. } => vec![upper, lower],
            Self::Reach { pitch, width, .. } => vec![pitch, width],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_order_fault_names_both_keys_and_what_to_do() {
        let error = VoiceError::Order {
            upper: "band-high",
            lower: "band-low",
            unit: Unit::Frequency,
            upper_found: 8000.0,
            lower_found: 6500.0,
            distance: 4000.0,
            why: "a narrower band of noise has no sharp start",
        };
        assert_eq!(
            error.to_string(),
            "`band-high` is 8000 Hz and `band-low` is 6500 Hz, expected `band-high` to be at least 4000 Hz above \
             `band-low`\nhelp: a narrower band of noise has no sharp start; raise `band-high` or lower `band-low`"
        );
        assert_eq!(error.keys(), ["band-high", "band-low"]);
    }

    #[test]
    fn a_bound_is_shown_in_the_units_of_a_patch() {
        let error = VoiceError::Bounds { key: "snap", unit: Unit::Time, found: 0.05, min: 0.0005, max: 0.02 };
        assert_eq!(error.to_string(), "`snap` is 50 ms, expected 0.5 ms to 20 ms");
    }
}
