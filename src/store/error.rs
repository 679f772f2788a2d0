//! What can go wrong with a folder of renders. All of it ends the program with [`StoreError::EXIT_STATUS`].

use super::entry::FORMAT;
use super::plain_file::Odd;
use crate::text::{Unfit, spelled};
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

/// Most bytes of a name: what the usual file systems take.
pub(super) const LONGEST: usize = 255;

/// The reasons for which a render could not be kept. Each names its path, says what was found, and then what to do.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// The system refused: no room, no permission, no such folder.
    #[error("cannot {act} `{}`: {}\nhelp: {}", shown(path), in_words(cause), advice(cause))]
    Io {
        /// What was being done.
        act: Act,
        /// The file or folder that it was done to.
        path: PathBuf,
        /// What the system said.
        #[source]
        cause: io::Error,
    },
    /// The folder for the renders cannot be one.
    #[error("`{}` is no folder: a file has that name\nhelp: choose another folder with `--out`", shown(path))]
    NoFolder {
        /// The path that was asked for.
        path: PathBuf,
    },
    /// Something is in the way that is not hitgap's to replace.
    #[error("`{}` is in the way: {why}{}\nhelp: {}", shown(path), and_more(*more), why.advice())]
    Foreign {
        /// The first file that is in the way.
        path: PathBuf,
        /// Why it counts as foreign.
        why: Why,
        /// How many more files are in the way.
        more: usize,
    },
    /// A file cannot be called that.
    #[error(
        "a file cannot be called `{}`: {fault}\nhelp: rename the patch, the fix or the sequencer that it is named after",
        clipped(name)
    )]
    Name {
        /// The name that was asked for.
        name: String,
        /// What no file system would take, or what is reserved.
        fault: NameFault,
    },
    /// The folder's `manifest.json` was written by something else.
    #[error(
        "`{}` is not hitgap's: {}\nhelp: choose another folder with `--out`; hitgap keeps a file of that name beside its renders",
        shown(path),
        clipped(found)
    )]
    ManifestForeign {
        /// Where the manifest lies.
        path: PathBuf,
        /// What was found instead.
        found: String,
    },
    /// The folder's `manifest.json` is damaged.
    #[error(
        "`{}` is damaged: {}\nhelp: choose another folder with `--out`, or move that file away: the files that it lists then count as not made by hitgap",
        shown(path),
        clipped(found)
    )]
    ManifestBroken {
        /// Where the manifest lies.
        path: PathBuf,
        /// What is wrong, and where.
        found: String,
    },
    /// The folder's `manifest.json` is of a format that this version does not know.
    #[error(
        "`{}` has format {format}, and this version of hitgap knows format {}\nhelp: use the newer hitgap that made it, or choose another folder with `--out`",
        shown(path),
        FORMAT
    )]
    ManifestNewer {
        /// Where the manifest lies.
        path: PathBuf,
        /// The format that it says it has.
        format: u64,
    },
    /// Another run holds the folder's lock and does not let go.
    #[error(
        "another run of hitgap has been changing `{}` for {seconds} s\nhelp: see whether one hangs, or choose another folder with `--out`",
        shown(dir)
    )]
    Busy {
        /// The folder that was asked for.
        dir: PathBuf,
        /// How long this run waited.
        seconds: u64,
    },
    /// What has the name of the folder's lock is no plain file.
    #[error(
        "`{}` is {what}, and what is locked is a plain file\nhelp: remove it: runs of hitgap make another",
        shown(path)
    )]
    OddLock {
        /// Where the lock should lie.
        path: PathBuf,
        /// What lies there instead.
        what: Odd,
    },
    /// The folder's lock may not be opened: another user made it.
    #[error(
        "`{}` is in use by another user, whose `.hitgap-lock` this user may not write\nhelp: choose a folder of your own; or let its owner allow you to write the files in it",
        shown(dir)
    )]
    OthersLock {
        /// The folder that was asked for.
        dir: PathBuf,
    },
}

/// What was being done when the system refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Act {
    /// Making a folder.
    Make,
    /// Reading a file or a folder.
    Read,
    /// Writing a file, or making one in a folder.
    Write,
    /// Giving a finished file its name.
    Name,
    /// Taking a lock on a file.
    Lock,
    /// Removing a file.
    Remove,
}

/// The reasons for which a file is not hitgap's to replace.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Why {
    /// The manifest does not list it.
    NotListed,
    /// The manifest lists it with another size or checksum, or as a file where there is none.
    Changed,
    /// It is a folder: that is never replaced.
    Folder,
}

/// The reasons for which a file cannot be called something.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NameFault {
    /// It has no characters.
    Empty,
    /// It has too many bytes.
    Long(usize),
    /// It leads into another folder.
    Separator(char),
    /// It has something in it that cannot be shown.
    Unfit(Unfit),
    /// Its first character is a dot, which hides it.
    Dot,
    /// It is the manifest's.
    Taken,
    /// Two files of one run would have it.
    Twice,
    /// Another that differs by case only (here) is asked for too.
    Case(String),
    /// This system does not take it.
    System(String),
}

impl StoreError {
    /// What the program ends with: a file could not be read or written, or a foreign file is in the way.
    pub const EXIT_STATUS: u8 = 3;

    pub(super) fn io(act: Act, path: &Path, cause: io::Error) -> Self {
        Self::Io { act, path: path.to_path_buf(), cause }
    }

    /// A folder that could not be made.
    pub(super) fn folder(path: &Path, cause: io::Error) -> Self {
        match cause.kind() {
            ErrorKind::AlreadyExists => Self::NoFolder { path: path.to_path_buf() },
            _ => Self::io(Act::Make, path, cause),
        }
    }

    pub(super) fn name(name: &str, fault: NameFault) -> Self {
        Self::Name { name: name.to_owned(), fault }
    }
}

