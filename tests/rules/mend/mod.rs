//! The least that has to be done, held against a second implementation that tries everything, against cases by hand, and on
//! every example.

mod brute;
mod by_hand;
mod evening;
mod examples;
mod random;
mod resume;
