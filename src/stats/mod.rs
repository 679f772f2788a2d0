//! Statistics that know nothing of listeners or rigs: tails, intervals, quantiles, histograms, minima.

mod binomial;
mod chi_square;
mod histogram;
mod minimise;
mod normal;
mod quantile;
mod wilson;

pub use binomial::{binomial_tail, critical_value};
pub use chi_square::chi_square_tail;
pub use histogram::Histogram;
pub use minimise::minimise;
pub use normal::normal_cdf;
pub use quantile::{nearest_rank, quantile};
pub use wilson::wilson;
