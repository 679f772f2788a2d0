/// A voice as the patch has it.
#[derive(Clone, Debug, PartialEq)]
pub struct Voice {
    /// Its name in the patch or in the built-in kit.
    pub name: String,
    /// How it sounds.
    pub sound: crate::voice::Sound,
    /// Its level in the mix, in decibels on top of its own: a peak of 1, or a model's.
    pub level_db: f64,
    /// From −1 (left) to 1 (right).
    pub pan: f64,
    /// Whether every hit has the same noise or each its own.
    pub noise: Noise,
}

/// Where the noise of a hit comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Noise {
    /// Every hit of a voice has the same noise, drawn by seed and voice name.
    Same,
    /// Each hit has its own, drawn by seed, sequencer and due beat.
    Fresh,
}
