//! What the program carries, so that it is at hand wherever it is installed: examples, and files to start from.

mod examples;
mod templates;

pub use examples::{EXAMPLES, Embedded, Example, listed};
pub use templates::{TEMPLATES, Template};
