//! Files that are not what was wanted, and which ones were most likely meant.

use super::SourceError;
use crate::patch::nearest;
use crate::text::{plain, quoted};
use std::ffi::OsStr;
use std::io::Read;
use std::path::{Path, PathBuf};

/// A path that was most likely meant by one under which nothing lies: with `/` for `\`, with its ending, or with a slip less.
pub(super) fn meant(file: &Path) -> Option<PathBuf> {
    let text = file.to_str()?;
    let forward = PathBuf::from(text.replace('\\', "/"));
    let toml = |path: &Path| path.with_extension("toml");
    let more = |path: &Path| PathBuf::from(format!("{}.toml", path.display()));
    let example = |path: &Path| path.file_name().map(|name| Path::new("patches").join(name));
    let mut all = vec![forward.clone(), more(&forward), toml(&forward)];
    all.extend(example(&forward).into_iter().flat_map(|path| [more(&path), toml(&path), path]));
    all.into_iter().find(|path| path != file && path.is_file()).or_else(|| nearest_file(&forward))
}

/// The file of a folder whose name is nearest to that of a file, if one is near enough to be meant.
fn nearest_file(file: &Path) -> Option<PathBuf> {
    let all = texts(file.parent()?);
    let names = all.iter().filter_map(|path| path.file_name()?.to_str());
    let found = nearest(file.file_name()?.to_str()?, names)?;
    all.iter().find(|path| path.file_name().is_some_and(|name| name == found)).cloned()
}

/// The files of a folder that may be patches, in the order of their names.
fn texts(folder: &Path) -> Vec<PathBuf> {
    const MOST: usize = 1_000;
    let here = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    let Ok(entries) = std::fs::read_dir(here) else { return Vec::new() };
    let paths = entries.take(MOST).flatten().map(|entry| folder.join(entry.file_name()));
    let mut all: Vec<_> = paths.filter(|path| path.extension() == Some(OsStr::new("toml")) && path.is_file()).collect();
    all.sort();
    all
}

/// What to do with a folder where a file belongs.
pub(super) fn in_folder(folder: &Path) -> String {
    match texts(folder).first() {
        Some(file) => format!("name a file in it, such as {}", plain(&file.display().to_string())),
        None => "name a file; hitgap new mine.toml writes a patch to start from".to_owned(),
    }
}

/// What is said of bytes that are nothing that a page saved.
pub(super) fn not_saved(shown: &str, bytes: &[u8]) -> Option<SourceError> {
    let begins = |start: &[u8]| bytes.get(..start.len()).is_some_and(|own| own.eq_ignore_ascii_case(start));
    let found = match bytes {
        [b'R', b'I', b'F', b'F', ..] => "a sound file",
        [b'M', b'T', b'h', b'd', ..] => "a MIDI file",
        _ if begins(b"time_s,") => "a list of hits",
        _ if begins(b"<!doctype html") => "a page itself",
        _ => return None,
    };
    let help = "a page saves a JSON file, at the end of a blind test or of a training session: name that".to_owned();
    Some(SourceError::refused(format!("`{shown}` is {found}, and no file that a page saved"), help))
}

/// The first bytes of a file, as far as it has any.
pub(super) fn head(file: &Path) -> Vec<u8> {
    let mut bytes = Vec::new();
    if let Ok(file) = std::fs::File::open(file) {
        let _ = file.take(64).read_to_end(&mut bytes);
    }
    bytes
}

/// What is said of bytes that are no patch at all.
pub(super) fn other(file: &Path, shown: &str, bytes: &[u8]) -> Option<SourceError> {
    const NEW: &str = "hitgap new mine.toml writes a patch to start from";
    let word = quoted(shown);
    let take = |what: &str| {
        let help = format!("a patch names it, with file = \"{shown}\" below a heading [hits.take]; {NEW}");
        SourceError::refused(format!("`{shown}` is {what}, and no patch"), help)
    };
    let begins = |start: &[u8]| bytes.starts_with(start);
    if begins(&[0xff, 0xfe]) || begins(&[0xfe, 0xff]) {
        let found = format!("`{shown}` is UTF-16 text, and patches are UTF-8");
        let help = format!(
            "save it again with the encoding UTF-8 in your editor, or write iconv -f UTF-16 -t UTF-8 {word} > utf8.toml"
        );
        return Some(SourceError::refused(found, help));
    }
    // A device that gives nothing is not to be written over.
    if bytes.iter().all(u8::is_ascii_whitespace) && file.is_file() {
        let found = format!("`{shown}` is empty");
        return Some(SourceError::refused(
            found,
            format!("hitgap new {word} --overwrite writes a patch to start from"),
        ));
    }
    match bytes {
        [b'R', b'I', b'F', b'F', ..] => {
            let found = format!("`{shown}` is a sound file, and no patch");
            Some(SourceError::refused(found, format!("a patch is text; {NEW}")))
        }
        [b'M', b'T', b'h', b'd', ..] => Some(take("a MIDI file")),
        _ if begins(b"time_s,") => Some(take("a list of hits")),
        [b'{', ..] => {
            let found = format!("`{shown}` is a JSON file, and no patch");
            Some(SourceError::refused(found, format!("hitgap results {word} reads what a page saved; {NEW}")))
        }
        _ => None,
    }
}
