//! Signal processing that knows nothing of drums or rigs: windows, recursive filters, decibels, random streams, and the
//! masters that drums are drawn into and renderers read.
//!
//! All of it lies on the sound's path, so nothing here asks the platform for a sine or an exponential: `libm` does.

mod biquad;
mod decibel;
mod master;
mod random;
mod window;

pub use biquad::{Biquad, run};
pub use decibel::{amplitude, decibels};
pub use master::{MASTER_RATE, Master};
pub use random::{StreamKey, numbered_stream, seeded_stream, stream, uniform};
pub use window::{bessel_i0, kaiser, kaiser_beta, sinc};
