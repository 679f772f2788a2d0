//! From the names of files to what they say: patches with the kinds of boxes, the takes and the sounds that they name,
//! components, songs.

mod beside;
pub mod carried;
mod error;
mod loaded;
mod recording;
mod songs;
mod sounds;
mod stem;
mod takes;
mod text_file;
mod wrong_file;

pub use error::SourceError;
pub use loaded::{Loaded, Wanted, boxes, load, load_noting, refused};
pub use recording::WavRecording;
pub use songs::songs;
pub use sounds::Shelf;
pub use stem::stem;
pub use text_file::read_text;

/// How warnings reach people.
#[derive(Clone, Copy, Debug)]
pub struct Talk {
    /// Whether faults are drawn in colours.
    pub color: bool,
    /// Says a sentence, or a warning of several lines.
    pub say: fn(&str),
}

impl Talk {
    fn say(self, text: &str) {
        (self.say)(text);
    }
}
