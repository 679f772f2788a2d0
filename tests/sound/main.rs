//! What is heard: voices, places between samples, WAV files, the bytes of every example, and what listeners make of it.

mod ear;
mod golden;
mod listeners;
mod marks;
mod measure;
mod meter;
mod placement;
mod psi;
mod recorded;
mod voices;
mod wav_files;