impl std::fmt::Display for Act {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Make => "make the folder",
            Self::Read => "read",
            Self::Write => "write",
            Self::Name => "put in place",
            Self::Lock => "lock",
            Self::Remove => "remove",
        })
    }
}

impl std::fmt::Display for Why {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::NotListed => "hitgap did not make it (the folder's `manifest.json` does not list it)",
            Self::Changed => {
                "it was changed since hitgap made it (its size or checksum is not the one in `manifest.json`)"
            }
            Self::Folder => "it is a folder",
        })
    }
}

impl Why {
    fn advice(self) -> &'static str {
        match self {
            Self::NotListed | Self::Changed => {
                "choose another folder with `--out`, or say `--overwrite` to replace what is in the way"
            }
            Self::Folder => "choose another folder with `--out`, or move that folder away",
        }
    }
}

impl std::fmt::Display for NameFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Empty => write!(f, "a name has at least one character"),
            Self::Long(bytes) => write!(f, "it has {bytes} bytes, and a file's name has at most {LONGEST}"),
            Self::Separator(c) => write!(f, "`{c}` would lead into another folder"),
            Self::Unfit(unfit) => write!(f, "it has {unfit} in it"),
            Self::Dot => write!(f, "names that start with a dot are hidden, or lead out of the folder"),
            Self::Taken => write!(f, "that is where hitgap says what it made"),
            Self::Twice => write!(f, "it is asked for twice"),
            Self::Case(other) => {
                write!(f, "`{}` is asked for too, and on many systems the two are one file", clipped(other))
            }
            Self::System(how) => write!(f, "a name that {how} is not possible on this system"),
        }
    }
}

/// What the system said, in a person's words.
#[must_use]
pub fn in_words(cause: &io::Error) -> String {
    match cause.kind() {
        ErrorKind::StorageFull => "the disk is full".into(),
        ErrorKind::QuotaExceeded => "your share of the disk is used up".into(),
        ErrorKind::FileTooLarge => "it would grow larger than a file may be there".into(),
        ErrorKind::ReadOnlyFilesystem => "the disk can be read but not written".into(),
        ErrorKind::PermissionDenied => "you may not do that there".into(),
        ErrorKind::IsADirectory => "it is a folder".into(),
        ErrorKind::NotADirectory => "a part of its path is a file, not a folder".into(),
        ErrorKind::NotFound => "it is not there, or its folder is not".into(),
        ErrorKind::Unsupported => "the disk it is on cannot do that".into(),
        _ => clipped(&cause.to_string()),
    }
}

/// What to do about it.
fn advice(cause: &io::Error) -> &'static str {
    match cause.kind() {
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded => {
            "make room, or choose a folder on another disk with `--out`, and run it again"
        }
        ErrorKind::FileTooLarge => "ask for less (`--bars`), or choose a folder on another disk with `--out`",
        ErrorKind::ReadOnlyFilesystem | ErrorKind::PermissionDenied => {
            "choose a folder that you may write into with `--out`"
        }
        ErrorKind::NotFound => "see that nothing removes files there while hitgap runs, and run it again",
        _ => "choose another folder with `--out`, best on a disk of this machine",
    }
}

fn and_more(more: usize) -> String {
    match more {
        0 => String::new(),
        1 => "; so is 1 file more".into(),
        n => format!("; so are {n} files more"),
    }
}

fn shown(path: &Path) -> String {
    clipped(&path.to_string_lossy())
}

/// The text without anything that would upset a terminal, and cut where it is very long.
fn clipped(text: &str) -> String {
    /// Enough for a long path, and still a message that can be read.
    const MOST: usize = 300;
    spelled(text, MOST)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_message_names_the_path_and_says_what_to_do() {
        let path = || PathBuf::from("out/late.wav");
        let io = |kind| StoreError::io(Act::Write, &path(), io::Error::from(kind));
        let all = [
            (
                io(ErrorKind::StorageFull),
                "cannot write `out/late.wav`: the disk is full\nhelp: make room, or choose a folder on another disk with `--out`, and run it again",
            ),
            (
                io(ErrorKind::ReadOnlyFilesystem),
                "cannot write `out/late.wav`: the disk can be read but not written\nhelp: choose a folder that you may write into with `--out`",
            ),
            (
                StoreError::folder(&path(), ErrorKind::AlreadyExists.into()),
                "`out/late.wav` is no folder: a file has that name\nhelp: choose another folder with `--out`",
            ),
            (
                StoreError::Foreign { path: path(), why: Why::NotListed, more: 2 },
                "`out/late.wav` is in the way: hitgap did not make it (the folder's `manifest.json` does not list it); so are 2 files more\nhelp: choose another folder with `--out`, or say `--overwrite` to replace what is in the way",
            ),
            (
                StoreError::Foreign { path: path(), why: Why::Folder, more: 0 },
                "`out/late.wav` is in the way: it is a folder\nhelp: choose another folder with `--out`, or move that folder away",
            ),
        ];
        for (error, text) in all {
            assert_eq!(error.to_string(), text);
        }
    }

    #[test]
    fn no_escape_reaches_the_terminal_and_no_name_floods_it() {
        let error = StoreError::name(&format!("\u{1b}[31m{}", "x".repeat(1_000_000)), NameFault::Long(1_000_005));
        let text = error.to_string();
        assert!(text.starts_with("a file cannot be called `\\u{1b}[31mxxx"), "{text}");
        assert!(text.len() < 600, "{} bytes", text.len());
        let path = PathBuf::from("out\u{1b}]0;x\u{7}/a.wav");
        assert!(!StoreError::io(Act::Read, &path, ErrorKind::NotFound.into()).to_string().contains('\u{1b}'));
    }
}
