//! What a WAV file says beside its samples, in chunks after them: which places have a name, and what the file is.
//!
//! Layouts: Multimedia Programming Interface and Data Specifications 1.0 (IBM and Microsoft, 1991): the cue-points chunk and its
//! table, read in the edition for OS/2 (Multimedia Presentation Manager, "Cue-Points Chunk"); the associated data list with
//! `labl`, and the INFO list of zero-terminated texts, from memory.

use crate::text::spelled;

/// The most marks of a file: more than anybody looks through, and few enough for an editor to show.
pub const MOST_MARKS: usize = 10_000;
/// Characters of a text after which it is cut.
const MOST_CHARS: usize = 200;

/// A place in a file that has a name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mark {
    /// The frame with which it begins, from 0 on.
    pub frame: u64,
    /// What begins there.
    pub label: String,
}

/// What a file is. Where both texts are empty, the file says nothing of itself.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Info {
    /// What it is called.
    pub title: String,
    /// How it was made, on one line.
    pub comment: String,
}

impl Info {
    /// The most bytes that this takes in a file, whatever its texts are: an unfit character is spelled with ten at most, and the
    /// lists and names around the texts take less than the rest.
    pub const MOST_BYTES: u64 = 2 * (10 * MOST_CHARS as u64) + 200;

    fn is_empty(&self) -> bool {
        self.title.is_empty() && self.comment.is_empty()
    }
}

/// The bytes of the chunks: of even length, and none where there is nothing to be said.
pub(super) fn chunks(marks: &[Mark], info: &Info) -> Vec<u8> {
    let mut bytes = Vec::new();
    if !marks.is_empty() {
        cue(marks, &mut bytes);
        list(b"adtl", &mut bytes, |list| {
            for (name, mark) in (1_u32..).zip(marks) {
                chunk(b"labl", list, |out| {
                    out.extend_from_slice(&name.to_le_bytes());
                    text(&mark.label, out);
                });
            }
        });
    }
    if !info.is_empty() {
        list(b"INFO", &mut bytes, |list| {
            chunk(b"INAM", list, |out| text(&info.title, out));
            chunk(b"ISFT", list, |out| text(concat!("hitgap ", env!("CARGO_PKG_VERSION")), out));
            chunk(b"ICMT", list, |out| text(&info.comment, out));
        });
    }
    bytes
}

/// The table of places, by numbers from 1 on. A file with one `data` chunk and no play order has the frame both as the position and
/// as the offset within the block, and nothing before either.
fn cue(marks: &[Mark], bytes: &mut Vec<u8>) {
    chunk(b"cue ", bytes, |out| {
        out.extend_from_slice(&(marks.len() as u32).to_le_bytes());
        for (name, mark) in (1_u32..).zip(marks) {
            // A file of 4 GiB has fewer than 2³² frames.
            let frame = (mark.frame as u32).to_le_bytes();
            out.extend_from_slice(&name.to_le_bytes());
            out.extend_from_slice(&frame);
            out.extend_from_slice(b"data");
            out.extend_from_slice(&[0; 8]);
            out.extend_from_slice(&frame);
        }
    });
}

fn list(kind: &[u8; 4], bytes: &mut Vec<u8>, fill: impl FnOnce(&mut Vec<u8>)) {
    chunk(b"LIST", bytes, |out| {
        out.extend_from_slice(kind);
        fill(out);
    });
}

/// A chunk, padded to even length; its size does not count the pad.
fn chunk(id: &[u8; 4], bytes: &mut Vec<u8>, fill: impl FnOnce(&mut Vec<u8>)) {
    bytes.extend_from_slice(id);
    let at = bytes.len();
    bytes.extend_from_slice(&[0; 4]);
    fill(bytes);
    let size = bytes.len() - at - 4;
    bytes[at..at + 4].copy_from_slice(&(size as u32).to_le_bytes());
    if size % 2 == 1 {
        bytes.push(0);
    }
}

/// A text with the nought that ends it, in UTF-8: what a terminal would obey, or hide, is spelled, so that no nought is left.
fn text(text: &str, bytes: &mut Vec<u8>) {
    bytes.extend_from_slice(spelled(text, MOST_CHARS).as_bytes());
    bytes.push(0);
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whatever stands in a text, what it takes is within the bound that is counted on before the work is begun; chunks are even.
    #[test]
    fn what_is_said_of_a_file_is_bounded() {
        let worst =
            ["\u{10ffff}", "\u{e0041}", "\0", "é", "x\u{301}\u{302}\u{303}\u{304}\u{305}\u{306}\u{307}\u{308}\u{309}"];
        for some in worst {
            for count in [1, 2, MOST_CHARS, 5_000] {
                let long = some.repeat(count);
                let bytes = chunks(&[], &Info { title: long.clone(), comment: long });
                assert!(
                    bytes.len() as u64 <= Info::MOST_BYTES && bytes.len().is_multiple_of(2),
                    "{some:?} {}",
                    bytes.len()
                );
            }
        }
        assert!(chunks(&[], &Info::default()).is_empty());
    }
}
