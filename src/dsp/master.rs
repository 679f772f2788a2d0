/// Samples a second in a [`Master`].
pub const MASTER_RATE: u32 = 96_000;

/// The sound of one hit, or a part of it: one channel at [`MASTER_RATE`], with nothing above 18 kHz in it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Master {
    /// The samples, full scale 1.
    pub samples: Vec<f32>,
    /// How many of them lie before the hit's instant; negative where the sound begins after it.
    pub pre: i64,
}

impl Master {
    /// How long it sounds from its first sample to its last, in seconds.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        self.samples.len() as f64 / f64::from(MASTER_RATE)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_master_lasts_as_long_as_its_samples_wherever_the_hit_lies() {
        // Closed form: 4800 samples at 96 kHz are a twentieth of a second.
        for pre in [-7, 0, 900] {
            assert_eq!(Master { samples: vec![0.0; 4_800], pre }.seconds(), 0.05);
        }
    }
}
