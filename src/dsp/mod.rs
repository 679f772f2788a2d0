//! Signal processing that knows nothing of drums or rigs: windows, recursive filters, decibels, random streams.
//!
//! All of it lies on the sound's path, so nothing here asks the platform for a sine or an exponential: `libm` does.

mod biquad;
mod decibel;
mod random;
mod window;

pub use biquad::{Biquad, run};
pub use decibel::{amplitude, decibels};
pub use random::{stream, uniform};
pub use window::{bessel_i0, kaiser, kaiser_beta, sinc};
