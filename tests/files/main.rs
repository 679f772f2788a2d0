//! What is read and drawn: patches, lessons, takes, their faults, the schema, pictures, and bytes that nobody meant.

mod desk;
mod diagnostics;
mod edit;
mod example;
mod faulty_lessons;
mod faulty_patches;
mod fuzz;
mod names;
mod patch_schema;
mod pattern;
mod pictures;
mod quantity;
mod reference;
mod robust;
mod schema;
mod takes;
mod unsafe_text;
