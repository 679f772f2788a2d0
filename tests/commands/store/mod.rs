//! What a folder of renders holds, whatever happens to the run that writes it.

mod child;
mod disk;
mod faults;
mod folder;
