//! SHA-256, as lower-case hexadecimal.

use sha2::{Digest, Sha256};
use std::fmt::Write as _;
use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};

/// The SHA-256 of some bytes in 64 lower-case hexadecimal digits; for a patch, of the text as it was read.
#[must_use]
pub fn sha256_hex(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

/// The SHA-256 of a file from its start to its end. Moves the file's cursor.
pub(super) fn of_file(mut file: &File) -> io::Result<String> {
    file.seek(SeekFrom::Start(0))?;
    let mut hash = Sha256::new();
    // Large enough that the calls cost nothing beside the hashing, small enough to stay in the second-level cache.
    let mut block = vec![0; 1 << 17];
    loop {
        match file.read(&mut block) {
            Ok(0) => return Ok(hex(&hash.finalize())),
            Ok(n) => hash.update(&block[..n]),
            Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
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
}
