//! hitgap works out every pulse and hit of a clocked rig exactly, says how far apart the hits land, and renders them
//! so that people hear it.

pub mod advise;
pub mod cli;
pub mod ear;
pub mod gap;
pub mod hits;
pub mod identify;
pub mod page;
pub mod patch;
pub mod picture;
pub mod render;
pub mod report;
pub mod rig;
pub mod scene;
pub mod score;
pub mod store;
pub mod sweep;
pub mod time;
pub mod voice;
