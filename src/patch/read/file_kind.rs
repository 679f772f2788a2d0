use std::fmt;

/// A kind of file that people write for this program.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FileKind {
    /// What most commands take: a rig and its fixes.
    Patch,
    /// Chapters that `lesson` makes a page of.
    Lesson,
    /// A list of components.
    Components,
    /// A list of kinds of boxes.
    Boxes,
    /// What a page saved, which is no text that people write.
    Saved,
}

impl fmt::Display for FileKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Patch => "patch",
            Self::Lesson => "lesson",
            Self::Components => "list of components",
            Self::Boxes => "list of kinds of boxes",
            Self::Saved => "file that a page saved",
        })
    }
}

/// A file that is of another kind than was wanted: of its faults as that kind none says so much as that.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a {found}, and no {wanted}")]
pub struct OtherKind {
    found: FileKind,
    wanted: FileKind,
    help: &'static str,
}

impl OtherKind {
    /// What to do with a file of that name, for after `help: `.
    #[must_use]
    pub fn help(&self, file: &str) -> String {
        self.help.replace("FILE", file)
    }
}

/// Looks by its headings what a text is, where that is not what was wanted; `None` where nothing tells.
#[must_use]
pub fn other_kind(source: &str, wanted: FileKind) -> Option<OtherKind> {
    use FileKind::{Boxes, Components, Lesson, Patch, Saved};
    let has = |heading: &str| source.lines().any(|line| line.trim_start().starts_with(heading));
    // A table of its own, or one in a line.
    let in_line = |line: &str| line.starts_with("sequencer.") && line.contains('=');
    let patch = has("[sequencer.") || has("[clock.") || source.lines().any(in_line);
    let (found, help) = match (patch, has("[[chapter]]"), has("[component."), wanted) {
        (false, false, false, Patch | Lesson | Components | Saved) if has("[box.") => {
            (Boxes, "hitgap check PATCH --boxes FILE reads its kinds for a patch; hitgap boxes --boxes FILE lists them")
        }
        (true, false, _, Boxes) => (Patch, "hitgap check FILE reads it, and the [box.NAME] tables that stand in it"),
        (false, true, _, Patch | Components | Boxes | Saved) => (Lesson, "hitgap lesson FILE makes a page of it"),
        (false, false, true, Patch | Lesson | Boxes | Saved) => {
            (Components, "hitgap advise PATCH --on PATH --components FILE tries them in a patch")
        }
        (true, false, _, Saved) => (
            Patch,
            "hitgap compare FILE makes a page of it; after a blind test there, save the result, and name that file here",
        ),
        (true, false, _, Lesson) => {
            (Patch, "hitgap check FILE reads it; a lesson names it in a [[chapter]], as `patch`")
        }
        (true, _, false, Components) => {
            (Patch, "give a file that has [component.NAME] tables, such as patches/components.toml")
        }
        _ => return None,
    };
    Some(OtherKind { found, wanted, help })
}

/// Whether a text has the beginning of anything that a patch or another file of this program has.
#[must_use]
pub fn may_be_patch(source: &str) -> bool {
    let begins = |line: &str| {
        let line = line.trim_start().trim_start_matches('[').trim_start();
        let end = line.find(|c: char| !c.is_ascii_alphanumeric() && c != '-').unwrap_or(line.len());
        let known = ["clock", "sequencer", "hits", "stage", "voice", "fix", "wire", "chapter", "component", "box"];
        known.contains(&&line[..end]) && line[end..].trim_start().starts_with(['.', ']', '='])
    };
    source.lines().any(begins)
}

#[cfg(test)]
mod tests {
    use super::FileKind::{Components, Lesson, Patch};
    use super::*;

    #[test]
    fn a_file_of_another_kind_is_known_by_its_headings() {
        let (patch, lesson, components) = ("title = \"x\"\n [sequencer.ox]\n", "[[chapter]]\n", "[component.or]\n");
        let found = |text: &str| [Patch, Lesson, Components].map(|wanted| other_kind(text, wanted).map(|k| k.found));
        assert_eq!(found(patch), [None, Some(Patch), Some(Patch)]);
        assert_eq!(found(lesson), [Some(Lesson), None, Some(Lesson)]);
        assert_eq!(found(components), [Some(Components), Some(Components), None]);
        assert_eq!(found("RIFF"), [None; 3]);
        assert_eq!(found("sequencer.ox = {}\n"), found(patch));
        assert_eq!(found("[box.mine]\n"), [Some(FileKind::Boxes); 3]);
        assert_eq!(other_kind(patch, FileKind::Boxes).map(|k| k.found), Some(Patch));
        // A patch with components of its own is as good as a list of them; one that holds chapters too may be a lesson gone wrong.
        assert_eq!(found(&format!("{patch}{components}")), [None, Some(Patch), None]);
        assert_eq!(found(&format!("{patch}{lesson}")), [None, None, Some(Patch)]);
        let kind = other_kind(lesson, Patch).expect("a lesson");
        assert_eq!(kind.to_string(), "a lesson, and no patch");
        assert_eq!(kind.help("a.toml"), "hitgap lesson a.toml makes a page of it");
    }

    #[test]
    fn what_begins_like_a_table_may_be_a_patch() {
        assert!(may_be_patch("# mine\n[clock.beats]") && may_be_patch("voice = 1") && may_be_patch("[[chapter]]"));
        assert!(!may_be_patch("clocks.x]") && !may_be_patch("root:x:0:0") && !may_be_patch(""));
    }
}
