use super::noise::Burst;
use super::tone::{Pulse, Tone};

/// What a model makes a drum of.
#[derive(Debug)]
pub(super) struct Parts {
    pub(super) tones: Vec<Tone>,
    pub(super) burst: Option<Burst>,
    pub(super) pulse: Option<Pulse>,
}
