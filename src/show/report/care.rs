//! Cautions.

/// The caution that every kind of listening carries.
pub const CARE: &str = "Start low: headphone listening at length can harm hearing, and a file's level says nothing about the level \
at the ear. Common limits: 85 dBA for 8 hours a day, halved for every 3 dB more (NIOSH); 80 dBA for 40 hours a week \
(WHO/ITU H.870).";

/// The caution wherever a text speaks of wiring.
pub const WIRING: &str = "Patch with the power off where the maker says so, and keep within the inputs' rated voltages; mains \
wiring is for licensed people under local codes.";

/// The caution in a line, for where sound was just written.
pub const CARE_SHORT: &str =
    "Start low, and see `hitgap --help` on listening levels: a file's level says nothing about the level at the ear.";
