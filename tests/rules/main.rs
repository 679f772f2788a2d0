//! The rules of the rig and what is judged by them, held against a second implementation, closed forms and cases by hand.

mod advise;
mod boxes;
mod breakdown;
mod changes;
mod clock_jitter;
mod identify;
mod laws;
mod mend;
mod naive;
mod refits;
mod rigs;
mod runs;
mod second;
mod tempo_maps;
mod ways;
