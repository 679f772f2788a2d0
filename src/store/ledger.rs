//! A file to which a long piece of work adds what it finds, so that it can go on there.
//!
//! A heading says what it is, its version and what it belongs to; then come blocks, each with its place, its length and a checksum.
//! A block is whole or counts for nothing, so that whatever ends the program leaves what came before.

use super::contents::{Contents, contents};
use super::whole_file::{WriteError, resolved, write_whole};
use super::{in_words, sha256_hex};
use crate::text::shown;
use sha2::{Digest, Sha256};
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

const NAME: &str = "hitgap-search";
const VERSION: u32 = 1;
const MARK: [u8; 4] = *b"blk\n";
/// The mark, the place, how many entries, how many bytes, and the checksum.
const HEAD: usize = 4 + 8 + 4 + 4 + 32;
/// A larger file was not written by anybody who searches.
const MOST_BYTES: u64 = 8 << 30;

/// Why a file is none to go on with.
#[derive(Debug, thiserror::Error)]
pub enum LedgerError {
    /// Another program's, or anything else.
    #[error("`{}` is not a search that was stopped", named(.0))]
    Foreign(PathBuf),
    /// Of another version of this program.
    #[error("`{}` was written by another version of hitgap", named(.0))]
    Version(PathBuf),
    /// Of another search.
    #[error("`{}` belongs to another search: the patch, what may be done to it or what is asked has changed", named(.0))]
    Other(PathBuf),
    /// Somebody else is at it.
    #[error("`{}` is being written by another run", named(.0))]
    Busy(PathBuf),
    /// It could not be read.
    #[error("`{}` could not be read: {}", named(.0), in_words(.1))]
    Read(PathBuf, io::Error),
    /// It could not be written.
    #[error(transparent)]
    Write(#[from] WriteError),
}

fn named(path: &Path) -> String {
    shown(&path.display().to_string())
}

impl LedgerError {
    /// What to do, for after `help: `.
    #[must_use]
    pub fn help(&self) -> &'static str {
        match self {
            Self::Foreign(_) => "name a file that is not there yet; this one stays as it is",
            Self::Version(_) | Self::Other(_) => "name another file to begin anew; this one stays as it is",
            Self::Busy(_) => "wait for it to end, or name another file",
            Self::Read(..) => "name a file that can be read, or one that is not there yet",
            Self::Write(error) => error.help(),
        }
    }
}

/// What such a file holds.
#[derive(Debug, Default, PartialEq, Eq)]
pub struct Entries {
    /// How many.
    pub count: u64,
    /// All of them, one after the other.
    pub bytes: Vec<u8>,
}

/// A file that is added to.
#[derive(Debug)]
pub struct Ledger {
    path: PathBuf,
    file: File,
    next: u64,
    print: String,
}

/// A ledger that is ready to go on, what it holds, and under which name a damaged one was put aside.
type Begun = (Ledger, Entries, Option<PathBuf>);

impl Ledger {
    /// Opens the ledger of the work with this print, or begins one. One that is damaged is put aside under another name, and what
    /// of it is whole, up to the damage, is gone on with.
    ///
    /// # Errors
    /// For a file that is anything else, which is left as it is; and where it cannot be read or written.
    pub fn open(path: &Path, print: &str) -> Result<Begun, LedgerError> {
        let path = resolved(path);
        let print = sha256_hex(print.as_bytes());
        let heading = format!("{NAME} {VERSION} {print}\n");
        let found = match contents(&path, MOST_BYTES) {
            Ok(Contents::Bytes(bytes)) => bytes,
            Ok(Contents::TooLarge(_)) => return Err(LedgerError::Foreign(path)),
            Err(cause) if cause.kind() == io::ErrorKind::NotFound => {
                write_whole(&path, heading.as_bytes(), false)?;
                heading.clone().into_bytes()
            }
            Err(cause) => return Err(LedgerError::Read(path, cause)),
        };
        let mut file = Self::locked(&path)?;
        let body = body(&found, &heading, &path)?;
        let (entries, rest) = blocks(body, &print);
        let mut aside = None;
        if !rest.is_empty() {
            let other = free(&path);
            let failed = |cause| WriteError::Io { path: other.clone(), cause };
            drop(file);
            std::fs::rename(&path, &other).map_err(failed)?;
            write_whole(&path, &found[..found.len() - rest.len()], false)?;
            file = Self::locked(&path)?;
            aside = Some(other);
        }
        let ledger = Self { path, file, next: entries.count, print };
        Ok((ledger, entries, aside))
    }

