//! Patches as the command line names them.

use super::args::{BoxesArgs, PatchArgs};
use super::{Failure, terminal};
use crate::patch::{BoxKinds, Rig};
use crate::show::report::all_left_out;
use crate::source::{self, Talk, Wanted};
use crate::time::{Span, Tempo};

pub(super) use crate::source::{Loaded, read_text};

/// Reads and checks a patch file; warnings are said on stderr.
///
/// # Errors
/// Exit status 3 if the file cannot be read, 2 if it is no valid patch.
pub(super) fn load(args: &PatchArgs, max_gap: Option<Span>) -> Result<Loaded, Failure> {
    let tempos = args.tempo.as_ref().map(|tempos| tempos.0.as_slice());
    let wanted = Wanted {
        tempos,
        bars: args.bars,
        max_gap,
        boxes: &args.boxes.boxes,
        inside: false,
        allow_files: args.files.allow_files,
        shelf: None,
    };
    Ok(source::load(&args.patch, wanted, Talk { color: terminal::color(), say: terminal::say })?)
}

/// The kinds of boxes of files.
///
/// # Errors
/// Exit status 3 if one cannot be read, 2 if one is faulty.
pub(super) fn boxes(args: &BoxesArgs) -> Result<BoxKinds, Failure> {
    Ok(source::boxes(&args.boxes, terminal::color())?.0)
}

/// Says on stderr what takes leave out where variants are played at tempos, each thing once.
pub(super) fn say_left_out<'a>(played: impl IntoIterator<Item = (&'a Rig, Tempo)>) {
    all_left_out(played).iter().for_each(|note| terminal::say(note));
}
