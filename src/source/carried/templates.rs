//! Files to start from.

use std::path::Path;

/// A file to start from.
#[derive(Clone, Copy, Debug)]
pub struct Template {
    /// The word by which it is asked for.
    pub name: &'static str,
    /// What it is, in a line.
    pub about: &'static str,
    /// All of it.
    pub text: &'static str,
    /// What to type next, with `FILE` for its name.
    pub next: &'static [&'static str],
}

const PLAY: &[&str] = &["hitgap check FILE", "hitgap compare FILE"];

/// The first is written where nothing else is asked for.
pub static TEMPLATES: [Template; 7] = [
    Template {
        name: "rig",
        about: "three boxes on one clock, two by pulses and one by a serial cable, and a fix",
        text: include_str!("templates/rig.toml"),
        next: PLAY,
    },
    Template {
        name: "two-boxes",
        about: "two boxes that read one reset each in its own way",
        text: include_str!("templates/two-boxes.toml"),
        next: PLAY,
    },
    Template {
        name: "one-box",
        about: "one box on one clock, to build upon",
        text: include_str!("templates/one-box.toml"),
        next: &["hitgap check FILE", "hitgap render FILE"],
    },
    Template {
        name: "serial-and-pulses",
        about: "a box on a serial cable beside one that takes pulses",
        text: include_str!("templates/serial-and-pulses.toml"),
        next: PLAY,
    },
    Template {
        name: "no-resets",
        about: "boxes that have no reset",
        text: include_str!("templates/no-resets.toml"),
        next: &["hitgap check FILE", "hitgap render FILE"],
    },
    Template {
        name: LESSON,
        about: "a lesson in chapters, for a class; also written where the name ends in .lesson.toml",
        text: include_str!("templates/lesson.toml"),
        next: &["hitgap lesson FILE"],
    },
    Template {
        name: "components",
        about: "a shopping list: parts that `advise` tries in a patch",
        text: include_str!("templates/components.toml"),
        next: &[
            "hitgap new --example late-bell",
            "hitgap advise late-bell.toml --on sequencer.wren.clock --components FILE",
        ],
    },
];

const LESSON: &str = "lesson";

impl Template {
    /// What is asked for: by its name, or by that of the file.
    #[must_use]
    pub fn meant(name: Option<&str>, file: &Path) -> &'static Self {
        let lesson = file.to_string_lossy().ends_with(".lesson.toml").then_some(LESSON);
        let name = name.or(lesson);
        TEMPLATES.iter().find(|template| Some(template.name) == name).unwrap_or(&TEMPLATES[0])
    }
}