    fn locked(path: &Path) -> Result<File, LedgerError> {
        let failed = |cause| WriteError::Io { path: path.to_owned(), cause };
        let file = OpenOptions::new().append(true).open(path).map_err(failed)?;
        match file.try_lock() {
            Ok(()) => Ok(file),
            Err(TryLockError::WouldBlock) => Err(LedgerError::Busy(path.to_owned())),
            Err(TryLockError::Error(cause)) => Err(failed(cause).into()),
        }
    }

    /// Adds entries behind those that it has.
    ///
    /// # Errors
    /// Where it cannot be written.
    pub fn add(&mut self, count: usize, bytes: &[u8]) -> Result<(), WriteError> {
        let failed = |cause| WriteError::Io { path: self.path.clone(), cause };
        let large = || failed(io::ErrorKind::FileTooLarge.into());
        let (entries, length) = (u32::try_from(count).ok(), u32::try_from(bytes.len()).ok());
        let (entries, length) = entries.zip(length).ok_or_else(large)?;
        let mut block = MARK.to_vec();
        block.extend(self.next.to_le_bytes());
        block.extend(entries.to_le_bytes());
        block.extend(length.to_le_bytes());
        block.extend(checksum(&self.print, &block, bytes));
        block.extend(bytes);
        self.file.write_all(&block).map_err(failed)?;
        self.next += u64::from(entries);
        Ok(())
    }
}

/// What comes behind the heading.
///
/// # Errors
/// For a file with another heading.
fn body<'f>(found: &'f [u8], heading: &str, path: &Path) -> Result<&'f [u8], LedgerError> {
    if let Some(body) = found.strip_prefix(heading.as_bytes()) {
        return Ok(body);
    }
    // What is this program's by its first line is not overwritten either.
    let line = found.split(|byte| *byte == b'\n').next().unwrap_or_default();
    let mut words = std::str::from_utf8(line).unwrap_or_default().split(' ');
    match (words.next(), words.next()) {
        (Some(NAME), Some(version)) if version == VERSION.to_string() => Err(LedgerError::Other(path.to_owned())),
        (Some(NAME), Some(_)) => Err(LedgerError::Version(path.to_owned())),
        _ => Err(LedgerError::Foreign(path.to_owned())),
    }
}

fn checksum(print: &str, head: &[u8], bytes: &[u8]) -> [u8; 32] {
    let mut hash = Sha256::new();
    hash.update(print.as_bytes());
    hash.update(head);
    hash.update(bytes);
    hash.finalize().into()
}

/// All blocks that are whole, up to the first that is not, and what comes from there on.
fn blocks<'f>(mut rest: &'f [u8], print: &str) -> (Entries, &'f [u8]) {
    let mut all = Entries::default();
    while let Some((count, bytes, after)) = block(rest, print, all.count) {
        all.count += u64::from(count);
        all.bytes.extend_from_slice(bytes);
        rest = after;
    }
    (all, rest)
}

/// The first block, if it is whole and the next by its place: how many entries, their bytes, and what comes after.
fn block<'f>(found: &'f [u8], print: &str, place: u64) -> Option<(u32, &'f [u8], &'f [u8])> {
    let (head, rest) = found.split_at_checked(HEAD)?;
    let (told, sum) = head.split_at(HEAD - 32);
    let number = |at: usize| told.get(at..at + 4).and_then(|n| n.try_into().ok()).map(u32::from_le_bytes);
    let own_place = told.get(4..12).and_then(|n| n.try_into().ok()).map(u64::from_le_bytes)?;
    let (count, length) = (number(12)?, usize::try_from(number(16)?).ok()?);
    let (bytes, after) = rest.split_at_checked(length)?;
    let is_whole = told.starts_with(&MARK) && own_place == place && checksum(print, told, bytes) == sum;
    is_whole.then_some((count, bytes, after))
}

