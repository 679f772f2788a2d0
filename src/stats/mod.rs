//! Statistics that know nothing of listeners or rigs: tails, intervals, quantiles, minima.

mod binomial;
mod minimise;
mod normal;
mod quantile;
mod wilson;

pub use binomial::{binomial_tail, critical_value};
pub use minimise::minimise;
pub use normal::normal_cdf;
pub use quantile::quantile;
pub use wilson::wilson;
