//! Settings and whether a model can draw them.

use super::{Model, Param, Settings, Unit, VoiceError, click, hat, kick, snare};
use crate::text::rounded;

impl Unit {
    /// A value of this unit as a patch would have it: 0.022 seconds is `22 ms`, a share of 0.5 is `50 %`.
    #[must_use]
    pub fn show(self, value: f64) -> String {
        // A millionth is far below what any setting resolves, and hides what binary fractions add: 0.00014 · 1000.
        let tidy = |scaled: f64| rounded(scaled, 6);
        match self {
            Self::Frequency => format!("{} Hz", tidy(value)),
            Self::Time => format!("{} ms", tidy(value * 1e3)),
            Self::Level => format!("{} dB", tidy(value)),
            Self::Share => format!("{} %", tidy(value * 1e2)),
        }
    }
}

impl Settings {
    /// The value of the parameter `key`, in its unit; `None` where the model has none of that name.
    #[must_use]
    pub fn value(&self, key: &str) -> Option<f64> {
        let index = self.model.params().iter().position(|param| param.key == key)?;
        self.values.get(index).copied()
    }

    /// Whether the model can draw these settings within what is promised of every voice: nothing above 18 kHz, a sharp
    /// start, a tail of at most 3 s.
    ///
    /// # Errors
    ///
    /// The first fault: a value outside its bounds, or two values that do not go together.
    pub fn check(&self) -> Result<(), VoiceError> {
        let params = self.model.params();
        if self.values.len() != params.len() {
            return Err(VoiceError::Count { model: self.model, found: self.values.len(), expected: params.len() });
        }
        for (&Param { key, unit, min, max, .. }, &found) in params.iter().zip(&self.values) {
            // Written so that what is no number is refused.
            if !(min..=max).contains(&found) {
                return Err(VoiceError::Bounds { key, unit, found, min, max });
            }
        }
        match self.model {
            Model::Kick => kick::check(self),
            Model::Snare => snare::check(self),
            Model::Hat => hat::check(self),
            Model::Click => click::check(self),
        }
    }

    /// The value of a key that the model is known to have, in settings that are checked.
    pub(super) fn get(&self, key: &'static str) -> f64 {
        self.value(key).unwrap_or_else(|| panic!("a {} has no setting `{key}`", self.model.name()))
    }

    /// Refuses settings whose `upper` does not lie `distance` above `lower`.
    pub(super) fn order(
        &self,
        upper: &'static str,
        lower: &'static str,
        distance: f64,
        why: &'static str,
    ) -> Result<(), VoiceError> {
        let (upper_found, lower_found) = (self.get(upper), self.get(lower));
        if upper_found - lower_found >= distance {
            return Ok(());
        }
        let unit = self.model.params().iter().find(|param| param.key == upper).map_or(Unit::Share, |param| param.unit);
        Err(VoiceError::Order { upper, lower, unit, upper_found, lower_found, distance, why })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_shown_as_a_patch_writes_them() {
        assert_eq!(Unit::Time.show(0.000_14), "0.14 ms");
        assert_eq!(Unit::Frequency.show(6500.0), "6500 Hz");
        assert_eq!(Unit::Level.show(-0.0), "0 dB");
        assert_eq!(Unit::Share.show(0.07), "7 %");
    }

    #[test]
    fn a_missing_value_and_a_number_that_is_none_are_refused() {
        let short = Settings { model: Model::Click, values: vec![3000.0] };
        assert!(matches!(short.check(), Err(VoiceError::Count { found: 1, expected: 2, .. })));
        let nan = Settings { model: Model::Click, values: vec![3000.0, f64::NAN] };
        assert!(matches!(nan.check(), Err(VoiceError::Bounds { key: "width", .. })));
    }

    #[test]
    fn keys_are_unique_and_bounds_are_in_order() {
        for model in Model::ALL {
            let params = model.params();
            assert!(!params.is_empty());
            for (index, param) in params.iter().enumerate() {
                assert!(param.min < param.max, "{}", param.key);
                assert!(params[..index].iter().all(|other| other.key != param.key), "{}", param.key);
            }
        }
    }
}