/// A name beside a file that nothing has.
fn free(path: &Path) -> PathBuf {
    let named = |end: String| {
        let mut name = path.as_os_str().to_owned();
        name.push(end);
        PathBuf::from(name)
    };
    let all = std::iter::once(".damaged".to_owned()).chain((2..).map(|n| format!(".damaged-{n}")));
    all.map(named).find(|path| path.symlink_metadata().is_err()).unwrap_or_else(|| named(".damaged".to_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    fn begun(path: &Path) -> Begun {
        Ledger::open(path, "what is asked").expect("a ledger")
    }

    fn of(count: u64, bytes: &[u8]) -> Entries {
        Entries { count, bytes: bytes.to_vec() }
    }

    #[test]
    fn what_is_added_is_there_when_it_is_opened_again() {
        let dir = tempfile::tempdir().expect("a folder");
        let path = dir.path().join("long.search");
        let (mut ledger, entries, _) = begun(&path);
        assert_eq!(entries, Entries::default());
        ledger.add(3, b"abc").expect("written");
        ledger.add(1, b"").expect("written");
        assert!(matches!(Ledger::open(&path, "what is asked"), Err(LedgerError::Busy(_))));
        drop(ledger);
        let (mut ledger, entries, aside) = begun(&path);
        assert_eq!((entries, aside), (of(4, b"abc"), None));
        ledger.add(2, b"de").expect("written");
        drop(ledger);
        assert_eq!(begun(&path).1, of(6, b"abcde"));
    }

    /// Cut off anywhere, and with any one byte changed: what is before the damage is read, nothing else, and all bytes are still there.
    #[test]
    fn a_damaged_file_gives_what_is_whole_and_stays_beside() {
        let dir = tempfile::tempdir().expect("a folder");
        let path = dir.path().join("long.search");
        let (mut ledger, ..) = begun(&path);
        let heading = fs::read(&path).expect("a file").len();
        ledger.add(3, b"abc").expect("written");
        let first = fs::read(&path).expect("a file").len();
        ledger.add(2, b"de").expect("written");
        drop(ledger);
        let whole = fs::read(&path).expect("a file");
        let cut = (heading..whole.len()).map(|n| (whole[..n].to_vec(), n == heading || n == first));
        let changed = (heading..whole.len()).map(|n| {
            let mut other = whole.clone();
            other[n] ^= 1;
            (other, false)
        });
        for (n, (bytes, is_whole)) in cut.chain(changed).enumerate() {
            let same = bytes.iter().zip(&whole).take_while(|(a, b)| a == b).count();
            fs::write(&path, &bytes).expect("written");
            let (mut ledger, entries, aside) = begun(&path);
            let expected = if same >= first { of(3, b"abc") } else { Entries::default() };
            assert_eq!(entries, expected, "{n}");
            assert_eq!(aside.is_none(), is_whole, "{n}");
            if let Some(aside) = aside {
                assert_eq!(fs::read(&aside).expect("put aside"), bytes);
                fs::remove_file(aside).expect("removed");
            }
            ledger.add(1, b"f").expect("written");
            drop(ledger);
            assert_eq!(begun(&path).1.count, expected.count + 1);
        }
    }

    #[test]
    fn what_is_not_its_own_is_left_as_it_is() {
        let dir = tempfile::tempdir().expect("a folder");
        let path = dir.path().join("long.search");
        let said = |text: &str| {
            fs::write(&path, text).expect("written");
            let error = Ledger::open(&path, "what is asked").expect_err("not its own");
            assert_eq!(fs::read_to_string(&path).expect("a file"), text);
            error
        };
        assert!(matches!(said("notes\n"), LedgerError::Foreign(_)));
        assert!(matches!(said(""), LedgerError::Foreign(_)));
        assert!(matches!(said("hitgap-search 2 abc\n"), LedgerError::Version(_)));
        assert!(matches!(said("hitgap-search 1 abc\n"), LedgerError::Other(_)));
    }
}
