//! Which names a file may have.

use super::MANIFEST;
use super::error::{LONGEST, NameFault, StoreError};
use crate::text::unfit;

/// Characters that Windows allows in no name, beside those that are refused everywhere.
const WINDOWS: &[char] = &['<', '>', ':', '"', '|', '?', '*'];
/// Names that Windows keeps for devices, with any ending.
const DEVICES: &[&str] = &["con", "prn", "aux", "nul"];

/// Checks that `name` is one plain file name: on every system by the rules that keep it in the folder, visible, and
/// harmless when it is printed, and by the system's own where that is stricter.
pub(super) fn check(name: &str) -> Result<(), StoreError> {
    let fault = portable(name).or_else(|| if cfg!(windows) { windows(name) } else { None });
    fault.map_or(Ok(()), |fault| Err(StoreError::name(name, fault)))
}

/// What is wrong with the name on any system.
pub(super) fn portable(name: &str) -> Option<NameFault> {
    if name.is_empty() {
        Some(NameFault::Empty)
    } else if name.len() > LONGEST {
        Some(NameFault::Long(name.len()))
    } else if let Some(c) = name.chars().find(|&c| c == '/' || c == '\\') {
        Some(NameFault::Separator(c))
    } else if let Some(unfit) = unfit(name, |_| false) {
        Some(NameFault::Unfit(unfit))
    } else if name.starts_with('.') {
        // `.` and `..` lead out of the folder; other such names are hidden, and hitgap's own helpers are among them.
        Some(NameFault::Dot)
    } else if name.eq_ignore_ascii_case(MANIFEST) {
        Some(NameFault::Taken)
    } else {
        None
    }
}

/// What is wrong with the name on Windows alone (its documentation of file names).
fn windows(name: &str) -> Option<NameFault> {
    if let Some(c) = name.chars().find(|c| WINDOWS.contains(c)) {
        return Some(NameFault::System(format!("has `{c}` in it")));
    }
    if name.ends_with(['.', ' ']) {
        return Some(NameFault::System("ends with a dot or a blank".into()));
    }
    let stem = name.split('.').next().unwrap_or_default().trim_end().to_ascii_lowercase();
    let port = |s: &str| matches!(s.strip_prefix("com").or(s.strip_prefix("lpt")), Some(n) if n.len() == 1 && n >= "0");
    (DEVICES.contains(&stem.as_str()) || port(&stem)).then(|| NameFault::System("is a device's".into()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::text::Unfit;

    #[test]
    fn plain_names_pass() {
        for name in ["late-bell.original.50bpm.wav", "late bell.wav", "späte Glocke.wav", "a..b.wav", "x", "a+b.wav"] {
            assert_eq!(portable(name), None, "{name}");
        }
        assert_eq!(portable(&"x".repeat(LONGEST)), None);
    }

    #[test]
    fn others_do_not() {
        let cases = [
            ("", NameFault::Empty),
            ("..", NameFault::Dot),
            (".", NameFault::Dot),
            (".hitgap-lock", NameFault::Dot),
            ("../up.wav", NameFault::Separator('/')),
            ("/etc/passwd", NameFault::Separator('/')),
            ("a\\b.wav", NameFault::Separator('\\')),
            ("a\u{1b}[31m.wav", NameFault::Unfit(Unfit::Hidden('\u{1b}'))),
            ("a\0.wav", NameFault::Unfit(Unfit::Hidden('\0'))),
            ("a\n.wav", NameFault::Unfit(Unfit::Hidden('\n'))),
            ("a\u{202e}vaw.exe", NameFault::Unfit(Unfit::Hidden('\u{202e}'))),
            ("manifest.json", NameFault::Taken),
            ("Manifest.JSON", NameFault::Taken),
        ];
        for (name, fault) in cases {
            assert_eq!(portable(name), Some(fault), "{name:?}");
        }
        assert_eq!(portable(&"x".repeat(1_000_000)), Some(NameFault::Long(1_000_000)));
        // Bytes count, not letters: 128 times two.
        assert_eq!(portable(&"ä".repeat(128)), Some(NameFault::Long(256)));
    }

    #[test]
    fn windows_refuses_more() {
        for name in ["what?.wav", "a:b.wav", "con.wav", "NUL", "com1.original.wav", "lpt9.wav", "a.", "a "] {
            assert!(matches!(windows(name), Some(NameFault::System(_))), "{name}");
        }
        for name in ["console.wav", "com.wav", "combo.wav", "late-bell.wav", "com10.wav"] {
            assert_eq!(windows(name), None, "{name}");
        }
    }
}
