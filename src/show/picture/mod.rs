//! Pictures: figures in, the text of an SVG file out.
//!
//! A picture is one root element that may stand alone as a file or within a page: it scales by its view box, carries its
//! own style sheet for paper and dark pages, says in words what it shows, and has no id or class that another could have.
//! Equal figures make equal bytes.

mod arrow;
mod canvas;
mod frame;
mod gaps;
mod ink;
mod late;
mod legend;
mod mark;
mod named;
mod psychometric;
#[cfg(test)]
mod read;
mod scale;
mod spread;
mod text;
mod timing;
mod track;
mod wave;
mod window;

pub use canvas::{NARROW, WIDTH};
pub use gaps::{GapLine, GapPicture, gap_over_tempo, gap_over_tempo_within};
pub use ink::style;
pub use late::{LatePicture, LatePoint, late_over_tempo};
pub use psychometric::{CurvePicture, CurvePoint, psychometric};
pub use spread::{SpreadPicture, spread};
pub use timing::{Distance, Lane, TimingPicture, Trace, Wire, timing, timing_within};
pub use track::{TrackPicture, TrackTrial, track};
pub use wave::{WavePanel, WavePicture, waveform};
pub use window::{Component, WindowPicture, window, window_within};
