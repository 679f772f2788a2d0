//! What recordings of a real rig say of it: where each hit and pulse lies, to a microsecond or less, how far hits come after
//! their pulses, and what kind of delay that is.
//!
//! Samples and tempos in, findings out; no file is opened here.

mod bleed;
mod chain;
mod channel;
mod class;
mod classes;
mod clock;
mod coarse;
mod cut;
mod findings;
mod fine;
mod gaps;
mod heard;
mod lattice;
mod levels;
mod likeness;
mod listen;
mod matched;
mod model;
mod noise;
mod onset;
mod pulses;
mod recording;
mod shot;
mod spectrum;
mod template;
mod view;

pub use clock::Clock;
pub use findings::{Fault, Finding, Findings, Request, findings};
pub use gaps::{Due, Gap, Session, Summary, between, session};
pub use heard::{Class, Heard, Hit, Note, Role};
pub use lattice::{Lattice, lattice};
pub use listen::listen;
pub use model::{Estimate, Kind, Missing, Verdict, verdict};
pub use recording::{Held, Recording};
pub use shot::{Shot, shots};
