//! SHA-256, as lower-case hexadecimal.

use sha2::{Digest, Sha256};
use std::fmt::Write as _;
use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::Path;
use std::sync::mpsc::{Sender, channel};
use std::thread::{Builder, JoinHandle};

/// The SHA-256 of some bytes in 64 lower-case hexadecimal digits; for a patch, of the text as it was read.
#[must_use]
pub fn sha256_hex(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

/// The SHA-256 of the file at a path, in the same form.
///
/// # Errors
/// If it cannot be read.
pub fn sha256_file(path: &Path) -> io::Result<String> {
    of_file(&File::open(path)?)
}

/// The SHA-256 of a file from its start to its end. Moves the file's cursor.
pub(super) fn of_file(mut file: &File) -> io::Result<String> {
    file.seek(SeekFrom::Start(0))?;
    let mut hash = Sha256::new();
    add(&mut hash, file, u64::MAX)?;
    Ok(hex(&hash.finalize()))
}

/// Adds what a file has from its cursor on, so many bytes or up to its end.
fn add(hash: &mut Sha256, mut file: &File, bytes: u64) -> io::Result<()> {
    // Large enough that the calls cost nothing beside the hashing, small enough to stay in the second-level cache.
    let mut block = vec![0; 1 << 17];
    let mut left = bytes;
    while left > 0 {
        let room = block.len().min(usize::try_from(left).unwrap_or(usize::MAX));
        match file.read(&mut block[..room]) {
            Ok(0) => break,
            Ok(n) => {
                hash.update(&block[..n]);
                left -= n as u64;
            }
            Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
    }
    Ok(())
}

/// The SHA-256 of a file that is still being written: a thread of its own reads what will not change any more.
#[derive(Debug)]
pub(super) struct Following {
    told: Sender<u64>,
    thread: JoinHandle<io::Result<Sha256>>,
}

impl Following {
    /// Begins at the start of the file at `path`.
    pub(super) fn begin(path: &Path) -> io::Result<Self> {
        let file = File::open(path)?;
        let (told, reached) = channel::<u64>();
        let follow = move || {
            let (mut hash, mut at) = (Sha256::new(), 0);
            for to in reached {
                add(&mut hash, &file, to - at)?;
                at = to;
            }
            Ok(hash)
        };
        Ok(Self { told, thread: Builder::new().spawn(follow)? })
    }

    /// So many bytes from the start will not change any more, as many as before or more.
    pub(super) fn reached(&self, bytes: u64) {
        // A thread that has failed listens no longer, and says so at the end.
        let _ = self.told.send(bytes);
    }

    /// The whole file is written.
    pub(super) fn end(self) -> io::Result<String> {
        self.reached(u64::MAX);
        drop(self.told);
        let hash = self.thread.join().unwrap_or_else(|_| Err(io::Error::other("the thread that read it ended")))?;
        Ok(hex(&hash.finalize()))
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::with_capacity(2 * bytes.len()), |mut text, byte| {
        let _ = write!(text, "{byte:02x}"); // Writing to a string cannot fail.
        text
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write;

    /// The message of one block, of FIPS 180-2 appendix B.1, and that of no bits.
    #[test]
    fn the_published_examples_come_out() {
        assert_eq!(sha256_hex(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
        assert_eq!(sha256_hex(b""), "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
    }

    #[test]
    fn a_file_is_read_from_its_start_whatever_its_length() -> io::Result<()> {
        for len in [0, 1, (1 << 17) - 1, 1 << 17, (1 << 17) + 1, 400_000] {
            let bytes: Vec<u8> = (0..len).map(|i: usize| (i * 31 % 251) as u8).collect();
            let mut file = tempfile::tempfile()?;
            file.write_all(&bytes)?;
            assert_eq!(of_file(&file)?, sha256_hex(&bytes), "{len} bytes");
        }
        Ok(())
    }

    #[test]
    fn a_file_that_is_followed_has_the_checksum_of_the_whole() -> io::Result<()> {
        let bytes: Vec<u8> = (0..1_000_003_u32).map(|n| (n.wrapping_mul(n) >> 7) as u8).collect();
        let file = tempfile::NamedTempFile::new()?;
        let following = Following::begin(file.path())?;
        let mut at = 0;
        for to in [0, 1, 1, 131_072, 500_000, 999_999] {
            file.as_file().write_all(&bytes[at..to])?;
            at = to;
            following.reached(to as u64);
        }
        file.as_file().write_all(&bytes[at..])?;
        assert_eq!(following.end()?, sha256_hex(&bytes));
        Ok(())
    }
}
